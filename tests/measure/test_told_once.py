"""A cable whose sheath ends where another's does is told of once; its ends belong to the one that stays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from audit.measure import told_once as module
from audit.measure.told_once import TWINS, apart, told_once
from audit.sight.types import CableReading, Readings

Sure = Callable[[dict[str, float]], None]


@pytest.fixture
def sure(monkeypatch: pytest.MonkeyPatch) -> Sure:
    """Trees that find each cable so likely, told by its evidence: its own number."""

    def say(by: dict[str, float]) -> None:
        monkeypatch.setattr(
            module, "real_probability", lambda kind, row: by[f"c{int(np.ravel(row)[0])}"]
        )
        monkeypatch.setattr(module, "fault_probability", lambda check, row: 0.1)

    return say


def _beside(cable: CableReading, number: int, widths: float) -> CableReading:
    """The same cable so many widths aside, by another number, which is its evidence too."""
    by = np.array([0.0, widths * cable.width])
    edge = cable.edge
    return replace(
        cable,
        id=f"c{number}",
        axis=cable.axis + by,
        edge=None if edge is None else replace(edge, points=edge.points + by),
        evidence=np.full(3, number, np.float32),
    )


def _two(reading: Readings, widths: float) -> Readings:
    """The drawn cable with its ends, and the same so many widths aside, with a copy of its ends."""
    first = reading.cables[0]
    cables = (_beside(first, 1, 0.0), _beside(first, 2, widths))
    own = [t for t in reading.tips if t.cable == first.id]
    tips = [replace(t, cable=c.id) for c in cables for t in own]
    return Readings(cables, tuple(tips))


def test_the_likelier_of_two_at_one_place_stays_with_the_ends_of_both(
    reading: Readings, sure: Sure
) -> None:
    two = _two(reading, TWINS / 2)
    for likelier in (1, 2):
        sure({"c1": 0.9, "c2": 0.8 if likelier == 1 else 0.95})
        told = told_once(two)
        (cable,) = told.cables
        assert cable.axis is two.cables[likelier - 1].axis
        assert cable.id == "c1"
        assert len(told.tips) == len(two.tips) > 0
        assert {t.cable for t in told.tips} == {"c1"}


def test_of_two_as_likely_the_one_that_seems_faulty_stays(
    reading: Readings, sure: Sure, monkeypatch: pytest.MonkeyPatch
) -> None:
    sure({"c1": 0.9, "c2": 0.85})
    monkeypatch.setattr(
        module, "fault_probability", lambda check, row: 0.8 if np.ravel(row)[0] == 2 else 0.1
    )
    two = _two(reading, TWINS / 2)
    assert [c.axis for c in told_once(two).cables] == [two.cables[1].axis]


def test_a_bundle_does_not_take_in_the_cable_at_its_side(reading: Readings, sure: Sure) -> None:
    """Near by the width of the wider, but not by that of the cable itself."""
    sure({"c1": 0.99, "c2": 0.5})
    cable = reading.cables[0]
    bundle = replace(_beside(cable, 1, 0.0), width=3 * cable.width)
    told = told_once(Readings((bundle, _beside(cable, 2, 1.5))))
    assert [c.id for c in told.cables] == ["c1", "c2"]


def test_the_cable_beside_another_lies_a_width_away_and_is_told_of_too(
    reading: Readings, sure: Sure
) -> None:
    sure({"c1": 0.9, "c2": 0.5})
    two = _two(reading, 1.0)
    assert apart(*two.cables) == pytest.approx(1.0)
    told = told_once(two)
    assert told == two


def test_what_all_looks_show_together_stays_before_what_one_alone_has_seen(
    reading: Readings, sure: Sure
) -> None:
    sure({"c1": 0.99, "c2": 0.6})
    two = _two(reading, 0.1)
    alone, shared = two.cables
    told = told_once(replace(two, cables=(replace(alone, once=True), shared)))
    assert [c.axis for c in told.cables] == [shared.axis]


def test_of_a_row_each_goes_to_the_likeliest_near_it(reading: Readings, sure: Sure) -> None:
    # The middle one is near both of its neighbours, which are not near each other.
    row = tuple(_beside(reading.cables[0], n, 0.6 * n) for n in (1, 2, 3))
    sure({"c1": 0.7, "c2": 0.6, "c3": 0.9})
    told = told_once(Readings(row))
    assert [c.axis for c in told.cables] == [row[0].axis, row[2].axis]
    assert [c.id for c in told.cables] == ["c1", "c2"]
    sure({"c1": 0.7, "c2": 0.95, "c3": 0.9})
    assert [c.axis for c in told_once(Readings(row)).cables] == [row[1].axis]


def test_how_another_look_read_a_cable_follows_its_new_name(reading: Readings, sure: Sure) -> None:
    first = reading.cables[0]
    three = (_beside(first, 1, 0.0), _beside(first, 2, 0.2), _beside(first, 3, 5.0))
    sure({"c1": 0.5, "c2": 0.9, "c3": 0.9})
    other = Readings(
        tuple(_beside(first, n, 0.01 + w) for n, w in ((1, 0.0), (2, 0.2), (3, 5.0))),
        tuple(replace(t, cable="c3") for t in reading.tips),
    )
    told = told_once(Readings(three, (), (other,)))
    (again,) = told.again
    assert [c.id for c in told.cables] == [c.id for c in again.cables] == ["c1", "c2"]
    # The other look's reading of the one that stays, not of its twin.
    assert again.cables[0].axis is other.cables[1].axis
    assert {t.cable for t in again.tips} == {"c2"}
    # Where it saw the twin alone, that is how it read the cable.
    only = replace(other, cables=other.cables[:1])
    (again,) = told_once(Readings(three, (), (only,))).again
    assert [(c.id, c.axis is other.cables[0].axis) for c in again.cables] == [("c1", True)]


def test_a_reading_without_cables_is_as_it_was(sure: Sure) -> None:
    sure({})
    assert told_once(Readings()) == Readings()
