"""Lengths and the decision rule, held to closed forms of the published rules."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm

from audit.measure.cable_table import find_size
from audit.measure.contract import Length
from audit.measure.decide import decide, exceed_probability
from audit.measure.lengths import PixelLength, spread, to_mm

PX = st.floats(0, 2000)
SD = st.floats(0.05, 20)
SCALE = st.floats(2, 40)
REL = st.floats(0.001, 0.3)


@given(PX, SD, SD, SCALE, REL)
def test_budget_is_the_root_sum_of_squares(
    px: float, a: float, b: float, scale: float, rel: float
) -> None:
    """JCGM 100:2008, 5.1.2 for (end - start) / scale, k = 2, without tilt."""
    got = to_mm(PixelLength(px, a, b, tilt_deg=0.0), scale, rel)
    assert got.value == pytest.approx(px / scale)
    parts = (2 * a / scale, 2 * b / scale, px / scale * rel)
    assert got.u95 == pytest.approx(math.hypot(*parts), rel=1e-6)


@given(PX, SCALE, REL, st.floats(1, 30))
def test_tilt_only_widens(px: float, scale: float, rel: float, tilt: float) -> None:
    flat = to_mm(PixelLength(px, 0.5, 0.5, tilt_deg=0.0), scale, rel)
    tilted = to_mm(PixelLength(px, 0.5, 0.5, tilt_deg=tilt), scale, rel)
    assert tilted.u95 >= flat.u95 - 1e-12


def test_no_scale_is_refused() -> None:
    with pytest.raises(ValueError, match="positive"):
        to_mm(PixelLength(10, 1, 1), 0.0, 0.1)


@pytest.mark.parametrize(
    ("value", "u95", "state"),
    [(0.91, 0.4, "flag"), (0.89, 0.4, "unsure"), (0.5, 0.0, "unsure"), (0.51, 0.0, "flag")],
)
def test_flag_begins_past_the_guard_band(value: float, u95: float, state: str) -> None:
    """JCGM 106:2012, 8.3: beyond the limit by the whole U, both sides of 0.5 mm."""
    length = Length(value=value, u95=u95)
    assert decide(length, 0.5, earned_clear=False, smallest_seen=None) == state


@given(st.floats(-5, 20), st.floats(0, 5), st.floats(0, 2), st.booleans())
def test_clear_is_never_given_unearned(value: float, u95: float, limit: float, seen: bool) -> None:
    smallest = limit / 2 if seen else None
    length = Length(value=value, u95=u95)
    assert decide(length, limit, earned_clear=False, smallest_seen=smallest) != "clear"
    assert decide(None, limit, earned_clear=True, smallest_seen=smallest) == "unsure"


def test_a_bound_decides_one_way_only() -> None:
    short = Length(value=0.0, u95=0.1, bound="at_least")
    assert decide(short, 0.5, earned_clear=True, smallest_seen=0.2) == "unsure"
    long = Length(value=5.0, u95=0.1, bound="at_most")
    assert decide(long, 0.5, earned_clear=False, smallest_seen=0.2) == "unsure"


@given(st.floats(-5, 20), st.floats(0.01, 5), st.floats(0, 2))
def test_score_is_the_normal_tail(value: float, u95: float, limit: float) -> None:
    got = exceed_probability(Length(value=value, u95=u95), limit)
    assert got == pytest.approx(norm.sf(limit, value, u95 / 2), abs=1e-9)


@pytest.mark.parametrize(
    ("name", "core", "conductor"),
    [("1.0", 2.33, 1.128), ("1.5 T&E", 2.78, 1.382), ("2.5mm²", 3.38, 1.784)],
)
def test_sizes_that_serve_as_scale(name: str, core: float, conductor: float) -> None:
    """Circle of the nominal area of IEC 60228, insulation of BS 6004 (thickness from memory)."""
    size = find_size(name)
    assert size is not None
    assert size.conductor_mm == pytest.approx(2 * math.sqrt(float(name[:3]) / math.pi), abs=1e-3)
    assert size.conductor_mm == pytest.approx(conductor, abs=1e-3)
    assert size.core_mm == pytest.approx(core, abs=0.01)


def test_unknown_size_is_no_scale() -> None:
    assert find_size("12 x 7 washing line") is None
    assert find_size(None) is None


def test_spread_of_readings_by_the_guides_own_example() -> None:
    """Twenty observations of a temperature, JCGM 100:2008, 4.4.3 and Table 1: s(t) = 1.489 (values from memory)."""
    read = [
        96.90, 98.18, 98.25, 98.61, 99.03, 99.49, 99.56, 99.74, 99.89, 100.07,
        100.33, 100.42, 100.68, 100.95, 101.11, 101.20, 101.57, 101.84, 102.36, 102.72,
    ]  # fmt: skip
    assert spread(read) == pytest.approx(1.489, abs=5e-4)
    assert spread(read[:1]) == 0.0
