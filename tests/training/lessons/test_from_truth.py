"""Sheets of photos with truth: what is picked, what lengths are told, what is refused."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from audit.errors import JobError, UsageError
from audit.report.ribbon import length_words
from audit.settings import Settings
from audit.training.lessons.from_truth import (
    _joined,
    candidates,
    fault,
    is_check,
    known_photos,
    pick,
)
from audit.training.lessons.make import Choice, from_folder
from tests.training.lessons.jobs import TUNE


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("truth")
    for number in ("001", "007", "009", "023", "054", "068"):
        for ending in (".jpg", ".truth.json"):
            shutil.copy(TUNE / f"tune-{number}{ending}", out)
    return out


def test_lengths_are_those_of_the_truth_file(folder: Path) -> None:
    photo = next(k for k in known_photos(folder) if k.name == "tune-001")
    raw = json.loads((folder / "tune-001.truth.json").read_text(encoding="utf-8"))
    shown = [
        i["size_mm"]
        for i in raw["items"]
        if i["check"] == "copper-beyond-terminal" and i["fault"] and i["visible"] >= 0.5
    ]
    found = fault(photo, "copper-beyond-terminal")
    assert found is not None
    assert found.length == f"{min(shown):.1f} to {max(shown):.1f} mm, in {len(shown)} places"
    assert [p.value_mm for p in found.places] == shown


def test_what_the_camera_hardly_sees_is_no_example(folder: Path) -> None:
    # tune-001: end e4 has 0.73 mm of copper, of which 17 % is seen.
    photo = next(k for k in known_photos(folder) if k.name == "tune-001")
    found = fault(photo, "copper-beyond-terminal")
    assert found is not None
    assert "e4" not in {p.of for p in found.places}


def test_a_photo_that_can_not_be_judged_is_no_example(folder: Path) -> None:
    # tune-054 is out of focus, and its cores lie 18.72 mm outside.
    photo = next(k for k in known_photos(folder) if k.name == "tune-054")
    assert not photo.truth.usable
    assert candidates(photo) == []


def test_each_photo_stands_for_one_check_where_it_can(folder: Path) -> None:
    chosen = pick(known_photos(folder), ["cpc-cut-short", "copper-beyond-terminal"], 1)
    assert chosen["tune-007"] == ["cpc-cut-short"]
    assert sum(len(v) for v in chosen.values()) == 2


def test_none_is_used_unless_chosen(folder: Path) -> None:
    with pytest.raises(UsageError, match="no photo is chosen"):
        from_folder(folder, Choice(), Settings())


def test_a_photo_without_truth_is_named(folder: Path, tmp_path: Path) -> None:
    shutil.copy(TUNE / "tune-009.jpg", tmp_path)
    with pytest.raises(UsageError, match="no photo with a truth file"):
        from_folder(tmp_path, Choice(all_photos=True), Settings())
    with pytest.raises(UsageError, match="no photo of this name with a truth file"):
        from_folder(folder, Choice(photos=("tune-999.jpg",)), Settings())


def test_a_truth_file_that_is_none_is_told_with_its_field(folder: Path, tmp_path: Path) -> None:
    shutil.copy(TUNE / "tune-009.jpg", tmp_path)
    raw = json.loads((TUNE / "tune-009.truth.json").read_text(encoding="utf-8"))
    raw["cables"][0]["reading"][0]["what"] = "rope"
    (tmp_path / "tune-009.truth.json").write_text(json.dumps(raw), encoding="utf-8")
    with pytest.raises(JobError) as caught:
        from_folder(tmp_path, Choice(all_photos=True), Settings())
    assert "reading" in caught.value.one_line()


def test_a_sound_photo_gives_no_sheet(folder: Path) -> None:
    with pytest.raises(UsageError, match="no chosen photo shows a fault"):
        from_folder(folder, Choice(photos=("tune-023",)), Settings())


def test_an_unknown_check_is_told_with_a_near_one() -> None:
    with pytest.raises(UsageError, match="there is no check 'cpc-cut-shrt'") as caught:
        is_check("cpc-cut-shrt")
    assert "cpc-cut-short" in caught.value.one_line()


def test_a_known_length_has_no_uncertainty(folder: Path) -> None:
    photo = next(k for k in known_photos(folder) if k.name == "tune-068")
    length = photo.look.cables[0].core_outside_enclosure_mm
    assert length is not None
    assert length_words(length) == "9.3 mm"  # tune-068.truth.json: 9.29


@pytest.mark.parametrize(
    ("seen", "words"),
    [("cut_short", "ends in the open"), ("none_comes_out", "cut flush with it")],
)
def test_what_became_of_the_cpc_is_told_as_exactly_as_it_is_known(
    tmp_path: Path, seen: str, words: str
) -> None:
    raw = json.loads((TUNE / "tune-007.truth.json").read_text(encoding="utf-8"))
    raw["cpc"] = [{**c, "seen": seen} for c in raw["cpc"]]
    (tmp_path / "a.truth.json").write_text(json.dumps({**raw, "photo": "a.jpg"}), encoding="utf-8")
    shutil.copy(TUNE / "tune-007.jpg", tmp_path / "a.jpg")
    (sheet,) = from_folder(tmp_path, Choice(photos=("a",)), Settings()).sheets
    assert sheet.check == "cpc-cut-short"
    assert words in sheet.wrong


def test_wall_and_grip_stand_once_each_and_the_sheath_keeps_its_end() -> None:
    """Where a sheath ends under the wall, truth has the wall in two pieces."""
    joined = _joined(
        [
            {"what": "sheath", "from_mm": -20.0, "to_mm": 0.0},
            {"what": "wall", "from_mm": 0.0, "to_mm": 1.5},
            {"what": "wall", "from_mm": 1.5, "to_mm": 2.5},
            {"what": "core", "from_mm": 0.0, "to_mm": 30.0},
        ]
    )
    assert [(s["what"], s["from_mm"], s["to_mm"]) for s in joined] == [
        ("sheath", -20.0, 1.5),
        ("wall", 0.0, 2.5),
        ("core", 0.0, 30.0),
    ]
