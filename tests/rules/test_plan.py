"""The plan of a room: well formed, told in words, safe, and true to the zones."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from audit.job.facts import JobFacts
from audit.rules import evaluate
from audit.rules.plan import room_plans, worst
from audit.rules.types import State
from tests.rules.jobs import BATH, job

SVG = "{http://www.w3.org/2000/svg}"
ROOM = {
    **BATH, "size_m": [2.6, 2.1],
    "partition": [{"line_m": [[1.8, 0], [1.8, 0.9]], "thickness_m": 0.01, "fixed": True}],
}  # fmt: skip


def plans(facts: JobFacts, **more: object) -> dict[str, str]:
    answers = [(i.of, i.topic, i.state.value) for i in evaluate(facts) if i.of_kind == "fitting"]
    return room_plans(facts, answers, **more)  # type: ignore[arg-type]


def test_states_are_told_by_word_and_shape() -> None:
    fittings = [
        {"label": "A", "room": "R", "x_m": 0.8, "y_m": 0.3, "ip": "IP20"},
        {"label": "B", "room": "R", "x_m": 0.8, "y_m": 1.31, "ip": "IP20"},
        {"label": "C", "room": "R", "x_m": 2.4, "y_m": 2.0},
        {"label": "D", "room": "R"},
    ]
    svg = plans(job(room=ROOM, more={"fitting": fittings}))["R"]
    root = ElementTree.fromstring(svg)
    words = [t.text for t in root.iter(f"{SVG}text")]
    for word in (
        "A",
        "flag",
        "B",
        "unsure",
        "C",
        "no fault seen",
        "zone 1",
        "zone 2",
        "2.60 m",
        "2.10 m",
    ):
        assert word in words
    assert "0.61 m" in words and "Without a place: D" in words
    assert root.find(f"{SVG}title") is not None and root.find(f"{SVG}desc") is not None
    told = root.find(f"{SVG}desc").text
    assert "A at 0.8, 0.3 m, zone 1: flag." in told


def test_it_stands_alone() -> None:
    svg = plans(job({"x_m": 1, "y_m": 1}, ROOM))["R"]
    assert not re.search(r"<(script|style|image|use|foreignObject)|href|style=|on\w+=", svg)
    assert "http" not in svg.replace('xmlns="http://www.w3.org/2000/svg"', "")


def test_paper_form_needs_no_page() -> None:
    svg = plans(job({"x_m": 1, "y_m": 1}, ROOM), paint="paper")["R"]
    assert "var(" not in svg and "currentColor" not in svg


def test_names_are_escaped() -> None:
    facts = job({"label": "<b>&\"'", "x_m": 1, "y_m": 1}, {**ROOM, "name": "R"})
    svg = plans(facts)["R"]
    ElementTree.fromstring(svg)
    assert "<b>" not in svg


@pytest.mark.parametrize("size", [[0.6, 0.6], [60, 0.6], [0.6, 60], [60, 60]])
def test_any_room_fits_its_drawing(size: list[float]) -> None:
    svg = plans(job({"x_m": 0.3, "y_m": 0.3}, {"size_m": size}))["R"]
    root = ElementTree.fromstring(svg)
    _, _, wide, tall = (float(v) for v in root.get("viewBox", "").split())
    for text in root.iter(f"{SVG}text"):
        if text.get("y"):
            assert 0 <= float(text.get("y")) <= tall
            assert 0 <= float(text.get("x")) <= wide


def test_nothing_to_draw_gives_no_plan() -> None:
    assert plans(job()) == {}


def test_a_room_without_walls_is_drawn_from_what_stands_in_it() -> None:
    assert "Walls are not declared." in plans(job({"x_m": 1, "y_m": 1}, BATH))["R"]


def test_two_plans_share_no_identity() -> None:
    facts = job(
        more={
            "room": [{**ROOM, "name": "R"}, {**ROOM, "name": "S"}],
            "fitting": [{"label": n, "room": n, "x_m": 1, "y_m": 1} for n in "RS"],
        }
    )
    ids = [re.findall(r'id="([^"]+)"', svg) for svg in plans(facts).values()]
    assert len(ids) == 2 and not set(ids[0]) & set(ids[1])


def test_worst() -> None:
    assert worst(["clear", "missing", "unsure"]) is State.UNSURE
    assert worst([]) is State.MISSING
