"""A coarse map laid to the edges of its picture."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from audit.sight.guided import Guide
from audit.sight.types import AnalysisImage

STEP = 4


def _band(high: int, wide: int, slope: float) -> np.ndarray:
    """A band of 22 px across the picture, slanted."""
    y, x = np.mgrid[:high, :wide]
    return np.abs(y - high / 2 - slope * (x - wide / 2)) < 11


def _picture(
    there: np.ndarray, inside: tuple[float, ...], outside: tuple[float, ...]
) -> AnalysisImage:
    linear = np.where(there[..., None], np.float32(inside), np.float32(outside))
    linear = cv2.GaussianBlur(linear.astype(np.float32), (0, 0), 0.8)
    linear += np.random.default_rng(0).normal(0, 0.01, linear.shape).astype(np.float32)
    return AnalysisImage(np.clip(linear, 0, 1.5), 1.0, 1.0)


def _coarse(there: np.ndarray) -> np.ndarray:
    """What a map a quarter of the size says of the band, blurred as maps are."""
    high, wide = there.shape
    size = (wide // STEP, high // STEP)
    small = cv2.resize(there.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    return cv2.GaussianBlur(small, (0, 0), 1.0)


@pytest.mark.parametrize("slope", [0.0, 0.3, -1.2])
def test_an_edge_of_the_map_lies_where_the_picture_has_it(slope: float) -> None:
    there = _band(240, 320, slope)
    image = _picture(there, (0.3, 0.12, 0.05), (0.6, 0.6, 0.62))
    plane = _coarse(np.roll(there, 2, 0))  # half a px of the map off
    laid = Guide(image, plane.shape[:2]).laid(plane) > 0.5
    plain = cv2.resize(plane, (320, 240), interpolation=cv2.INTER_LINEAR) > 0.5
    wrong, before = (laid != there).mean(), (plain != there).mean()
    assert wrong < 0.5 * before


def test_a_picture_of_one_colour_changes_nothing() -> None:
    there = _band(240, 320, 0.3)
    plane = _coarse(there)
    image = AnalysisImage(np.full((240, 320, 3), 0.4, np.float32), 1.0, 1.0)
    laid = Guide(image, plane.shape[:2]).laid(plane)
    # The mean over the window twice, at the picture's size: no edge is made up.
    smooth = cv2.blur(
        cv2.blur(plane, (5, 5), borderType=cv2.BORDER_REFLECT),
        (5, 5),
        borderType=cv2.BORDER_REFLECT,
    )
    assert laid == pytest.approx(cv2.resize(smooth, (320, 240)), abs=1e-4)


def test_planes_that_add_up_to_one_still_do() -> None:
    there = _band(240, 320, 0.3)
    image = _picture(there, (0.1, 0.1, 0.5), (0.6, 0.6, 0.62))
    plane = _coarse(there)
    guide = Guide(image, plane.shape[:2])
    assert guide.laid(plane) + guide.laid(1 - plane) == pytest.approx(1, abs=1e-3)
