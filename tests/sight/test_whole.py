"""What the whole photo tells of a pixel, on small pictures whose answers are known."""

from __future__ import annotations

import numpy as np
import pytest

from audit.sight.features import KEPT, KINDS
from audit.sight.materials import LEAST, mended
from audit.sight.types import Material
from audit.sight.whole import FAR_PX, PATCHES, whole_of

K = len(Material)
SIDE = 80


def picture() -> tuple[np.ndarray, np.ndarray]:
    """A bright strip across a dark ground, and a map that knows its left half alone."""
    kept = np.zeros((SIDE, SIDE, KEPT), np.float32)
    kept[..., 0] = kept[..., 3] = 0.2
    kept[30:40, :, 0] = kept[30:40, :, 3] = 0.9
    prob = np.full((SIDE, SIDE, K), 1e-3, np.float32)
    prob[..., Material.OTHER] = 0.6
    prob[30:40, :40, Material.OTHER] = 0.05
    prob[30:40, :40, Material.SHEATH] = 0.9
    return kept, prob / prob.sum(-1, keepdims=True)


def test_a_colour_is_told_what_it_was_elsewhere_in_the_photo() -> None:
    kept, prob = picture()
    told = whole_of(kept, prob, KINDS).features(slice(None))[..., :K]
    # Half of the strip was known as sheath: the other half, of the same colour, is told half of it.
    assert told[35, 70, Material.SHEATH] == pytest.approx(
        prob[30:40, :, Material.SHEATH].mean(), abs=0.03
    )
    assert told[35, 70, Material.SHEATH] > 20 * prob[35, 70, Material.SHEATH]
    assert told[10, 70, Material.SHEATH] < 0.01


def test_a_patch_is_told_its_mean_its_shape_and_what_touches_it() -> None:
    kept, prob = picture()
    got = whole_of(kept, prob, KINDS).features(slice(None))
    first = 2 * K + (K + 5)
    patch = got[..., first : first + 2 * K + 5]
    mean, shape, round_ = patch[..., :K], patch[..., K : K + 5], patch[..., K + 5 :]
    assert mean[35, 70, Material.SHEATH] == pytest.approx(
        prob[30:40, :, Material.SHEATH].mean(), abs=0.05
    )
    area, long, short = np.exp(shape[35, 70, :3])
    assert area == pytest.approx(10 * SIDE, rel=0.25)
    # A side of length a has a standard deviation of a / sqrt(12).
    assert long == pytest.approx(SIDE / np.sqrt(12), rel=0.1)
    assert short == pytest.approx(10 / np.sqrt(12), rel=0.25)
    # The ground's last row is a patch of its own: it touches the ground and the strip.
    assert mean[29, 70, Material.SHEATH] < 0.01
    assert 0.1 < round_[29, 70, Material.SHEATH] < 0.4


def test_distances_are_to_the_nearest_and_end_somewhere() -> None:
    kept, prob = picture()
    far = whole_of(kept, prob, KINDS).features(slice(None))[..., -len(KINDS) :]
    sheath = next(k for k, kind in enumerate(KINDS) if Material.SHEATH in kind)
    copper = next(k for k, kind in enumerate(KINDS) if Material.COPPER in kind)
    assert far[35, 20, sheath] == 0
    assert np.expm1(far[35, 59, sheath]) == pytest.approx(20, rel=0.05)
    assert np.expm1(far[..., copper]) == pytest.approx(FAR_PX)


def test_rows_asked_for_are_the_rows_of_the_whole() -> None:
    kept, prob = picture()
    whole = whole_of(kept, prob, KINDS)
    every = whole.features(slice(None))
    assert every.shape[-1] == 2 * K + len(PATCHES) * (K + 5) + K + len(KINDS)
    np.testing.assert_array_equal(whole.features(slice(20, 33)), every[20:33])


def test_a_turned_photo_is_told_the_same_of_its_colours() -> None:
    kept, prob = picture()
    here = whole_of(kept, prob, KINDS).features(slice(None))[..., : 2 * K]
    turned = whole_of(
        np.ascontiguousarray(np.rot90(kept)), np.ascontiguousarray(np.rot90(prob)), KINDS
    ).features(slice(None))[..., : 2 * K]
    np.testing.assert_allclose(np.rot90(here), turned, atol=1e-5)


def test_the_last_pass_only_mends_what_the_one_before_said() -> None:
    before = np.array([[0.7, 0.3, 0.0]], np.float32)
    even = np.full((1, 3), 1 / 3, np.float32)
    np.testing.assert_allclose(mended(before, even), [[0.7, 0.3, 0.0]], atol=2 * LEAST)
    np.testing.assert_allclose(
        mended(before, np.array([[0.2, 0.6, 0.2]], np.float32)), [[0.4375, 0.5625, 0.0]], atol=0.002
    )
