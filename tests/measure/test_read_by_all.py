"""A length that several looks at a photo have read: their middle is told, and how far they differ is in its uncertainty."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from audit.measure.cable_findings import cable_record
from audit.measure.contract import Length
from audit.measure.end_findings import copper_length
from audit.measure.scale import WorkScale
from audit.measure.two_looks import both
from audit.sight.types import CableReading, Line, Readings, Tip

SCALE = WorkScale(8.0, 0.02, None, None, "core")
ROW = np.zeros((1, 3), np.float32)


def _tip(reading: Readings, px: float) -> Tip:
    tip = next(t for t in reading.tips if t.colour != "bare" and t.ends_at == "terminal")
    return replace(tip, copper_px=px, evidence=ROW, others=())


def _copper(tip: Tip) -> Length:
    told = copper_length(tip, SCALE, 1.0)
    assert told is not None
    return told


def test_copper_is_as_long_as_the_middle_look_says(reading: Readings) -> None:
    one, low, high = (_tip(reading, px) for px in (8.0, 16.0, 24.0))
    told = _copper(replace(one, others=(low, high)))
    assert told.value == pytest.approx(16.0 / 8.0)
    agreed = _copper(replace(low, others=(low, low)))
    assert told.value == agreed.value
    # Readings of 1, 2 and 3 mm have a standard deviation of 1 mm; parts add by squares, k = 2.
    assert told.u95**2 - agreed.u95**2 == pytest.approx(2.0**2, rel=1e-3)


def test_a_bare_conductor_is_no_reading_of_no_copper(reading: Readings) -> None:
    """Its copper is all of it: none is counted beyond an insulation that it has not."""
    one = _tip(reading, 32.0)
    bare = replace(one, colour="bare", copper_px=0.0)
    assert _copper(replace(one, others=(bare, bare))) == _copper(one)


def test_a_marked_end_stands_alone(reading: Readings) -> None:
    one, other = _tip(reading, 8.0), _tip(reading, 40.0)
    marked = replace(one, evidence=None)
    assert _copper(replace(marked, others=(other,))) == _copper(marked)


def _moved(line: Line | None, by: float) -> Line:
    assert line is not None
    return replace(line, at=line.at + by)


def _cable(reading: Readings, by: float) -> CableReading:
    """Its sheath read to end `by` px further out."""
    cable = reading.cables[0]
    edge = _moved(cable.edge, -by)
    return replace(cable, edge=edge, edge_seen=True, evidence=ROW, others=())


def _past(cable: CableReading) -> Length:
    """How far the sheath runs past the grip."""
    told = cable_record(cable, SCALE, 1.0, []).sheath_past_grip_mm
    assert told is not None
    return told


def test_a_sheath_ends_where_the_middle_look_says(reading: Readings) -> None:
    one, low, high = (_cable(reading, by) for by in (0.0, 16.0, 32.0))
    told, alone = _past(replace(one, others=(low, high))), _past(one)
    assert told.value == pytest.approx(alone.value - 2.0)
    agreed = _past(replace(low, others=(low, low)))
    assert told.u95**2 - agreed.u95**2 == pytest.approx(4.0**2, rel=1e-3)
    marked = replace(one, evidence=None)
    assert _past(replace(marked, others=(low, high))) == _past(marked)


def test_a_sheath_end_that_is_seen_is_not_outvoted_by_looks_that_did_not_see_it(
    reading: Readings,
) -> None:
    one = replace(_cable(reading, 16.0), edge_seen=True)
    covered = replace(_cable(reading, -80.0), edge_seen=False)
    assert _past(replace(one, others=(covered, covered))) == _past(one)


def test_each_look_is_kept_beside_the_first(reading: Readings) -> None:
    told = both(both(reading, reading), reading)
    assert [len(c.others) for c in told.cables] == [2] * len(reading.cables)
    assert all(len(t.others) == 2 for t in told.tips if t.evidence is not None)


def test_without_sheath_in_the_picture_the_length_is_a_least_one(reading: Readings) -> None:
    cable = replace(reading.cables[0], has_sheath=False, edge=None, edge_seen=False)
    told = cable_record(cable, SCALE, 1.0, []).core_outside_grip_mm
    assert told is not None
    assert told.bound == "at_least"
