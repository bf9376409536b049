"""Nearness, seams between cables, sheaths followed through a grip, and the star of the features."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from audit.sight.features import context_features, features_of, kept, pixel_features
from audit.sight.follow import follow_sheaths
from audit.sight.grips import vote_by_body
from audit.sight.nearness import CORE_MM, coarse_step, nearness, step_for
from audit.sight.pairs import lightness, part_pairs
from audit.sight.skeleton import Branch
from audit.sight.stencil import Star, direction
from audit.sight.types import AnalysisImage, Material
from tests.sight.drawn import Drawing, fitting


def straight(a: tuple[float, float], b: tuple[float, float], width: float) -> Branch:
    n = round(float(np.hypot(b[0] - a[0], b[1] - a[1]))) + 1
    t = np.linspace(0, 1, n)[:, None]
    return Branch(np.asarray(a) * (1 - t) + np.asarray(b) * t, np.full(n, width))


def test_scale_is_told_from_the_cores_width() -> None:
    """Cores are drawn 11 map px wide at 2 px a map px: 22 px for some 2.65 mm."""
    near = nearness(fitting().map())
    assert near is not None
    assert near.px_per_mm == pytest.approx(22 / CORE_MM, rel=0.15)
    x0, y0, x1, y1 = near.box
    assert x0 < 600 < x1
    assert y0 < 600 < y1


def test_without_cores_nothing_is_guessed() -> None:
    assert nearness(Drawing().map()) is None


def test_step_follows_the_scale_within_bounds() -> None:
    assert step_for(7.0) == pytest.approx(2.0)
    assert step_for(0.1) < step_for(7.0) < step_for(1000.0)
    assert coarse_step((300, 400)) == 1.0
    assert coarse_step((1200, 1600)) == pytest.approx(2.5)


def rounded(h: int, w: int, middles: list[int], half: int) -> np.ndarray:
    """Lightness of cables running down the picture: bright in the middle, dark at their edges."""
    out = np.full((h, w), 0.35, np.float32)
    x = np.arange(w)
    for m in middles:
        here = np.abs(x - m) <= half
        out[:, here] = (0.75 * np.sqrt(1 - ((x[here] - m) / (half + 1)) ** 2)).astype(np.float32)
    return out


def test_two_cables_that_touch_are_parted_at_the_seam() -> None:
    light = rounded(200, 200, [88, 112], 12)
    parted = part_pairs(light, [straight((100, 20), (100, 180), 48)])
    assert len(parted) == 2
    assert sorted(float(b.path[:, 0].mean()) for b in parted) == pytest.approx([88, 112], abs=2)
    assert [float(np.median(b.width)) for b in parted] == pytest.approx([24, 24], abs=3)


def test_one_cable_stays_one() -> None:
    light = rounded(200, 200, [100], 24)
    assert len(part_pairs(light, [straight((100, 20), (100, 180), 48)])) == 1


def test_lightness_is_the_root_of_luminance() -> None:
    linear = np.full((8, 8, 3), 0.25, np.float32)
    assert lightness(linear, (4, 4)) == pytest.approx(0.5)


def through_a_grip(cores_before: bool = False) -> Drawing:
    d = Drawing()
    d.line((400, 0), (400, 200), Material.SHEATH, 32)
    d.box((360, 201), (440, 225), Material.GRIP)
    d.box((384, 226), (416, 240), Material.SHEATH)
    if cores_before:
        d.box((384, 170), (416, 240), Material.BROWN)
    return d


def test_a_sheath_is_followed_through_its_grip() -> None:
    """The stub of 15 px behind the grip is half as long as it is wide."""
    pieces = [straight((400, 2), (400, 198), 32), straight((384, 233), (416, 233), 16)]
    found = follow_sheaths(through_a_grip().map(), pieces)
    assert len(found) == 1
    assert float(found[0].path[:, 1].max()) == pytest.approx(241, abs=4)


def test_it_is_not_followed_over_its_cores() -> None:
    """What is sheath again behind bare cores is another cable's."""
    found = follow_sheaths(
        through_a_grip(cores_before=True).map(), [straight((400, 2), (400, 166), 32)]
    )
    assert float(found[0].path[:, 1].max()) < 185


def test_a_body_gets_one_answer() -> None:
    """A block with brass in it is a terminal, also where parts of it look like a grip."""
    d = Drawing()
    d.box((100, 100), (160, 140), Material.TERMINAL)
    d.box((100, 100), (115, 140), Material.GRIP)
    d.box((125, 110), (135, 130), Material.BRASS)
    ids = vote_by_body(d.map()).ids
    assert ids[120, 108] == Material.TERMINAL
    d = through_a_grip()
    d.box((360, 201), (372, 225), Material.TERMINAL)
    assert vote_by_body(d.map()).ids[212, 364] == Material.GRIP


def test_direction_runs_along_the_strand() -> None:
    img = np.zeros((80, 80, 1), np.float32)
    cv2.line(img, (10, 10), (70, 70), 1.0, 8)
    ux, uy = direction(img)
    assert abs(ux[40, 40] * uy[40, 40]) == pytest.approx(0.5, abs=0.05)
    assert ux[40, 40] * uy[40, 40] > 0


@pytest.mark.parametrize("turn", ["mirror", "quarter"])
def test_features_do_not_depend_on_how_the_photo_is_held(turn: str) -> None:
    """Inside the picture; the border is replicated, which no turn changes by much either."""
    rng = np.random.default_rng(4)
    rgb = cv2.GaussianBlur(rng.random((160, 160, 3)).astype(np.float32), (0, 0), 3)
    rgb = (rgb - rgb.min()) / np.ptp(rgb)
    act = (lambda a: a[:, ::-1]) if turn == "mirror" else (lambda a: np.rot90(a))
    stacks = []
    for picture in (rgb, np.ascontiguousarray(act(rgb))):
        pixel = pixel_features(AnalysisImage(picture**2, 1.0, 1.0), 1.0)
        prob = np.repeat(pixel[..., :1], 15, -1) / 15
        stacks.append(np.concatenate([pixel, context_features(kept(pixel), prob)], -1))
    a, b = act(stacks[0])[60:100, 60:100], stacks[1][60:100, 60:100]
    assert float(np.quantile(np.abs(a - b), 0.99)) < 0.05
    assert float(np.median(np.abs(a - b))) < 1e-3


def test_star_puts_the_lesser_side_first() -> None:
    plane = np.tile(np.arange(40, dtype=np.float32), (40, 1))[..., None]
    way = (np.ones((40, 40), np.float32), np.zeros((40, 40), np.float32))
    low, high = Star([plane], [5.0], [], way).at()
    assert low[20, 20] == pytest.approx(15)
    assert high[20, 20] == pytest.approx(25)


def test_some_rows_and_pixels_are_told_as_the_whole_is() -> None:
    """What is left out is left out of the answer alone: neighbours still tell."""
    rng = np.random.default_rng(7)
    light = rng.random((90, 70)).astype(np.float32)
    ratio = rng.normal(0, 0.2, (90, 70, 2)).astype(np.float32)
    rows = slice(20, 61)
    whole = features_of(light, ratio)
    assert np.array_equal(features_of(light, ratio, rows), whole[rows])
    prob = rng.dirichlet(np.ones(15), (90, 70)).astype(np.float32)
    context = context_features(kept(whole), prob)
    assert np.array_equal(context_features(kept(whole), prob, rows), context[rows])
    some = rng.random((41, 70)) < 0.3
    told = context_features(kept(whole), prob, rows, some)
    assert np.array_equal(told, context[rows][some])
