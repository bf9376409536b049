"""A cable whose sheath ends where another's does is told of once; its ends belong to the one that stays."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from audit.measure import looks as looks_module
from audit.measure import told_once as module
from audit.measure.looks import unmarked
from audit.measure.told_once import TWINS, apart, told_once
from audit.photo.decode import read_photo
from audit.settings import Settings
from audit.sight.types import CableReading, Readings, Tip

Sure = Callable[[dict[str, float]], None]


def _end(reading: Readings, cable: str, colour: str, ends_at: str = "terminal") -> Tip:
    """An end of the drawing, of another colour and cable."""
    return replace(reading.tips[0], cable=cable, colour=colour, ends_at=ends_at)


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
    """The drawn cable with a brown and a bare end, and the same so many widths aside with a blue one."""
    first = reading.cables[0]
    cables = (_beside(first, 1, 0.0), _beside(first, 2, widths))
    ends = (("c1", "brown"), ("c1", "bare"), ("c2", "blue"))
    return Readings(cables, tuple(_end(reading, c, colour) for c, colour in ends))


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
        assert [t.colour for t in told.tips] == ["brown", "bare", "blue"]
        assert {t.cable for t in told.tips} == {"c1"}


def test_what_would_be_flagged_stays_before_what_is_likelier_there(
    reading: Readings, sure: Sure, monkeypatch: pytest.MonkeyPatch
) -> None:
    sure({"c1": 0.99, "c2": 0.5})
    flagged = {"check": "core-outside-enclosure"}

    def fault(check: str, row: np.ndarray) -> float:
        return 0.3 if np.ravel(row)[0] == 2 and check == flagged["check"] else 0.04

    monkeypatch.setattr(module, "fault_probability", fault)
    two = _two(reading, TWINS / 2)
    assert [c.axis for c in told_once(two).cables] == [two.cables[1].axis]
    flagged["check"] = "cpc-unsleeved"
    assert [c.axis for c in told_once(two).cables] == [two.cables[0].axis]


@pytest.mark.parametrize(
    ("kept", "other", "colours", "told"),
    [
        ("not_seen", "bare", ("brown", "bare"), "bare"),
        ("cut_short", "bare", ("brown", "bare"), "bare"),
        ("none_comes_out", "sleeved", ("brown", "green-and-yellow"), "sleeved"),
        ("none_comes_out", "none_comes_out", ("brown", "blue"), "none_comes_out"),
        ("none_comes_out", "not_seen", ("brown", "blue"), "not_seen"),
    ],
)
def test_the_cpc_is_what_all_of_them_show(
    reading: Readings, sure: Sure, kept: str, other: str, colours: tuple[str, str], told: str
) -> None:
    sure({"c1": 0.9, "c2": 0.8})
    first, second = _two(reading, TWINS / 2).cables
    cables = (replace(first, cpc=kept, edge_seen=True), replace(second, cpc=other))
    ends = (_end(reading, "c1", colours[0]), _end(reading, "c2", colours[1]))
    (cable,) = told_once(Readings(cables, ends)).cables
    assert cable.cpc == told


def test_each_with_a_line_and_a_neutral_of_its_own_they_are_two(
    reading: Readings, sure: Sure
) -> None:
    """One over the other in one grip."""
    sure({"c1": 0.9, "c2": 0.8})
    cables = _two(reading, TWINS / 2).cables
    ends = [_end(reading, c, colour) for c in ("c1", "c2") for colour in ("brown", "blue")]
    assert len(told_once(Readings(cables, tuple(ends))).cables) == 2
    assert len(told_once(Readings(cables, tuple(ends[:3]))).cables) == 1


def test_ends_that_one_look_alone_has_seen_change_nothing_of_what_more_have(
    reading: Readings, sure: Sure
) -> None:
    sure({"c1": 0.9, "c2": 0.8})
    first, second = _two(reading, TWINS / 2).cables
    cables = (replace(first, cpc="not_seen"), replace(second, once=True, cpc="sleeved"))
    ends = (
        _end(reading, "c1", "brown"),
        replace(_end(reading, "c2", "green-and-yellow"), once=True),
    )
    told = told_once(Readings(cables, ends))
    assert [c.cpc for c in told.cables] == ["not_seen"]
    assert [t.cable for t in told.tips] == ["c1", None]
    # One look's alone are its own.
    alone = tuple(replace(c, once=True) for c in cables)
    told = told_once(Readings(alone, tuple(replace(t, once=True) for t in ends)))
    assert [c.cpc for c in told.cables] == ["sleeved"]
    assert [t.cable for t in told.tips] == ["c1", "c1"]


def test_all_that_is_told_of_a_photo_is_told_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """What each look reads, and what they say together: four times for a photo that is looked at twice."""
    passed: list[Readings] = []

    def counted(readings: Readings) -> Readings:
        passed.append(readings)
        return told_once(readings)

    monkeypatch.setattr(looks_module, "told_once", counted)
    photo = Path(__file__).parents[2] / "sample_images/demo/photos/F02-entry.jpg"
    told = unmarked(read_photo(photo, Settings())).readings
    assert len(passed) == 4
    assert told == told_once(passed[-1])


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
    assert [c.axis for c in told.cables] == [c.axis for c in two.cables]
    assert told.tips == two.tips


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
