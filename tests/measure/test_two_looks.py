"""What the second look alone has seen is told of, in doubt; what both saw is told once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from audit.measure import cable_findings, end_findings
from audit.measure import looks as looks_module
from audit.measure import two_looks as module
from audit.measure.contract import CABLE_CHECKS
from audit.measure.declared import Declared
from audit.measure.look import Seen, record_of, see
from audit.measure.looks import looked_once, unmarked
from audit.measure.spot_findings import CHECK_OF
from audit.measure.two_looks import ELSEWHERE, ONCE, both
from audit.measure.verdicts import FORESTS, fault_probability, joined
from audit.photo.decode import read_photo
from audit.settings import Settings
from audit.sight.marks import SightMark, apply_marks
from audit.sight.materials import trees_of
from audit.sight.spots import SPOT_KINDS, Spot
from audit.sight.types import CableReading, Line, Readings, Tip

EVIDENCE = trees_of(FORESTS["copper-beyond-terminal"]).features
Likely = Callable[[float, float], None]


@pytest.fixture
def trees(monkeypatch: pytest.MonkeyPatch) -> Likely:
    def say(there: float, faulty: float) -> None:
        monkeypatch.setattr(module, "real_probability", lambda kind, row: there)
        monkeypatch.setattr(module, "fault_probability", lambda check, row: faulty)

    return say


def _aside(reading: Readings, by: float) -> Readings:
    """The same reading, `by` px further along and aside."""

    def moved(line: Line | None) -> Line | None:
        return None if line is None else replace(line, points=line.points + by)

    def cable(c: CableReading) -> CableReading:
        return replace(c, axis=c.axis + by, edge=moved(c.edge))

    def tip(t: Tip) -> Tip:
        return replace(t, path=t.path + by, copper_path=t.copper_path + by)

    return Readings(tuple(map(cable, reading.cables)), tuple(map(tip, reading.tips)))


def _first_alone(told: Readings, first: Readings) -> bool:
    """Whether nothing but the first look's cables and ends is told of, with its own geometry."""
    cables = [c.axis for c in told.cables], [c.axis for c in first.cables]
    ends = [t.path for t in told.tips], [t.path for t in first.tips]
    return all(
        len(mine) == len(theirs) and all(a is b for a, b in zip(mine, theirs, strict=True))
        for mine, theirs in (cables, ends)
    )


def test_what_both_saw_is_told_as_the_first_look_read_it(reading: Readings, trees: Likely) -> None:
    trees(0.9, 0.9)
    told = both(reading, _aside(reading, 1.5))
    assert _first_alone(told, reading)
    for mine, theirs in zip(told.cables, reading.cables, strict=True):
        assert np.shape(mine.evidence) == (2, *np.shape(theirs.evidence))
    assert any(np.ndim(t.evidence) == 2 for t in told.tips)
    assert not any(t.once for t in told.tips)
    (again,) = told.again
    assert [c.id for c in again.cables] == [c.id for c in reading.cables]


def test_a_third_look_adds_to_what_two_have_seen(reading: Readings, trees: Likely) -> None:
    """What all three saw is weighed by three rows; what the third alone saw is told of, in doubt."""
    trees(0.9, 0.9)
    two = both(reading, _aside(reading, 1.5))
    told = both(two, _aside(reading, -1.5))
    assert _first_alone(told, reading)
    assert {np.shape(c.evidence)[0] for c in told.cables} == {3}
    assert [len(again.cables) for again in told.again] == [len(reading.cables)] * 2
    far = both(two, _aside(reading, 3 * reading.cables[0].width))
    assert [c.once for c in far.cables] == [False, True]
    assert [np.shape(c.evidence)[0] for c in far.cables[:1]] == [2]


def test_two_looks_weigh_as_one() -> None:
    """The mean of log-odds (logarithmic opinion pool): 0.5 and 0.9 give 0.75; both alike, themselves."""
    row = np.zeros(EVIDENCE, np.float32)
    one = fault_probability("copper-beyond-terminal", row)
    assert fault_probability("copper-beyond-terminal", np.stack([row, row])) == pytest.approx(one)
    assert joined(np.array([0.5, 0.9])) == pytest.approx(0.75)
    assert joined(np.array([0.2])) == pytest.approx(0.2)


def test_what_the_second_alone_saw_gets_names_of_its_own(reading: Readings, trees: Likely) -> None:
    trees(0.9, 0.0)
    (cable,) = reading.cables
    far = _aside(reading, 3 * cable.width)
    told = both(reading, far)
    assert told.cables[0].axis is cable.axis
    assert [(c.id, c.once) for c in told.cables] == [("c1", False), ("c2", True)]
    new = told.tips[len(reading.tips) :]
    assert all(a.path is b.path for a, b in zip(told.tips, reading.tips, strict=False))
    assert len(new) == len(far.tips)
    assert all(t.once for t in new)
    assert {t.cable for t in new} == {"c2" if t.cable else None for t in far.tips}


def test_a_cable_side_by_side_with_one_that_was_seen_is_another(
    reading: Readings, trees: Likely
) -> None:
    trees(0.9, 0.0)
    (cable,) = reading.cables
    assert len(both(reading, _aside(reading, 0.75 * cable.width)).cables) == 2
    assert len(both(reading, _aside(reading, 0.3 * cable.width)).cables) == 1


def test_a_scrap_in_the_second_look_is_not_told_of(reading: Readings, trees: Likely) -> None:
    trees(0.1, 0.001)
    far = _aside(reading, 3 * reading.cables[0].width)
    assert _first_alone(both(reading, far), reading)


def test_likely_copper_is_told_of_wherever_it_is(reading: Readings, trees: Likely) -> None:
    trees(0.1, 0.2)
    far = _aside(reading, 3 * reading.cables[0].width)
    told = both(reading, far)
    assert len(told.cables) == 1
    ends = told.tips[len(reading.tips) :]
    assert ends
    assert all(t.once and t.cable is None for t in ends)


def test_an_empty_first_look_is_filled_by_the_second(reading: Readings, trees: Likely) -> None:
    trees(0.9, 0.9)
    told = both(Readings(), reading)
    assert [c.id for c in told.cables] == [c.id for c in reading.cables]
    assert all(c.once for c in told.cables)


@pytest.fixture(scope="module")
def seen() -> Seen:
    photo = read_photo(Path("sample_images/demo/photos/F02-entry.jpg"))
    return replace(see(photo, Settings()), spots=())  # what was read is tried here


def _record(seen: Seen, readings: Readings) -> Any:
    return record_of(replace(seen, readings=readings), Settings(), Declared(), "x.jpg")


@pytest.mark.parametrize(("told", "state"), [(0.8, "unsure"), (0.95, "flag"), (0.0, "unsure")])
def test_half_a_sight_clears_nothing_and_flags_what_is_very_likely(
    seen: Seen, monkeypatch: pytest.MonkeyPatch, told: float, state: str
) -> None:
    for place in (cable_findings, end_findings):
        monkeypatch.setattr(place, "fault_probability", lambda check, row: told)
    first = [np.atleast_2d(x.evidence)[0] for x in (*seen.readings.cables, *seen.readings.tips)]
    rows = iter(first)
    once = Readings(
        tuple(replace(c, once=True, evidence=next(rows)) for c in seen.readings.cables),
        tuple(replace(t, once=True, evidence=next(rows)) for t in seen.readings.tips),
    )
    found = [f for f in _record(seen, once).findings if f.of != "photo"]
    assert found
    assert {f.state for f in found} <= {"unsure", state}
    assert state in {f.state for f in found}
    assert {f.why for f in found if f.state == "unsure"} == {ONCE}
    assert {f.state for f in found if f.check.startswith("cpc")} == {"unsure"}


def test_what_a_person_marked_is_told_by_the_mark(seen: Seen) -> None:
    """A mark takes the place of the evidence: the doubt of two looks is about what nobody marked."""
    once = Readings(tuple(replace(c, once=True) for c in seen.readings.cables), seen.readings.tips)
    cable = once.cables[0]
    points = cable.axis[len(cable.axis) // 2] + np.array([[-20.0, 0.0], [20.0, 0.0]])
    marked = apply_marks(once, [SightMark("wall", cable.id, points)], 1.0)
    told = [
        f for f in _record(seen, marked).findings
        if f.of == cable.id and f.check in CABLE_CHECKS
    ]  # fmt: skip
    assert any(f.why != ONCE for f in told)


def test_the_second_look_is_at_another_scale(monkeypatch: pytest.MonkeyPatch) -> None:
    """And what is handed on is of the first, with all that it found."""
    steps = []
    real = looks_module.material_map

    def counted(image: Any, coarse: Any, near: Any) -> Any:
        found = real(image, coarse, near)
        steps.append(found.step)
        return found

    monkeypatch.setattr(looks_module, "material_map", counted)
    photo = read_photo(Path("sample_images/demo/photos/F02-entry.jpg"))
    found = unmarked(photo)
    first, second = steps
    assert first > 1.1 * second or first < 0.95 * second
    assert found.materials.step == first
    once = looked_once(photo)
    assert once.materials.step == first
    assert len(once.every.tips) == len(found.every.tips)
    for mine, theirs in zip(found.every.cables, once.every.cables, strict=True):
        assert mine.axis == pytest.approx(theirs.axis)


def test_another_cpc_in_the_second_look_is_a_place_of_doubt(seen: Seen) -> None:
    """The same cable, whose CPC the other look read far off: both places are told of, neither is settled there."""
    cable = seen.readings.cables[0]
    own = [t for t in seen.readings.tips if t.cable == cable.id]
    assert own
    away = 60.0 * cable.width * np.array([0.0, 0.05])
    moved = tuple(
        replace(t, colour="green-and-yellow", path=t.path + away, copper_path=t.copper_path + away)
        for t in own
    )
    again = Readings((replace(cable, cpc="sleeved"),), moved)
    told = _record(seen, replace(seen.readings, again=(again,)))
    plain = _record(seen, replace(seen.readings, again=()))
    more = [f for f in told.findings if f.why == ELSEWHERE]
    assert len(told.findings) == len(plain.findings) + len(more)
    assert more
    assert {f.state for f in more} == {"unsure"}
    assert {f.of for f in more} == {cable.id}
    alike = replace(seen.readings, again=(replace(seen.readings, again=()),))
    assert [f for f in _record(seen, alike).findings if f.why == ELSEWHERE] == []


def test_both_looks_at_an_entry_are_shown_midway(seen: Seen) -> None:
    """The second look read the same cables a little aside: what is not clear is shown between the two places."""
    again = _aside(replace(seen.readings, again=()), 6.0)
    told = _record(seen, replace(seen.readings, again=(again,)))
    plain = _record(seen, replace(seen.readings, again=()))
    theirs = _record(seen, again)
    moved = 0
    entries = [
        {(f.of, f.check): f for f in look.findings if f.check in CABLE_CHECKS}
        for look in (told, plain, theirs)
    ]
    assert entries[0].keys() == entries[1].keys()
    for key in set(entries[0]) & set(entries[2]):
        mine, first, second = (e[key] for e in entries)
        if first.state == "clear":
            assert mine.box_px == first.box_px
        else:
            moved += 1
            assert mine.box_px == pytest.approx(np.mean([first.box_px, second.box_px], 0), abs=0.1)
    assert moved
    assert told.cables == plain.cables


def test_spots_are_told_in_the_record(seen: Seen) -> None:
    """Where nothing is said: in the photo's corner, of every kind."""
    box = np.array([2, 2, 40, 40], np.float64)
    spots = tuple(Spot(kind, 0.5, box) for kind in SPOT_KINDS)
    plain = _record(seen, seen.readings)
    told = _record(replace(seen, spots=spots), seen.readings)
    more = [f for f in told.findings if f not in plain.findings]
    assert {f.check for f in more} == set(CHECK_OF.values())
    assert {f.state for f in more} == {"unsure"}
    assert len(told.findings) == len(plain.findings) + len(set(CHECK_OF.values()))
