"""What is passed over as hardly there, and what never is."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from audit.measure import likely as module
from audit.measure.likely import likely, likely_together, no_end
from audit.measure.verdicts import CABLE, END, REAL_FORESTS, real_probability
from audit.sight.marks import SightMark, apply_marks
from audit.sight.types import F32, Readings

Trees = Callable[[float, float], None]


@pytest.fixture
def trees(monkeypatch: pytest.MonkeyPatch) -> Trees:
    """Trees that say the same of everything: that it is there, and that it is faulty."""

    def say(there: float, faulty: float) -> None:
        monkeypatch.setattr(module, "real_probability", lambda kind, row: there)
        monkeypatch.setattr(module, "fault_probability", lambda check, row: faulty)

    return say


def test_what_is_hardly_there_and_hardly_faulty_is_passed_over(
    reading: Readings, trees: Trees
) -> None:
    trees(0.01, 0.001)
    assert reading.cables
    assert any(t.colour != "bare" for t in reading.tips)
    left = likely(reading)
    assert left.cables == ()
    assert all(t.colour == "bare" for t in left.tips)


@pytest.mark.parametrize("faulty", ["core-outside-grip", "core-outside-enclosure"])
def test_one_likely_fault_keeps_a_cable(
    reading: Readings, monkeypatch: pytest.MonkeyPatch, faulty: str
) -> None:
    monkeypatch.setattr(module, "real_probability", lambda kind, row: 0.01)
    monkeypatch.setattr(
        module, "fault_probability", lambda check, row: 0.4 if check == faulty else 0.001
    )
    assert likely(reading).cables == reading.cables


def test_less_doubt_keeps_an_end_than_a_cable(reading: Readings, trees: Trees) -> None:
    trees(0.01, 0.015)
    left = likely(reading)
    assert left.cables == ()
    assert len(left.tips) == len(reading.tips)
    assert all(t.cable is None for t in left.tips)


def test_a_mark_moves_what_the_person_was_shown(
    reading: Readings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One cable and one end are passed over; marks name the others by the names that are shown."""
    (cable,) = reading.cables
    shadow = replace(cable, id="c1", evidence=np.full(3, -1, np.float32))
    real = replace(cable, id="c2")
    loose = replace(reading.tips[0], cable=None, evidence=np.full(3, -1, np.float32))
    own = tuple(replace(t, cable="c2") for t in reading.tips)
    monkeypatch.setattr(module, "real_probability", lambda kind, row: 0.01 if row[0] == -1 else 0.9)
    monkeypatch.setattr(module, "fault_probability", lambda check, row: 0.001)
    shown = likely(Readings((shadow, real), (loose, *own)))
    assert [c.id for c in shown.cables] == ["c1"]
    assert {t.cable for t in shown.tips} == {"c1"}
    wall = SightMark("wall", "c1", np.array([[760.0, 400.0], [840.0, 400.0]]))
    length = SightMark("length", "e1", np.array([[1000.0, 870.0], [1000.0, 900.0]]))
    marked = apply_marks(shown, [wall, length], 1.0)
    assert len(marked.cables) == 1
    assert marked.cables[0].wall is not None
    assert marked.cables[0].wall.origin == "mark"
    assert marked.tips[0].copper_px == pytest.approx(30.0)
    assert marked.tips[0].path is shown.tips[0].path


@pytest.mark.parametrize(("there", "faulty"), [(0.9, 0.001), (0.01, 0.4), (0.9, 0.4)])
def test_what_may_be_there_or_faulty_is_told_of(
    reading: Readings, trees: Trees, there: float, faulty: float
) -> None:
    trees(there, faulty)
    left = likely(reading)
    assert left.cables == reading.cables
    assert left.tips == reading.tips


def test_cores_of_a_cable_that_is_kept_are_kept(
    reading: Readings, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Their run is where the cable's own questions are shown; of their ends nothing is asked."""
    there = {CABLE: 0.9, END: 0.01}
    monkeypatch.setattr(module, "real_probability", lambda kind, row: there[kind])
    monkeypatch.setattr(module, "fault_probability", lambda check, row: 0.001)
    left = likely(reading)
    own = [t for t in reading.tips if t.cable is not None]
    assert own
    assert [t for t in left.tips if t.cable is not None] == own
    assert all(no_end(t) for t in own)


CHECKS = ("core-outside-grip", "core-outside-enclosure", "cpc-unsleeved", "cpc-cut-short")


@pytest.mark.parametrize("faulty", [None, *CHECKS])
def test_a_cable_that_looks_together_hardly_see_is_kept_for_any_likely_fault(
    reading: Readings, monkeypatch: pytest.MonkeyPatch, faulty: str | None
) -> None:
    """By all looks more is passed over than by one: what is little likely to be there, and sound."""

    def told(check: str, _row: Any) -> float:
        return 0.06 if check == faulty else 0.03

    monkeypatch.setattr(module, "real_probability", lambda kind, row: 0.45)
    monkeypatch.setattr(module, "fault_probability", told)
    monkeypatch.setattr(module, "cut_probability", lambda row: told("cpc-cut-short", row))
    assert likely(reading).cables == reading.cables
    assert bool(likely_together(reading).cables) == (faulty is not None)


def test_other_looks_at_a_cable_go_by_its_new_name(
    reading: Readings, monkeypatch: pytest.MonkeyPatch
) -> None:
    (cable,) = reading.cables
    shadow = replace(cable, id="c1", evidence=np.full(3, -1, np.float32))
    pair = Readings((shadow, replace(cable, id="c2")), reading.tips)
    own = replace(reading.tips[0], cable="c2")
    again = Readings(pair.cables, (own, replace(own, cable="c1")))
    monkeypatch.setattr(module, "real_probability", lambda kind, row: 0.1 if row[0] == -1 else 0.9)
    monkeypatch.setattr(module, "fault_probability", lambda check, row: 0.001)
    monkeypatch.setattr(module, "cut_probability", lambda row: 0.001)
    left = likely_together(replace(pair, again=(again,)))
    assert [c.id for c in left.cables] == ["c1"]
    assert left.cables[0].axis is cable.axis
    assert [c.id for c in left.again[0].cables] == ["c1"]
    assert [t.cable for t in left.again[0].tips] == ["c1", None]


def test_what_a_mark_touched_is_always_told_of(reading: Readings, trees: Trees) -> None:
    trees(0.01, 0.001)
    marked = Readings(
        tuple(replace(c, evidence=None) for c in reading.cables),
        tuple(replace(t, evidence=None) for t in reading.tips),
    )
    assert likely(marked) == marked


def test_the_shipped_trees_hold_a_drawn_cable_for_one(reading: Readings) -> None:
    assert likely(reading).cables == reading.cables


@pytest.mark.parametrize("kind", sorted(REAL_FORESTS))
def test_the_shipped_trees_take_the_rows_of_a_reading(kind: str, reading: Readings) -> None:
    things = reading.cables if kind == CABLE else reading.tips
    rows: list[F32] = [t.evidence for t in things if t.evidence is not None]
    assert rows
    told = [real_probability(kind, row) for row in rows]
    assert np.isfinite(told).all()
    assert min(told) >= 0
    assert max(told) <= 1
