"""Harms: each does what it says, and its map tells where every point went."""

from __future__ import annotations

import math

import colour
import numpy as np
import pytest
import shapely
from shapely.affinity import rotate

from audit.bench.harms import (
    HARMS,
    Harm,
    Work,
    blur,
    crop,
    darker,
    expose,
    inner_rectangle,
    magnification,
    map_points,
    noise,
    warm_cast,
)

WIDTH, HEIGHT = 160, 120
BOTH = [pytest.param(h, at, id=f"{h.name} {at:g}") for h in HARMS for at in h.levels]


def _flat(value: int) -> np.ndarray:
    return np.full((HEIGHT, WIDTH, 3), value, np.uint8)


def _texture() -> np.ndarray:
    """Fine colour texture from near black to near white."""
    rng = np.random.default_rng(5)
    return (
        rng.integers(10, 245, (HEIGHT // 4, WIDTH // 4, 3))
        .astype(np.uint8)
        .repeat(4, 0)
        .repeat(4, 1)
    )


# The spot is found again by its brightness alone, without the map.
@pytest.mark.parametrize(("harm", "level"), BOTH)
def test_the_map_leads_to_where_a_spot_went(harm: Harm, level: float) -> None:
    picture = _flat(20)
    picture[52:60, 66:76] = 230
    before = picture.copy()
    got = harm.apply(picture, level, Work(seed=3, at=(70.0, 50.0)))
    weight = np.clip(
        got.rgb.astype(float).sum(axis=2) - 330 * 2 ** (-level * (harm.name == "darker")), 0, None
    )
    y, x = np.mgrid[: got.rgb.shape[0], : got.rgb.shape[1]] + 0.5
    seen = (weight * x).sum() / weight.sum(), (weight * y).sum() / weight.sum()
    wanted = map_points(got.affine, np.array([[71.0, 56.0]]))[0]
    assert seen == pytest.approx(tuple(wanted), abs=0.1)
    assert got.rgb.dtype == np.uint8
    assert got.rgb.flags.c_contiguous
    assert np.array_equal(picture, before), "the picture given was written to"


# A clockwise turn takes the top to the right; 'mirror' takes left to right.
@pytest.mark.parametrize(
    ("name", "level", "wanted"),
    [
        ("turned", 90, (HEIGHT - 5, 10)),
        ("turned", 180, (WIDTH - 10, HEIGHT - 5)),
        ("turned", 270, (5, WIDTH - 10)),
        ("mirror", 1, (WIDTH - 10, 5)),
        ("half size", 0.5, (5, 2.5)),
    ],
)
def test_known_places(name: str, level: float, wanted: tuple[float, float]) -> None:
    harm = next(h for h in HARMS if h.name == name)
    affine = harm.apply(_flat(90), level, Work()).affine
    assert tuple(map_points(affine, np.array([[10.0, 5.0]]))[0]) == wanted
    assert magnification(affine) == (0.5 if name == "half size" else 1.0)


@pytest.mark.parametrize("harm", [h for h in HARMS if h.grows and not h.cuts], ids=lambda h: h.name)
def test_each_level_harms_more(harm: Harm) -> None:
    picture = _texture()
    off = [
        np.abs(harm.apply(picture, at, Work(seed=1)).rgb.astype(float) - picture).mean()
        for at in harm.levels
    ]
    assert off[0] > 0.5
    assert off == sorted(off)
    assert len(set(off)) == len(off)


# Outside reference: colour-science's sRGB (IEC 61966-2-1). A stop is a factor of two in light.
@pytest.mark.parametrize("stops", [-3.0, -1.0, 0.5, 1.0])
def test_a_stop_doubles_the_light(stops: float) -> None:
    light = colour.models.eotf_sRGB(118 / 255) * 2**stops
    wanted = 255 * colour.models.eotf_inverse_sRGB(min(light, 1.0))
    assert expose(_flat(118), stops, Work()).rgb == pytest.approx(wanted, abs=0.51)
    assert np.array_equal(
        darker(_flat(118), -stops, Work()).rgb, expose(_flat(118), stops, Work()).rgb
    )


def test_what_goes_beyond_white_is_lost() -> None:
    assert (expose(_flat(240), 1.0, Work()).rgb == 255).all()


# Outside reference: the same. Red over blue grows by two to the stops, green stays.
def test_a_cast_lies_between_red_and_blue() -> None:
    r, g, b = warm_cast(_flat(118), 1.0, Work()).rgb[0, 0] / 255
    linear = colour.models.eotf_sRGB
    assert linear(r) / linear(b) == pytest.approx(2.0, rel=0.02)
    assert g == 118 / 255


# Outside reference: the same, and that light adds up: half of a black and half of a white
# surface give half the light, which sRGB writes as 188, not as 128.
def test_blur_mixes_light() -> None:
    picture = _flat(0)
    picture[:, WIDTH // 2 :] = 255
    row = blur(picture, 3.0, Work()).rgb[HEIGHT // 2, :, 0]
    left, right = (colour.models.eotf_sRGB(row[k] / 255) for k in (WIDTH // 2 - 1, WIDTH // 2))
    assert (left + right) / 2 == pytest.approx(0.5, abs=0.01)
    assert 150 < row[WIDTH // 2 - 1] < 188 < row[WIDTH // 2] < 220


def test_noise_is_as_strong_as_told_and_repeats() -> None:
    one, again = (noise(_flat(128), 10.0, Work(seed=7)).rgb for _ in range(2))
    other = noise(_flat(128), 10.0, Work(seed=8)).rgb
    assert np.array_equal(one, again)
    assert not np.array_equal(one, other)
    # 57600 values: the sample's deviation is within 1.5 % of the true one (5 standard errors).
    assert one.std() == pytest.approx(10.0, rel=0.015)
    assert one.mean() == pytest.approx(128.0, abs=0.25)


@pytest.mark.parametrize(
    ("at", "corner"),
    [(None, (40, 30)), ((80.0, 60.0), (40, 30)), ((0.0, 0.0), (0, 0)), ((159.0, 119.0), (80, 60))],
)
def test_a_crop_lies_round_the_work(at: tuple[float, float] | None, corner: tuple) -> None:
    picture = _texture()
    got = crop(picture, 0.25, Work(at=at))
    x, y = corner
    assert np.array_equal(got.rgb, picture[y : y + 60, x : x + 80])
    assert tuple(got.affine[:, 2]) == (-x, -y)


# Outside reference: shapely. The rectangle fits, and at no other shape would a larger one.
@pytest.mark.parametrize("degrees", [3, 7, 23, 45, 60, 90])
@pytest.mark.parametrize(("width", "height"), [(160, 120), (120, 160), (400, 100)])
def test_the_inner_rectangle_is_the_largest(degrees: int, width: int, height: int) -> None:
    outer = rotate(shapely.box(-width / 2, -height / 2, width / 2, height / 2), degrees)
    wide, high = inner_rectangle(width, height, math.radians(degrees))
    found = shapely.box(-wide / 2, -high / 2, wide / 2, high / 2)
    assert outer.buffer(1e-6).contains(found)
    shapes = np.tan(np.linspace(0.01, math.pi / 2 - 0.01, 400))
    for shape in shapes:
        # Grown until a corner touches: a centred rectangle's corners lie on a ray from the middle.
        rays = [shapely.LineString([(0, 0), (1000, s * 1000 * shape)]) for s in (1, -1)]
        half = min(ray.intersection(outer).bounds[2] for ray in rays)
        assert 4 * half * half * shape <= wide * high * (1 + 1e-6)


def test_no_corner_is_made_up() -> None:
    for name in ("odd angle", "quarter crop"):
        harm = next(h for h in HARMS if h.name == name)
        for level in harm.levels:
            assert (harm.apply(_flat(77), level, Work()).rgb == 77).all()
            got = harm.apply(_flat(77), level, Work())
            high, wide = got.rgb.shape[:2]
            back = np.linalg.inv(np.vstack([got.affine, [0, 0, 1]]))[:2]
            ends = map_points(back, np.array([[0, 0], [wide, 0], [0, high], [wide, high]], float))
            assert (ends >= -1e-6).all()
            assert (ends <= np.array([WIDTH, HEIGHT]) + 1e-6).all()
