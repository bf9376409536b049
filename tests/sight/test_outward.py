"""Cables that lie against each other, and cables whose sheath the map lost."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from audit.sight.bends import part_hairpins
from audit.sight.cables import CableGroup, OrientedCore, _merged
from audit.sight.outward import lay_band
from audit.sight.pairs import lightness
from audit.sight.readings import _looks_alike, read_cables
from audit.sight.skeleton import Branch, resample
from audit.sight.strands import find_strands
from audit.sight.tips import Ahead
from audit.sight.types import F32, F64, AnalysisImage, Line, Material, MaterialMap, Strand
from tests.sight.drawn import STEP, Drawing, fitting


def arc(radius: float, degrees: float, width: float, lead: float = 120.0) -> Branch:
    """A straight lead, a bend about a radius, a straight lead again, px of the map."""
    a = np.radians(np.linspace(0, degrees, 60))
    bend = np.stack([radius * np.sin(a), radius * (1 - np.cos(a))], -1)
    way = np.array([np.cos(a[-1]), np.sin(a[-1])])
    path = np.concatenate([[[-lead, 0.0]], bend, [bend[-1] + lead * way]])
    path = resample(path)
    return Branch(path, np.full(len(path), width))


def test_two_cables_walked_as_one_are_parted_at_the_turn() -> None:
    """Up one cable and down its neighbour: 180 degrees about half the distance of their middles."""
    up_and_down = arc(12.0, 180.0, 22.0)
    parts = part_hairpins([up_and_down])
    assert len(parts) == 2
    first, second = sorted(parts, key=lambda b: float(b.path[:, 1].mean()))
    # What is left of each is its straight lead: nothing of the turn goes with it.
    assert np.ptp(first.path[:, 1]) < 6
    assert np.ptp(second.path[:, 1]) < 6
    assert min(first.length, second.length) > 80


@pytest.mark.parametrize("degrees", [45.0, 90.0, 180.0])
def test_a_bend_as_sharp_as_makers_allow_is_left_whole(degrees: float) -> None:
    """Three diameters inside the bend, so 3.5 to the middle (common practice, no source)."""
    bent = arc(3.5 * 20.0, degrees, 20.0)
    assert part_hairpins([bent]) == [bent]


def lost_sheath(bend: float = 0.0) -> tuple[Drawing, MaterialMap, F32, F64]:
    """A fitting whose map shows no sheath at all, though the picture shows the cable."""
    drawing = fitting(sheath_end=300, grip=False)
    image, materials = drawing.image(), drawing.map()
    prob = materials.prob.copy()
    prob[..., Material.OTHER] += prob[..., Material.SHEATH]
    prob[..., Material.SHEATH] = 0
    h, w = prob.shape[:2]
    return drawing, MaterialMap(prob, STEP), lightness(image.linear, (w, h)), np.array([bend, -1.0])


def test_a_cable_is_found_by_its_edges_where_the_map_shows_no_sheath() -> None:
    _, materials, light, _ = lost_sheath()
    band = lay_band(materials, light, np.array([800.0, 600.0]), np.array([0.0, -1.0]), 50.0)
    assert band is not None
    true = 2 * 30.0  # the drawing's sheath, px of the analysis picture
    assert band.width == pytest.approx(true, rel=0.3)
    assert np.abs(band.path[:, 0] - 800).max() < 0.25 * true
    assert band.path[-1, 1] < band.path[0, 1] - 4 * band.width * 0.7
    assert band.sheath < 0.1


def test_a_cable_is_found_where_the_guess_points_aside() -> None:
    _, materials, light, _ = lost_sheath()
    way = np.array([np.sin(np.radians(15)), -np.cos(np.radians(15))])
    band = lay_band(materials, light, np.array([808.0, 600.0]), way, 50.0)
    assert band is not None
    assert abs(float(band.path[-1, 0]) - 800) < 25


def test_nothing_is_laid_beyond_the_picture() -> None:
    _, materials, light, _ = lost_sheath()
    assert lay_band(materials, light, np.array([800.0, 2.0]), np.array([0.0, -1.0]), 60.0) is None


def test_cores_without_a_sheath_in_the_map_still_cross_the_wall() -> None:
    """Their cable is read from outside in: the wall at y = 200 of the map lies on its axis."""
    drawing, materials, *_ = lost_sheath()
    image = drawing.image()
    strands, told = find_strands(materials, image)
    assert not strands.sheaths
    (cable,) = read_cables(image, told, strands).cables
    assert cable.has_sheath
    assert not cable.lead_seen
    assert float(cable.axis[:, 1].min()) < 2 * 200 < float(cable.axis[:, 1].max())
    at_wall = cable.axis[np.abs(cable.axis[:, 1] - 400).argmin()]
    assert abs(float(at_wall[0]) - 800) < 30


def test_touching_cables_are_two_strands() -> None:
    """Two cables side by side whose common mask is closed at their ends, as thinning finds it: a U."""
    drawing = Drawing()
    for x in (380, 420):
        drawing.line((x, 0), (x, 300), Material.SHEATH, 30)
    cv2.rectangle(drawing.ids, (380, 285), (420, 312), int(Material.SHEATH), -1)
    strands, _ = find_strands(drawing.map(), drawing.image())
    assert all(np.ptp(s.path[:, 0]) < 60 for s in strands.sheaths)


def group(x: float, width: float, heads: float, cores: int = 2) -> CableGroup:
    """A cable straight down at x whose cores come out at y = 400, `heads` px aside of its axis."""
    y = np.linspace(0, 900, 181)
    axis = np.stack([np.full_like(y, x), y], -1)
    sheath = Strand(Material.SHEATH, axis[:81], np.full(81, width), 0.9)
    path = np.array([[x + heads, 400.0], [x + heads, 700.0]])
    strand = Strand(Material.BROWN, path, np.full(2, 20.0), 0.9)
    none = np.zeros(15)
    out = Ahead(path[0], np.array([0.0, -1.0]), path[:1], 0.0, 0.0, 0.0, none, none, 400.0)
    mine = tuple(OrientedCore(k, strand, out, out) for k in range(cores))
    return CableGroup(sheath, 0, mine, axis, 400.0, width)


def test_a_core_found_apart_joins_the_cable_it_comes_out_of() -> None:
    (one,) = _merged([group(500, 60, 0), group(520, 40, 0, cores=1)], 2.0)
    assert len(one.cores) == 3
    assert one.tip_at == pytest.approx(400, abs=8)


def test_cables_side_by_side_stay_two() -> None:
    assert len(_merged([group(500, 60, 0), group(560, 60, 0)], 2.0)) == 2


def test_heads_beside_a_cable_are_of_another_though_its_lead_was_laid_on_it() -> None:
    assert len(_merged([group(500, 60, 0), group(505, 60, 55)], 2.0)) == 2


@pytest.mark.parametrize(
    ("behind", "alike"),
    [((0.62, 0.63, 0.64), True), ((0.45, 0.46, 0.47), True), ((0.9, 0.9, 0.88), False), ((0.62, 0.5, 0.4), False)],
    ids=["the same", "in the box's shade", "a pale grip", "another colour"],
)  # fmt: skip
def test_sheath_behind_a_grip_looks_like_sheath_before_it(
    behind: tuple[float, float, float], alike: bool
) -> None:
    """A pale grip that the map takes for sheath would carry the sheath through a grip it never reached."""
    rgb = np.zeros((1000, 200, 3), np.float32)
    rgb[:500], rgb[500:] = (0.62, 0.63, 0.64), behind
    image = AnalysisImage(rgb**2.2, 1.0, 1.0)
    s = np.arange(0.0, 900.0)
    axis = np.stack([np.full_like(s, 100.0), s], -1)
    grip = tuple(Line(np.array([[60.0, y], [140.0, y]]), y, 1.0) for y in (460.0, 520.0))
    edge = Line(np.array([[60.0, 600.0], [140.0, 600.0]]), 600.0, 1.0)
    assert _looks_alike(image, axis, s, (grip[0], grip[1]), edge, 80.0) is alike
