"""A mark beats what was found, and a person's marks alone give lengths and states."""

from __future__ import annotations

import numpy as np
import pytest

from audit.measure.cable_findings import cable_finding
from audit.measure.end_findings import copper_finding
from audit.measure.scale import WorkScale
from audit.settings import Settings
from audit.sight.marks import SightMark, apply_marks
from audit.sight.types import Readings

from .drawn import fitting
from .test_readings import only, read

FULL = 2.0  # px of the photo for one of the analysis picture
SCALE = WorkScale(16.0, 0.02, None, None, "marks")
SIZE = (3200, 2400)


def mark(kind: str, of: str | None, *points: tuple[float, float]) -> SightMark:
    return SightMark(kind, of, np.array(points))


def across(y: float) -> tuple[tuple[float, float], tuple[float, float]]:
    """A line over the cable at y mm from the picture's top; 16 px of the photo are 1 mm."""
    return (1540.0, y * 16), (1660.0, y * 16)


def test_marks_alone_give_a_length_and_a_flag() -> None:
    marks = [mark("sheath_edge", "c1", *across(60)), mark("grip", "c1", *across(66))]
    (cable,) = apply_marks(Readings(), marks, FULL).cables
    finding = cable_finding(cable, "core-outside-grip", SCALE, FULL, SIZE, Settings(), False)
    assert finding.state == "flag"
    assert finding.value_mm == pytest.approx(6.0, abs=0.05)
    assert finding.u95_mm is not None and 0 < finding.u95_mm < 0.6


def test_a_mark_replaces_the_found_edge() -> None:
    readings = read(fitting(sheath_end=300))
    before = only(readings)
    assert before.edge is not None
    (after,) = apply_marks(readings, [mark("sheath_edge", "c1", *across(40))], FULL).cables
    assert after.edge is not None and after.edge.origin == "mark"
    assert after.edge.at == pytest.approx(40 * 8, abs=4)
    assert after.edge.at != pytest.approx(before.edge.at, abs=50)
    finding = cable_finding(after, "core-outside-grip", SCALE, FULL, SIZE, Settings(), False)
    assert finding.state == "flag"
    assert finding.value_mm == pytest.approx((228 / 4) - 40, abs=1.0)


def test_a_marked_length_stands_for_the_copper() -> None:
    readings = read(fitting())
    k = next(i for i, t in enumerate(readings.tips) if t.colour == "brown")
    x, y = (readings.tips[k].path[-1] + 0.5) * FULL
    drawn = mark("length", f"e{k + 1}", (x, y), (x, y + 48.0))
    tip = apply_marks(readings, [drawn], FULL).tips[k]
    finding = copper_finding(tip, f"e{k + 1}", SCALE, FULL, SIZE, Settings(), 2.0)
    assert finding is not None and finding.state == "flag"
    assert finding.value_mm == pytest.approx(3.0, abs=0.05)


def test_no_mark_changes_nothing() -> None:
    readings = read(fitting())
    assert apply_marks(readings, [], FULL) is readings
