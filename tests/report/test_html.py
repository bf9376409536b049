"""The page: self-contained, escaped, honest. HTML parsing by the standard library's parser."""

from __future__ import annotations

import base64
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image

from audit.checklist.texts import texts
from audit.report.html import page, sentence
from audit.report.pictures import PictureTask, make_pictures
from audit.settings import Settings
from tests.report import samples


class Seen(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text: list[str] = []
        self._skip = False

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._skip = tag == "style"

    def handle_data(self, data: str) -> None:
        if not self._skip:
            self.text.append(data)


@pytest.fixture(scope="module")
def rendered(tmp_path_factory: pytest.TempPathFactory) -> str:
    folder = tmp_path_factory.mktemp("page")
    look = samples.write_photo(folder / "a.jpg")
    made = make_pictures(PictureTask(folder / "a.jpg", look, folder, 300, 200, Settings()))
    assert made is not None
    checklist = samples.checklist(look)
    return "".join(page(checklist, lambda e: (folder, made) if e.file == look.photo else None))


@pytest.fixture(scope="module")
def seen(rendered: str) -> Seen:
    parser = Seen()
    parser.feed(rendered)
    return parser


def words(seen: Seen) -> str:
    return " ".join(" ".join(seen.text).split())


def test_nothing_is_loaded_from_elsewhere_and_nothing_runs(seen: Seen, rendered: str) -> None:
    names = {tag for tag, _ in seen.tags}
    assert not names & {"script", "link", "iframe", "object", "embed", "form", "base"}
    for tag, attrs in seen.tags:
        for name, value in attrs.items():
            assert not name.startswith("on")
            if name in ("src", "href"):
                assert value is not None
                assert value.startswith(("data:image/jpeg;base64,", "#")), (tag, value)
    assert "url(http" not in rendered and "@import" not in rendered
    [policy] = [a["content"] for t, a in seen.tags if a.get("http-equiv")]
    assert policy == "default-src 'none'; img-src data:; style-src 'unsafe-inline'"


def test_names_are_shown_and_never_become_markup(rendered: str, seen: Seen) -> None:
    assert "<script" not in rendered
    assert samples.NASTY.replace("&amp;", "&amp;") in words(seen)


def test_links_lead_somewhere_and_ids_are_unique(seen: Seen) -> None:
    ids = [a["id"] for _, a in seen.tags if "id" in a]
    assert len(ids) == len(set(ids))
    targets = {a["href"][1:] for t, a in seen.tags if t in ("a", "use") and a.get("href")}
    assert targets <= set(ids)


def test_wording_of_states_banner_and_cautions(seen: Seen) -> None:
    text = words(seen)
    assert texts().unconfirmed in text
    assert "An aid: it certifies nothing." in text
    assert "no fault seen in these photos" in text
    assert "no fault seen in what was declared" in text.casefold()
    for caution in (*texts().cautions, texts().caution):
        assert caution in text
    assert not re.search(r"\b(pass(ed)?|fail(ed)?|safe)\b", text.replace("failed; ", ""))


def test_every_item_has_a_place_for_the_decision(rendered: str) -> None:
    items = rendered.count('<article class="item')
    assert items == 5
    for way in ("agree", "overrule", "retake", "seen on site", "name", "date", "reason"):
        assert rendered.count(f"<span>{way}</span>") == items


def test_caution_opens_the_requests(seen: Seen) -> None:
    text = words(seen)
    assert f"Requests. {texts().caution}" in text


def test_summary_comes_first_and_names_what_stops(seen: Seen) -> None:
    text = words(seen)
    assert text.index("do not close up") < text.index("Before anyone goes near it")
    assert "6.0 ± 0.6 mm (limit 0.0 mm)" in text
    assert "2 in, 1 read, 0 to take again, 1 that can't be read" in text


def test_embedded_pictures_hold_no_metadata(seen: Seen) -> None:
    pictures = [a["src"] for t, a in seen.tags if t == "img"]
    assert len(pictures) == 1 + 3
    for uri in pictures:
        assert uri is not None
        data = base64.b64decode(uri.split(",")[1])
        assert b"private address" not in data
        with Image.open(io.BytesIO(data)) as picture:
            assert not dict(picture.getexif())


def test_pictures_have_words(seen: Seen) -> None:
    assert all(a.get("alt") for t, a in seen.tags if t == "img")


def test_sentences() -> None:
    assert sentence("a b") == "A b."
    assert sentence("A b?") == "A b?"
    assert sentence("") == ""


def test_photo_without_pictures_is_still_listed(tmp_path: Path) -> None:
    look = samples.write_photo(tmp_path / "a.jpg")
    text = "".join(page(samples.checklist(look), lambda e: None))
    assert "a.jpg" in text
    assert "it is text, not a picture" in text
