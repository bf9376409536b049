"""Blur told from the photo itself, and cards found in it: against blur of known size, drawn here."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from audit.card.find import find_card
from audit.card.unblur import disc, line, movements, sharpened
from audit.photo.types import Photo
from tests.card.scenes import Shot, face, shoot

NEAR = {"distance": (180.0, 240.0), "tilt": (0.0, 30.0), "noise": 0.6}


def _moved(shot: Shot, length: float, angle: float) -> NDArray[np.uint8]:
    """The photo with every point drawn out into a line: the mean of copies shifted by parts of a px."""
    rgb, parts = shot.photo.rgb.astype(np.float32), 4 * int(length)
    total = np.zeros_like(rgb)
    for t in np.linspace(-length / 2, length / 2, parts):
        shift = np.array([[1, 0, t * np.cos(angle)], [0, 1, t * np.sin(angle)]], np.float32)
        size = (rgb.shape[1], rgb.shape[0])
        total += cv2.warpAffine(rgb, shift, size, borderMode=cv2.BORDER_REPLICATE)
    return np.clip(total / parts, 0, 255).astype(np.uint8)


def _in_dark(shot: Shot, seed: int) -> Photo:
    """A fiftieth of the light, counted in few electrons, as 8-bit sRGB."""
    rng = np.random.default_rng(seed)
    light = (shot.photo.rgb / 255.0) ** 2.2 / 50
    electrons = rng.poisson(light * 2500) + rng.normal(0, 3.0, light.shape)
    return Photo.from_array(
        (255 * np.clip(electrons / 2500, 0, 1) ** (1 / 2.2)).round().astype(np.uint8)
    )


def test_length_and_direction_of_a_movement_are_read_from_the_spectrum() -> None:
    """Cannon, IEEE Trans. ASSP 24 (1976): the deepest dip of the cepstrum; mostly a plain one."""
    plain = 0
    for length in (12.0, 20.0, 28.0):
        for angle in (0.0, 0.3, 1.2, 2.6):
            shot = shoot(int(10 * length), face(), **NEAR)  # type: ignore[arg-type]
            grey = np.asarray(cv2.cvtColor(_moved(shot, length, angle), cv2.COLOR_RGB2GRAY))
            (found, turn, deep), *_ = movements(grey)
            assert found == pytest.approx(length, abs=1.5)
            assert abs((turn - angle + np.pi / 2) % np.pi - np.pi / 2) < 0.12
            plain += deep > 5.0
    assert plain >= 10


def test_nothing_is_undone_in_a_sharp_photo_and_kernels_keep_the_light() -> None:
    blocks = np.random.default_rng(3).integers(20, 230, (30, 40), dtype=np.uint8)
    grey = np.kron(blocks, np.ones((25, 25), np.uint8))
    assert next(sharpened(grey), None) is None
    for kernel in (disc(5.5), line(14.0, 0.7)):
        assert kernel.sum() == pytest.approx(1.0, abs=1e-5) and (kernel >= 0).all()


def test_a_card_is_found_in_photos_moved_far() -> None:
    found = 0
    for seed in range(5):
        shot = shoot(400 + seed, face(), **NEAR)  # type: ignore[arg-type]
        sight = find_card(Photo.from_array(_moved(shot, 18.0 + 2 * seed, 0.4 + seed)))
        if sight.found and sight.focal_px and sight.depth_mm:
            found += 1
            true = shot.facing((42.8, 27.0))
            assert sight.focal_px / sight.depth_mm == pytest.approx(true, rel=0.04)
    assert found >= 4


def test_a_card_is_found_in_the_dark_and_none_imagined_there() -> None:
    found = 0
    for seed in range(5):
        shot = shoot(500 + seed, face(), **NEAR)  # type: ignore[arg-type]
        sight = find_card(_in_dark(shot, seed))
        found += sight.found
        if sight.found and sight.focal_px and sight.depth_mm:
            true = shot.facing((42.8, 27.0))
            assert sight.focal_px / sight.depth_mm == pytest.approx(true, rel=0.04)
        bare = shoot(520 + seed, face(markers=()), **NEAR)  # type: ignore[arg-type]
        assert not find_card(_in_dark(bare, seed)).found
    assert found >= 4


def test_a_focal_length_that_nothing_tells_is_the_usual_one() -> None:
    """A card that faces the camera tells none; drawn with a far from usual lens it is found usual."""
    sight = find_card(shoot(7, face(), tilt=(0, 1), f35=60.0, distance=(400, 450)).photo)
    shape = (900, 1200)
    assert sight.found and sight.focal_px is not None
    assert 20 < sight.focal_px / np.hypot(*shape) * 43.267 < 60
    tilted = shoot(8, face(), tilt=(35, 40), f35=27.0, distance=(180, 200))
    told = find_card(tilted.photo)
    assert told.focal_px == pytest.approx(tilted.focal_px, rel=0.06)
