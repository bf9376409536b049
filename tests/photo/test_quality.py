from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray

from audit.photo.edges import edge_width_px
from audit.photo.flare import flare_share
from audit.photo.quality import blur_along, blur_by_direction, measure_quality, quality_at
from audit.photo.types import Photo

RISE = 2 * 1.2815515655  # 10 % to 90 % of a normal distribution, in standard deviations (tables)


def stripes(
    blur: float, noise: float = 2.0, size: int = 480, turn: float = 0.3
) -> NDArray[np.uint8]:
    """Slanted stripes 70 px wide, drawn at four times the size, blurred by a Gaussian."""
    y, x = np.mgrid[0 : size * 4, 0 : size * 4] / 4.0
    fine = (((x * np.cos(turn) + y * np.sin(turn)) // 70) % 2) * 150.0 + 50.0
    image = cv2.resize(fine, (size, size), interpolation=cv2.INTER_AREA)
    if blur:
        image = cv2.GaussianBlur(image, (0, 0), blur)
    image = image + np.random.default_rng(0).normal(0, noise, image.shape)
    return np.repeat(np.clip(image, 0, 255).round().astype(np.uint8)[..., None], 3, axis=2)


@pytest.mark.parametrize("blur", [1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0])
def test_edge_width_of_a_gaussian_blur(blur: float) -> None:
    """The rise distance of an edge blurred by a Gaussian is 2.563 standard deviations."""
    quality = measure_quality(Photo.from_array(stripes(blur)))
    assert quality.edge_px == pytest.approx(RISE * blur, rel=0.08, abs=0.2)


def test_a_heavily_blurred_photo_never_looks_sharp() -> None:
    for blur in (10.0, 14.0):
        quality = measure_quality(Photo.from_array(stripes(blur)))
        assert quality.edge_px is None or quality.edge_px > 18.0


def test_width_grows_with_blur_whatever_the_direction() -> None:
    for turn in (0.0, 0.8, 1.4):
        widths = [
            measure_quality(Photo.from_array(stripes(b, turn=turn))).edge_px for b in (1, 2, 3)
        ]
        assert all(w is not None for w in widths)
        assert widths == sorted(widths)  # type: ignore[type-var]


def test_given_edges() -> None:
    image = np.zeros((80, 80), np.uint8)
    image[:, 40:] = 200
    image = cv2.GaussianBlur(image, (0, 0), 2.0)
    points = np.array([[40.0, y] for y in range(10, 70, 5)])
    normals = np.tile([1.0, 0.0], (len(points), 1))
    assert edge_width_px(image, points, normals) == pytest.approx(RISE * 2.0, rel=0.08)
    assert edge_width_px(image, points, -normals) == pytest.approx(RISE * 2.0, rel=0.08)
    assert edge_width_px(image, points[:2], normals[:2]) is None
    assert edge_width_px(np.full_like(image, 90), points, normals) is None


def test_the_sharp_part_is_found_and_the_place_asked_for_is_measured() -> None:
    picture = stripes(4.0)
    picture[:240, 240:] = stripes(1.0)[:240, 240:]
    photo = Photo.from_array(picture)
    box, width = measure_quality(photo).sharpest_tile() or ((0, 0, 0, 0), np.inf)
    assert box[0] >= 230 and box[3] <= 250 and width < RISE * 1.4
    there = quality_at(photo, (250, 10, 470, 230)).edge_px
    elsewhere = quality_at(photo, (10, 250, 230, 470)).edge_px
    assert there is not None and elsewhere is not None
    assert there == pytest.approx(RISE * 1.0, rel=0.15)
    assert elsewhere == pytest.approx(RISE * 4.0, rel=0.15)


def test_noise_is_measured() -> None:
    """Against the known standard deviation, whatever the edges."""
    for noise in (1.0, 2.0, 5.0, 10.0):
        measured = measure_quality(Photo.from_array(stripes(2.0, noise))).noise
        assert measured == pytest.approx(noise, rel=0.2)


def test_clipping_light_and_glare() -> None:
    picture = np.full((200, 300, 3), 118, np.uint8)
    picture[:, :60] = 0
    picture[50:110, 200:260] = 255
    quality = measure_quality(Photo.from_array(picture))
    assert quality.clipped_dark == pytest.approx(0.2)
    assert quality.clipped_light == pytest.approx(0.06) == quality.glare
    assert quality.glare_boxes_px == ((200.0, 50.0, 260.0, 110.0),)
    # 118 is 18.1 % of white in linear light (IEC 61966-2-1).
    assert quality.median_luminance == pytest.approx(0.181, abs=0.001)
    here = quality_at(Photo.from_array(picture), (190.5, 40.5, 270, 120))
    assert here.glare_boxes_px == ((200.0, 50.0, 260.0, 110.0),)


def test_a_flat_picture_says_that_it_cannot_tell() -> None:
    quality = measure_quality(Photo.from_array(np.full((64, 64, 3), 90, np.uint8)))
    assert quality.edge_px is None and quality.edges == 0 and quality.sharpest_tile() is None


def test_a_box_outside_the_photo_is_refused() -> None:
    photo = Photo.from_array(np.zeros((40, 40, 3), np.uint8))
    with pytest.raises(ValueError, match="outside"):
        quality_at(photo, (50, 50, 60, 60))


def test_a_streak_is_told_with_its_direction() -> None:
    """10 to 90 % of an edge blurred along a line of length L: 0.8 L (a ramp)."""
    y, x = np.mgrid[0:480, 0:480]
    board = (((x // 60) + (y // 60)) % 2 * 150 + 50).astype(np.float64)
    streak = np.full((1, 15), 1 / 15.0)
    for kernel, wide, narrow in ((streak, 0.0, np.pi / 2), (streak.T, np.pi / 2, 0.0)):
        image = cv2.GaussianBlur(cv2.filter2D(board, -1, kernel), (0, 0), 0.8)
        image += np.random.default_rng(2).normal(0, 2.0, image.shape)
        widths = blur_by_direction(np.clip(image, 0, 255).astype(np.uint8))
        assert widths[wide] == pytest.approx(0.8 * 15, rel=0.12)
        assert widths[narrow] < 4.0


def test_noise_does_not_make_a_blurred_photo_look_sharp() -> None:
    quality = measure_quality(Photo.from_array(stripes(4.0, noise=9.0)))
    assert quality.blur_px is not None and quality.blur_px > 0.8 * RISE * 4.0


def test_blur_along_a_line_does_not_see_what_lies_beside_it() -> None:
    picture = stripes(5.0)
    picture[:, 100:200] = stripes(1.0)[:, 100:200]
    photo = Photo.from_array(picture)
    paths = [np.column_stack([np.full(40, x), np.linspace(10, 470, 40)]) for x in (150.0, 350.0)]
    sharp, soft = (blur_along(photo, [path], [35.0]) for path in paths)
    assert sharp == pytest.approx(RISE, rel=0.2) and soft == pytest.approx(RISE * 5.0, rel=0.2)
    assert blur_along(photo, [], []) is None


def test_flare_has_a_soft_rim() -> None:
    y, x = np.mgrid[0:600, 0:800]
    away = np.hypot(x - 400, y - 300)
    soft = np.clip(90 + 900 * np.exp(-((away / 130) ** 2) / 2), 0, 255).astype(np.uint8)
    hard = np.where(away < 250, 255, 90).astype(np.uint8)
    assert flare_share(soft) > 0.3 and flare_share(hard) < 0.02
    assert flare_share(np.full((600, 800), 90, np.uint8)) == 0.0
