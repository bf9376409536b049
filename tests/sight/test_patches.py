"""Patches of even colour, against scikit-image's own."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest
from skimage.segmentation import felzenszwalb

from audit.photo.decode import read_photo
from audit.settings import Settings
from audit.sight.analysis import analysis_image
from audit.sight.features import channels
from audit.sight.patches import patches
from audit.sight.whole import PATCHES

PHOTO = Path(__file__).parents[2] / "sample_images" / "demo" / "photos" / "F10-inside.jpg"


def picture(seed: int, size: tuple[int, int]) -> np.ndarray:
    """Soft blotches with a hard strip, a ramp and noise."""
    rng = np.random.default_rng(seed)
    image = cv2.GaussianBlur(rng.random((*size, 3)).astype(np.float32), (0, 0), 5)
    image = (image - image.min()) / np.ptp(image)
    image[:, size[1] // 3 : size[1] // 2] = 0.3
    image[size[0] // 2 :, :, 0] += np.linspace(0, 1, size[1], dtype=np.float32)
    # Steep at the rim, where it tells how the picture is carried on beyond it.
    image[:, :3] += np.float32([[[0.6]], [[0.3]], [[0.1]]]).reshape(1, 3, 1)
    image[-2:] += rng.random((2, size[1], 1)).astype(np.float32)
    return image + rng.normal(0, 0.01 * seed, image.shape).astype(np.float32)


@pytest.mark.parametrize("size", [(90, 130), (130, 90), (8, 8), (2, 40)])
@pytest.mark.parametrize("kind", PATCHES)
@pytest.mark.parametrize("seed", [0, 1, 2])
def test_the_same_patches_as_the_reference(
    size: tuple[int, int], kind: tuple[float, float, int], seed: int
) -> None:
    scale, sigma, least = kind
    image = picture(seed, size)
    own = patches(image, scale, sigma, least)
    theirs = felzenszwalb(image, scale=scale, sigma=sigma, min_size=least, channel_axis=-1)
    assert np.array_equal(own, theirs)


def test_the_same_patches_of_a_photo_as_the_reference() -> None:
    photo = read_photo(PHOTO, Settings())
    light, ratio = channels(analysis_image(photo.rgb), (480, 360))
    fine = np.concatenate([light[..., None], ratio * np.float32(0.5)], -1)
    for scale, sigma, least in PATCHES:
        theirs = felzenszwalb(fine, scale=scale, sigma=sigma, min_size=least, channel_axis=-1)
        assert np.array_equal(patches(fine, scale, sigma, least), theirs)


def test_a_picture_of_one_colour_is_one_patch() -> None:
    assert (patches(np.full((30, 40, 3), 0.4, np.float32), 40.0, 0.3, 20) == 0).all()
