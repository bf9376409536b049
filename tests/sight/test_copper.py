"""Copper is put to the core it runs on from, and what belongs to none is told piece by piece."""

from __future__ import annotations

import numpy as np
import pytest

from audit.sight.cables import orient_cores
from audit.sight.copper import claim_coppers
from audit.sight.readings import read_cables
from audit.sight.skeleton import branches
from audit.sight.strands import find_strands, material_mask
from audit.sight.types import Material, Strand, Strands
from tests.sight.drawn import Drawing, grey_image


def _strand(material: Material, a: tuple[float, float], b: tuple[float, float], w: float) -> Strand:
    n = int(np.hypot(b[0] - a[0], b[1] - a[1]) // 2)
    path = np.linspace(a, b, n)
    return Strand(material, path, np.full(n, w), 0.9)


@pytest.mark.parametrize(
    ("turn_deg", "claimed"), [(0, True), (40, True), (70, False), (-80, False), (100, False)]
)
def test_copper_that_runs_across_a_cores_end_is_another_cores(
    turn_deg: float, claimed: bool
) -> None:
    """Two stripped ends side by side give one streak of copper across both."""
    d = Drawing()
    core = _strand(Material.BROWN, (400, 200), (400, 600), 22)
    a = np.radians(turn_deg)
    far = (400 + 60 * np.sin(a), 606 + 60 * np.cos(a))
    copper = _strand(Material.COPPER, (400, 606), (float(far[0]), float(far[1])), 10)
    d.box((150, 330), (250, 360), Material.TERMINAL)
    strands = Strands(cores=(core,), coppers=(copper,), step=2.0)
    materials = d.map()
    cores, taken = claim_coppers(materials, strands, orient_cores(materials, strands))
    assert (cores[0].inner.copper_px > 40) is claimed
    assert (0 in taken) is claimed


def test_copper_that_no_core_has_is_told_piece_by_piece() -> None:
    """What may run on under a core is not taken for one length: each piece is shown where it is."""
    d = Drawing()
    d.core([(100, 100), (300, 100), (500, 100), (700, 100)], Material.BLUE)
    d.core([(560, 323), (600, 323), (650, 323), (700, 323)], Material.BROWN)
    places = [(603, 302), (603, 344)]
    for x, y in places:
        d.box((x - 3, y - 8), (x + 3, y + 8), Material.COPPER)
    image = grey_image()
    strands, materials = find_strands(d.map(), image)
    told = [t for t in read_cables(image, materials, strands).tips if t.colour == "unknown"]
    for place in places:
        away = [np.hypot(*(t.copper_path.mean(0) / 2 - place)) for t in told]
        assert min(away) < 6


def test_centre_lines_do_not_depend_on_the_empty_map_round_a_mask() -> None:
    d = Drawing()
    d.core([(60, 60), (120, 40), (160, 160), (220, 120)], Material.BROWN)
    d.line((60, 150), (200, 60), Material.BROWN, 9)
    prob = np.ascontiguousarray(d.map().prob[..., Material.BROWN])
    small = prob[20:200, 30:260]
    mask = material_mask(small, 0.38, 0.6, 20)
    whole = material_mask(prob, 0.38, 0.6, 20)
    assert np.array_equal(whole[20:200, 30:260], mask)
    assert whole.sum() == mask.sum()
    few, many = branches(mask), branches(whole)
    assert len(few) == len(many) >= 4
    for a, b in zip(few, many, strict=True):
        assert np.allclose(a.path + np.array([30, 20]), b.path)
        assert np.allclose(a.width, b.width)
