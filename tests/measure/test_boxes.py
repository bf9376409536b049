"""Boxes of findings: the whole of a cable is shown, also where one core of it was taken for it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from audit.measure.boxes import LEAST_SHEATH_MM, cable_box, near_box
from audit.sight.types import Line
from tests.measure.test_cpc import SIZE, cable

MM = 10.0


@pytest.mark.parametrize(("width", "shown"), [(80.0, 80.0), (30.0, LEAST_SHEATH_MM * MM)])
def test_a_box_is_as_wide_as_a_cable_can_be_at_least(width: float, shown: float) -> None:
    """A cable read 3 mm wide is a core of one."""
    reading = replace(cable(), width=width)
    assert reading.edge is not None
    line = Line(reading.edge.points + np.array([0.0, 60.0]), reading.edge.at + 60.0, 2.0)
    for box in (
        near_box(reading, line, reading.edge, MM, 1.0, SIZE),
        cable_box(reading, line, True, MM, 1.0, SIZE),
    ):
        assert box[2] - box[0] == pytest.approx(shown, abs=0.2)
        assert (box[0] + box[2]) / 2 == pytest.approx(500.5, abs=0.2)
