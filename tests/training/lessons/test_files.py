"""Files as they are handed out: PDF tagged and in order, pages that need no network."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from typing import Any

import pytest
from pypdf import PdfReader
from pypdf.generic import DictionaryObject, IndirectObject

from audit.settings import Settings
from audit.training.lessons import html, pdf
from audit.training.lessons.make import course_files
from audit.training.lessons.sheets import Sheet
from audit.training.lessons.texts import lessons, sheet_texts


@pytest.fixture(scope="module")
def files(sheets: tuple[Sheet, ...]) -> dict[str, bytes]:
    return {
        "handout": pdf.handout_pdf(sheets),
        "answers": pdf.sheets_pdf(sheets),
        **{
            n.removesuffix(".pdf"): d
            for n, d in course_files(Settings()).items()
            if n.endswith("pdf")
        },
    }


@pytest.fixture(scope="module")
def pages(sheets: tuple[Sheet, ...]) -> dict[str, str]:
    course = course_files(Settings())
    return {
        "handout": html.handout_page(sheets),
        "answers": html.sheets_page(sheets),
        "course": course["course.html"].decode(),
        "course-answers": course["course-answers.html"].decode(),
    }


def text_of(data: bytes) -> str:
    return " ".join(" ".join(p.extract_text() for p in PdfReader(io.BytesIO(data)).pages).split())


def elements(data: bytes) -> Iterator[DictionaryObject]:
    pending: list[Any] = [PdfReader(io.BytesIO(data)).trailer["/Root"]["/StructTreeRoot"]]
    while pending:
        node = pending.pop()
        node = node.get_object() if isinstance(node, IndirectObject) else node
        if isinstance(node, list):
            pending += reversed(node)
        elif isinstance(node, DictionaryObject):
            if "/S" in node:
                yield node
            if "/K" in node:
                pending.append(node["/K"])


PDFS = ("handout", "answers", "course", "course-answers")


@pytest.mark.parametrize("name", PDFS)
def test_it_is_tagged_and_in_english(files: dict[str, bytes], name: str) -> None:
    # ISO 14289-1, 7.1 and 7.2: marked, title shown, language given (from memory).
    root = PdfReader(io.BytesIO(files[name])).trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert root["/Lang"] == "en-GB"


@pytest.mark.parametrize("name", PDFS)
def test_no_page_is_without_its_caution(files: dict[str, bytes], name: str) -> None:
    """Pages are torn apart and copied."""
    pages = [" ".join(p.extract_text().split()) for p in PdfReader(io.BytesIO(files[name])).pages]
    bare = [n for n, text in enumerate(pages, 1) if "prove the indicator again" not in text]
    assert not bare


def test_each_photo_of_the_handout_page_carries_its_caution(
    sheets: tuple[Sheet, ...], pages: dict[str, str]
) -> None:
    for article in pages["handout"].split("<article")[1:]:
        assert "prove the indicator again" in article
    assert pages["handout"].count("<article") == len(sheets)


@pytest.mark.parametrize("name", ["handout", "answers", "course"])
def test_every_picture_has_words(files: dict[str, bytes], name: str) -> None:
    figures = [e for e in elements(files[name]) if e["/S"] == "/Figure"]
    told = [str(e["/Alt"]) for e in figures if "/Alt" in e]
    assert told
    assert all(len(t) > 20 for t in told)


def test_two_sheets_stand_on_a_page(files: dict[str, bytes], sheets: tuple[Sheet, ...]) -> None:
    for name, word in (("answers", r"^(\d+)\. "), ("handout", r"^Photo (\d+)")):
        for number, page in enumerate(PdfReader(io.BytesIO(files[name])).pages):
            found = [int(n) for n in re.findall(word, page.extract_text(), re.MULTILINE)]
            wanted = [s.number for s in sheets[2 * number : 2 * number + 2]]
            assert [n for n in found if n in wanted] == wanted


def test_a_lesson_stands_on_a_page_and_no_page_is_nearly_empty(files: dict[str, bytes]) -> None:
    pages = PdfReader(io.BytesIO(files["course"])).pages
    assert len(pages) == len(lessons())
    for lesson, page in zip(lessons(), pages, strict=True):
        text = " ".join(page.extract_text().split())
        assert lesson.title in text
        assert sheet_texts().caution[:40] in text, "the caution stands on the same sheet"
        assert len(text) > 1500


def test_the_handout_gives_no_answer_away(
    files: dict[str, bytes], pages: dict[str, str], sheets: tuple[Sheet, ...]
) -> None:
    shown = text_of(files["handout"])
    alts = " ".join(str(e["/Alt"]) for e in elements(files["handout"]) if "/Alt" in e)
    for sheet in sheets:
        for words in (sheet.name, sheet.wrong, sheet.right, sheet.known):
            for held in (shown, alts, pages["handout"]):
                assert words not in held
    for lesson in lessons():
        for question in lesson.question:
            assert question.answer[:40] not in text_of(files["course"])
            assert question.answer[:40] not in pages["course"]


def test_answers_are_numbered_as_the_handout(
    pages: dict[str, str], sheets: tuple[Sheet, ...]
) -> None:
    for sheet in sheets:
        assert f'id="photo-{sheet.number}"' in pages["handout"]
        assert f'id="sheet-{sheet.number}"' in pages["answers"]


def test_the_same_content_gives_the_same_bytes(
    files: dict[str, bytes], sheets: tuple[Sheet, ...]
) -> None:
    assert pdf.sheets_pdf(sheets) == files["answers"]
    assert html.sheets_page(sheets) == html.sheets_page(sheets)


@pytest.mark.parametrize("name", PDFS)
def test_a_page_needs_nothing_else(pages: dict[str, str], name: str) -> None:
    page = pages[name]
    assert not re.search(r"<script|<link|<iframe|@import|url\(\s*['\"]?http", page)
    sources = re.findall(r'src="([^"]{0,24})', page)
    assert all(s.startswith("data:image/jpeg;base64,") for s in sources)
    links = [a for a in re.findall(r'href="([^"]*)"', page) if not a.startswith("#")]
    assert not links
    identities = re.findall(r'\bid="([^"]+)"', page)
    assert len(identities) == len(set(identities)), "an id twice would mix up the hatchings"


def test_every_sheet_has_what_it_must(sheets: tuple[Sheet, ...]) -> None:
    assert len({s.check for s in sheets}) == len(sheet_texts().check)
    for sheet in sheets:
        assert sheet.why
        assert sheet.sources
        assert sheet.sound is not None, sheet.check
        assert sheet.caution[0] == sheet_texts().caution
        assert sheet.bare.jpeg != sheet.marked.jpeg
        if sheet.check in ("core-outside-enclosure", "core-outside-grip", "copper-beyond-terminal"):
            assert " mm" in sheet.wrong
            assert sheet.ribbon is not None
