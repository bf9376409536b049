"""What captions say of the course's photos, held to the truth of each photo."""

from __future__ import annotations

import json
from typing import Any

import pytest

from audit.resources import practice_dir
from audit.training.lessons.texts import PhotoPicture, lessons

SHOWN = {
    (e.number, p.photo): p for e in lessons() for p in e.picture if isinstance(p, PhotoPicture)
}


def truth(name: str) -> dict[str, Any]:
    path = practice_dir() / f"{name}.truth.json"
    made: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return made


def photos(lesson: int, *, marked: bool) -> list[dict[str, Any]]:
    return [truth(n) for (e, n), p in SHOWN.items() if e == lesson and bool(p.mark) == marked]


def faults(made: dict[str, Any]) -> list[tuple[str, str]]:
    return [(i["check"], i["of"]) for i in made["items"] if i["fault"]]


@pytest.mark.parametrize(("lesson", "name"), SHOWN)
def test_a_marked_photo_shows_its_fault_plainly(lesson: int, name: str) -> None:
    made = truth(name)
    for check in SHOWN[lesson, name].mark:
        seen = [i["visible"] for i in made["items"] if i["check"] == check and i["fault"]]
        assert seen
        assert min(seen) >= 0.75


@pytest.mark.parametrize("lesson", [1, 2])
def test_as_it_should_be_has_no_fault_at_all(lesson: int) -> None:
    (made,) = photos(lesson, marked=False)
    assert made["usable"]
    assert faults(made) == []


def test_lesson_1_sheath_is_seen_on_both_sides_of_the_grip() -> None:
    (made,) = photos(1, marked=False)
    cable = made["cables"][0]
    assert cable["sheath_past_grip_mm"]["value"] >= 4
    assert cable["sheath_edge_visible"] == 1.0


def test_lesson_2_copper_at_one_brown_core() -> None:
    (made,) = photos(2, marked=True)
    (one,) = [of for check, of in faults(made) if check == "copper-beyond-terminal"]
    assert next(e["colour"] for e in made["ends"] if e["id"] == one) == "brown"


def test_lesson_3_one_cpc_ends_in_the_open_and_the_other_runs_on() -> None:
    cut, bare = photos(3, marked=True)
    assert [c["seen"] for c in cut["cpc"]] == ["cut_short", "sleeved"]
    left = {c["id"]: c["entry"]["wall_px"][0][0] for c in cut["cables"]}
    assert left["c1"] < left["c2"], "the cut one is said to be the left cable"
    assert len([e for e in cut["ends"] if e["cable"] == "c1" and e["ends_at"] == "open"]) == 1
    kinds = {check for check, _ in faults(bare)}
    assert kinds == {"cpc-unsleeved", "copper-beyond-terminal"}, "the caption names both"


def test_lesson_6_red_and_black_beside_brown_and_blue() -> None:
    (made,) = photos(6, marked=True)
    colours = [{e["colour"] for e in made["ends"] if e["cable"] == c} for c in ("c1", "c2")]
    assert sorted(colours, key=lambda c: "red" in c)[0] >= {"brown", "blue"}
    assert sorted(colours, key=lambda c: "red" in c)[1] >= {"red", "black"}


def test_lesson_8_one_can_be_judged_and_the_other_is_out_of_focus() -> None:
    good, poor = photos(8, marked=False)
    assert good["usable"]
    assert good["card"]["found"]
    assert poor["unusable_because"] == "defocus"


def test_lesson_9_the_lid_hides_grip_terminals_and_cpc() -> None:
    (made,) = photos(9, marked=False)
    assert made["view"] == "closed"
    inner = [i for i in made["items"] if i["check"] in ("copper-beyond-terminal", "cpc-cut-short")]
    assert all(i["visible"] < 0.1 for i in inner)
