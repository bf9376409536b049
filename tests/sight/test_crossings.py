"""What crosses and what lies beside: one core under another, a bare conductor past a core's end,
two cores of one colour side by side."""

from __future__ import annotations

import numpy as np
import pytest

from audit.sight.readings import read_cables
from audit.sight.strands import core_strands, find_strands
from audit.sight.types import Material

from .drawn import Drawing, fitting, grey_image


def bent_under() -> Drawing:
    """A brown core that turns by 70 degrees where a blue one covers it."""
    d = Drawing()
    d.box((50, 50), (750, 550), Material.ENCLOSURE)
    d.line((120, 300), (395, 300), Material.BROWN, 11)
    d.line((405, 300), (500, 520), Material.BROWN, 11)
    d.line((400, 80), (400, 520), Material.BLUE, 17)
    return d


def test_a_core_that_bends_under_another_is_one_core() -> None:
    brown = [s for s in core_strands(bent_under().map()) if s.material == Material.BROWN]
    assert len(brown) == 1
    # px of the picture, two a map px: from one far end to the other.
    ends = sorted(tuple(np.round(p)) for p in (brown[0].path[0], brown[0].path[-1]))
    assert ends[0] == pytest.approx((240, 600), abs=16)
    assert ends[1] == pytest.approx((1000, 1040), abs=24)


def test_two_cores_whose_ends_lie_far_apart_stay_two() -> None:
    d = bent_under()
    d.box((396, 295), (520, 540), Material.ENCLOSURE)
    d.line((500, 400), (520, 520), Material.BROWN, 11)
    d.line((400, 80), (400, 520), Material.BLUE, 17)
    assert sum(s.material == Material.BROWN for s in core_strands(d.map())) == 2


def test_the_end_under_a_crossing_is_not_told_as_an_end() -> None:
    strands, materials = find_strands(bent_under().map())
    tips = read_cables(grey_image(), materials, strands).tips
    middle = np.array([800.0, 600.0])
    near = [t for t in tips if t.colour == "brown" and np.hypot(*(t.path[-1] - middle)) < 60]
    assert not near


def crossed_by_bare(length: int) -> Drawing:
    """A cable whose CPC is bare and passes right beside the end of the brown core."""
    d = fitting(copper_mm=0.0)
    d.line((508, 452 - length), (508, 449), Material.COPPER, 5)
    return d


@pytest.mark.parametrize(("length", "taken"), [(30, True), (110, False)])
def test_a_long_bare_conductor_is_no_stripped_end(length: int, taken: bool) -> None:
    """30 map px are 7.5 mm, 110 are 27.5 mm; a terminal takes 5 to 14 mm of bare copper."""
    strands, materials = find_strands(crossed_by_bare(length).map())
    tips = read_cables(grey_image(), materials, strands).tips
    bare = [t for t in tips if t.colour == "bare"]
    assert bool(bare) is not taken
    brown = next(t for t in tips if t.colour == "brown" and t.ends_at == "terminal")
    if not taken:
        assert brown.copper_px < 0.5 * brown.width


def beside(seam: bool) -> list[float]:
    """Widths of the strands of a brown piece twice as wide as the blue core, with or without seam."""
    d = Drawing()
    d.box((50, 50), (750, 550), Material.ENCLOSURE)
    d.line((100, 100), (100, 500), Material.BLUE, 11)
    d.line((300, 60), (300, 540), Material.GREEN_YELLOW, 11)
    d.line((400, 100), (400, 500), Material.BROWN, 22)
    x = np.arange(800)
    light = np.full((600, 800), 0.35, np.float32)
    for m in (394, 406) if seam else (400,):
        half = 6 if seam else 12
        here = np.abs(x - m) <= half
        light[:, here] = 0.75 * np.sqrt(1 - ((x[here] - m) / (half + 1)) ** 2)
    found = core_strands(d.map(), light)
    return [float(np.median(s.width)) / 2 for s in found if s.material == Material.BROWN]


def test_two_cores_of_one_colour_side_by_side_stay_two() -> None:
    assert beside(seam=True) == pytest.approx([11, 11], abs=2.5)


def test_one_thick_core_stays_one() -> None:
    assert beside(seam=False) == pytest.approx([22], abs=2.5)
