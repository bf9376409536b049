"""Folders of photos with truths: what is wrong is one line that says where."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import pytest

from audit.errors import ExitCode, JobError, LidoffError, PhotoError, UsageError
from audit.resources import practice_dir
from audit.training.sets import from_folder


def said(folder: Path) -> LidoffError:
    with pytest.raises(LidoffError) as caught:
        from_folder(folder)
    assert "\n" not in caught.value.one_line()
    return caught.value


def test_a_set_is_read_with_its_titles(folder: Path) -> None:
    found = from_folder(folder)
    by = {p.title: p for p in found.photos.values()}
    assert set(by) == {f"Telling title: {t}" for t in ("both faults", "nothing", "too dark")}
    both = by["Telling title: both faults"]
    assert both.facts == {"View": "inside", "Cables": "1", "Cores in terminals": "2"}
    assert both.level == 1
    assert both.sheet.size_px == (800, 600)
    assert found.by_key(both.key) is both
    assert found.by_key("0" * 16) is None


def test_without_a_listing_the_photo_is_named_by_its_file(folder: Path) -> None:
    (folder / "set.toml").unlink()
    assert {p.title for p in from_folder(folder).photos.values()} == {"copper-and-entry", "clean", "dark"}  # fmt: skip


def test_no_such_folder(tmp_path: Path) -> None:
    error = said(tmp_path / "nowhere")
    assert isinstance(error, UsageError)
    assert str(tmp_path / "nowhere") in error.one_line()


def test_a_folder_with_nothing_to_practise_on(tmp_path: Path) -> None:
    assert said(tmp_path).exit_code == ExitCode.USAGE


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not JSON"),
        ('{"photo": "clean.jpg", ', "not JSON"),
        ('{"photo": "clean.jpg", "usable": true}', "scale"),
        ("[]", "dictionary"),
        ("\udcff", "can't be read"),
    ],
)
def test_a_damaged_truth(folder: Path, text: str, words: str) -> None:
    (folder / "clean.truth.json").write_bytes(text.encode("utf-8", "surrogateescape"))
    error = said(folder)
    assert isinstance(error, JobError)
    assert "clean.truth.json" in error.one_line()
    assert words in error.one_line()
    assert error.exit_code == ExitCode.UNREADABLE


def test_a_missing_photo(folder: Path) -> None:
    (folder / "clean.jpg").unlink()
    error = said(folder)
    assert isinstance(error, PhotoError)
    assert "clean.truth.json" in error.one_line()


@pytest.mark.parametrize("data", [b"", b"not a picture", b"\xff\xd8\xff\xe0 cut off"])
def test_a_photo_that_is_none(folder: Path, data: bytes) -> None:
    (folder / "clean.jpg").write_bytes(data)
    assert "clean.jpg" in said(folder).one_line()


@pytest.mark.parametrize("text", ["[[photo]\n", "[[photo]]\ntitle = 'x'\n", "photo = 3\n", "photo = ['x']"])  # fmt: skip
def test_a_damaged_listing(folder: Path, text: str) -> None:
    (folder / "set.toml").write_text(text, encoding="utf-8")
    assert "set.toml" in said(folder).one_line()


def test_boxes_turned_and_beyond_the_picture_are_cut_to_it(folder: Path) -> None:
    path = folder / "copper-and-entry.truth.json"
    data = json.loads(path.read_text(encoding="utf-8"))
    data["items"] = [{"check": "cpc-unsleeved", "of": "c1", "fault": True, "box_px": [90, 80, -20, -30]}]  # fmt: skip
    path.write_text(json.dumps(data), encoding="utf-8")
    found = from_folder(folder)
    (answer,) = next(p for p in found.photos.values() if p.sheet.answers).sheet.answers
    assert answer.box_px == (0.0, 0.0, 90.0, 80.0)


def test_the_shipped_set_can_be_practised_on() -> None:
    found = from_folder(practice_dir())
    assert len(found.photos) >= 40
    sheets = [p.sheet for p in found.photos.values()]
    assert any(not s.judgeable for s in sheets)
    assert any(s.judgeable and not s.to_find for s in sheets)
    assert len({a.check for s in sheets for a in s.to_find}) == 6


def test_titles_of_the_shipped_photos_tell_what_is_in_them() -> None:
    """Box, cables and light are in the truth; a photo rendered anew must not keep an old title."""
    shape = {"rect": "Oblong", "long": "Long", "square": "Square", "round": "Round"}
    light = {"window": "by daylight", "flash": "by flash", "torch": "by torch", "mixed": "in mixed light"}  # fmt: skip
    listed = tomllib.loads((practice_dir() / "set.toml").read_text("utf-8"))["photo"]
    for row in listed:
        truth = json.loads((practice_dir() / f"{row['name']}.truth.json").read_text("utf-8"))
        box, colour, _ = truth["tags"]["box"].split("-")
        assert row["title"].startswith(f"{shape[box]} {colour} box, "), row["name"]
        assert row["title"].endswith(light[truth["tags"]["light"].removesuffix("-p")]), row["name"]
        assert all(c["sheath"] in row["title"] for c in truth["cables"]), row["name"]
        assert row["card"] == truth["card"]["found"] == truth["tags"]["card"], row["name"]
