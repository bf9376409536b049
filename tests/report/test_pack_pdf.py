"""The report as PDF: what the file says of itself, what a reader hears, two renderers, time."""

from __future__ import annotations

import io
import itertools
import re
import subprocess
import time
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pypdfium2
import pytest
from PIL import Image, ImageFilter
from pypdf import PdfReader
from pypdf.generic import DictionaryObject, IndirectObject

from audit.checklist.models import Item
from audit.record.types import Overrule, SeenOnSite
from audit.report.pack_pictures import draw_all
from audit.report.pdf import Report, make_pdf
from audit.report.pdf_data import ReportSource, drawable, named, report_data
from audit.settings import Settings
from tests.record.conftest import BOARDING, CLEAR, Desk, open_desk
from tests.record.jobs import make_job

MARKUP = "#panic() $x$ *bold* [link] \\ <script> & @ref `raw`"


def set_report(desk: Desk) -> Report:
    pictures = {d.file: d.small for d in draw_all(desk.job, Settings())}
    last = desk.record.entries()[-1]
    return make_pdf(ReportSource(desk.state, last.hash, last.at), pictures)


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Desk:
    desk = open_desk(make_job(tmp_path_factory.mktemp("pdf") / "job", 12))
    desk.decide(CLEAR, Overrule(MARKUP))
    when = datetime(2026, 6, 1, 9, tzinfo=UTC)
    desk.decide(BOARDING, SeenOnSite("B. Person", when, "no fault", "Looked in."))
    return desk


@pytest.fixture(scope="module")
def report(desk: Desk) -> Report:
    return set_report(desk)


@pytest.fixture(scope="module")
def reader(report: Report) -> PdfReader:
    return PdfReader(io.BytesIO(report.pdf))


def test_it_says_that_it_is_pdf_a_and_pdf_ua(reader: PdfReader) -> None:
    # ISO 19005-2, 6.6.4 and ISO 14289-1, clause 5: identification in the XMP metadata
    # (from memory).
    xmp = reader.xmp_metadata
    assert xmp is not None
    text = xmp.stream.get_data().decode()
    assert re.search(r"pdfaid:part(>|=\")2", text)
    assert re.search(r"pdfaid:conformance(>|=\")A", text)
    assert re.search(r"pdfuaid:part(>|=\")1", text)


def test_it_is_tagged_titled_and_in_english(reader: PdfReader) -> None:
    # ISO 14289-1, 7.1 and 7.2: marked, title shown, language given (from memory).
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert root["/Lang"] == "en-GB"
    assert reader.metadata is not None
    assert reader.metadata.title == "Opened downlights: 12 Sample Row"


def elements(reader: PdfReader) -> Iterator[DictionaryObject]:
    """All structure elements, in reading order."""
    pending: list[Any] = [reader.trailer["/Root"]["/StructTreeRoot"]]
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


def test_every_picture_has_words(reader: PdfReader) -> None:
    figures = [e for e in elements(reader) if e["/S"] == "/Figure"]
    pictures = [e for e in figures if "/Alt" in e]
    assert len(pictures) >= 12
    assert all(str(e["/Alt"]).strip() for e in pictures)
    assert any("F01-inside.jpg" in str(e["/Alt"]) for e in pictures)


def test_tables_have_heads_and_headings_do_not_skip(reader: PdfReader) -> None:
    kinds = [str(e["/S"]) for e in elements(reader)]
    assert kinds.count("/TH") >= 3
    levels = [int(k[2:]) for k in kinds if re.fullmatch(r"/H\d", k)]
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in itertools.pairwise(levels))


def test_bookmarks_lead_to_every_fitting(reader: PdfReader) -> None:
    def titles(outline: list[Any]) -> Iterator[str]:
        for entry in outline:
            if isinstance(entry, list):
                yield from titles(entry)
            else:
                yield str(entry.title)

    found = list(titles(reader.outline))
    for n in range(1, 13):
        assert f"Fitting F{n:02d}" in found
    assert "How this report can be checked" in found


def test_every_font_is_in_it(reader: PdfReader) -> None:
    for page in reader.pages:
        for font in page["/Resources"].get("/Font", {}).values():
            for inner in font.get_object()["/DescendantFonts"]:
                descriptor = inner.get_object()["/FontDescriptor"]
                assert {"/FontFile2", "/FontFile3"} & set(descriptor)


def test_nothing_in_it_runs_or_calls_out(report: Report, reader: PdfReader) -> None:
    for name in (b"/JavaScript", b"/Launch", b"/SubmitForm", b"/EmbeddedFile", b"/Encrypt"):
        assert name not in report.pdf
    assert "/AA" not in reader.trailer["/Root"]


def test_it_says_what_stands(reader: PdfReader, desk: Desk) -> None:
    text = "\n".join(p.extract_text() for p in reader.pages)
    flat = " ".join(text.split())
    for words in (
        "Not signed off",
        "An aid: it certifies nothing.",
        "no fault seen in these photos",
        "Before anything is opened: prove dead.",
        "Voltage, or that a circuit is dead.",
        "Seen by B. Person on 2026-06-01 09:00 UTC; finds: no fault.",
        "not decided: 36",
    ):
        assert words in flat, words
    assert desk.record.entries()[-1].hash in flat.replace(" ", "")
    assert not re.search(r"\b(passed|failed|safe)\b", flat, re.IGNORECASE)


def test_what_people_write_is_never_taken_for_markup(reader: PdfReader) -> None:
    flat = "".join("".join(p.extract_text() for p in reader.pages).split())
    assert "".join(MARKUP.split()) in flat


def test_the_same_record_gives_the_same_bytes(desk: Desk, report: Report) -> None:
    assert set_report(desk).pdf == report.pdf
    assert report.warnings == ()


def test_twelve_fittings_in_under_five_seconds(desk: Desk) -> None:
    least = float("inf")
    for _ in range(3):
        began = time.process_time()
        set_report(desk)
        least = min(least, time.process_time() - began)
    assert least < 5


def test_poppler_draws_every_page(report: Report, reader: PdfReader, tmp_path: Path) -> None:
    (tmp_path / "r.pdf").write_bytes(report.pdf)
    done = subprocess.run(
        ["pdftoppm", "-r", "20", "-png", "r.pdf", "p"],
        cwd=tmp_path, capture_output=True, text=True, check=True,
    )  # fmt: skip
    assert done.stderr == ""
    assert len(list(tmp_path.glob("p-*.png"))) == len(reader.pages)


def test_pdfium_draws_every_page_alike(report: Report, reader: PdfReader, tmp_path: Path) -> None:
    """The renderer that Chromium carries; ink in the same places as poppler puts it."""
    document = pypdfium2.PdfDocument(report.pdf)
    assert len(document) == len(reader.pages)
    (tmp_path / "r.pdf").write_bytes(report.pdf)
    for number in (0, 3):
        page = document[number].render(scale=0.5).to_pil().convert("L")
        subprocess.run(
            ["pdftoppm", "-f", str(number + 1), "-l", str(number + 1), "-singlefile", "-gray",
             "-scale-to-x", str(page.width), "-scale-to-y", str(page.height), "r.pdf", "p"],
            cwd=tmp_path, check=True,
        )  # fmt: skip
        with Image.open(tmp_path / "p.pgm") as other:
            one = np.asarray(page.filter(ImageFilter.GaussianBlur(3)), float)
            two = np.asarray(other.filter(ImageFilter.GaussianBlur(3)), float)
        assert one.std() > 10
        assert np.corrcoef(one.ravel(), two.ravel())[0, 1] > 0.9


@pytest.mark.parametrize(
    ("fact", "words"),
    [("ir_mohm", "ir (MΩ)"), ("zs_ohm", "zs (Ω)"), ("ohm", "ohm"), ("dead_tests_at", "dead tests at")],
)  # fmt: skip
def test_facts_are_named_with_their_units(fact: str, words: str) -> None:
    assert named(fact) == words


def test_drawings_use_the_font_that_is_in_it() -> None:
    said = drawable(
        '<svg font-family="system-ui, sans-serif"><text style="font-family:Arial;x:1"/></svg>'
    )
    assert said.count("Libertinus Serif") == 2
    assert "Arial" not in said


def test_items_that_press_are_told_in_full(desk: Desk) -> None:
    last = desk.record.entries()[-1]
    data = report_data(ReportSource(desk.state, last.hash, last.at), {}, {})
    rows = {r["question"]: r for r in data["fittings"][0]["items"]}
    item: Item = desk.job.items["core-outside-grip:F01"]
    assert rows[item.question]["full"]
    assert rows[desk.job.items[CLEAR].question]["full"]  # a person sees a fault there
    clear = {r["question"]: r for r in data["fittings"][1]["items"]}
    assert not clear[desk.job.items[CLEAR].question]["full"]
