"""Edges of a coarse map laid to the edges of the picture it was told from.

Guided filter (He, Sun and Tang, IEEE Transactions on Pattern Analysis and Machine Intelligence 35 (2013),
1397-1409): within a small window a plane of the map is taken as a linear function of the picture's colour. Those
functions are fitted at the map's size and asked at the picture's (He and Sun, arXiv:1505.00996, 2015).
"""

from __future__ import annotations

import cv2
import numpy as np

from audit.sight.analysis import encode
from audit.sight.types import F32, AnalysisImage

RADIUS, DOUBT = 2, 1e-4
"""Of the window, px of the map; and variance of colour (0 to 1) below which it tells nothing
(chosen on sample_images/bench/tune)."""


class Guide:
    """A picture that guides planes of a map of it.

    Parameters
    ----------
    image : AnalysisImage
    size : (h, w)
        Of the map.
    """

    def __init__(self, image: AnalysisImage, size: tuple[int, int]) -> None:
        self._fine = encode(image.linear)
        self._colour = np.asarray(
            cv2.resize(self._fine, size[::-1], interpolation=cv2.INTER_AREA), np.float32
        )
        self._mean = _boxed(self._colour)
        spread = np.stack(
            [self._with(self._colour[..., k], self._mean[..., k]) for k in range(3)], -1
        )
        self._inverse = np.linalg.inv(spread + DOUBT * np.eye(3, dtype=np.float32))

    def _with(self, plane: F32, mean: F32) -> F32:
        """Covariance of a plane (h, w) with the three colours within the window, (h, w, 3)."""
        return np.asarray(
            _boxed(self._colour * plane[..., None]) - self._mean * mean[..., None], np.float32
        )

    def laid(self, plane: F32) -> F32:
        """A plane of the map, (h, w) float32, at the picture's size, (H, W) float32; a little out of its range."""
        mean = _boxed(plane)
        slope = np.einsum("hwij,hwj->hwi", self._inverse, self._with(plane, mean))
        rest = mean - (slope * self._mean).sum(-1)
        high, wide = self._fine.shape[:2]
        fine = [cv2.resize(_boxed(np.asarray(p, np.float32)), (wide, high)) for p in (slope, rest)]
        return np.asarray((fine[0] * self._fine).sum(-1) + fine[1], np.float32)


def _boxed(plane: F32) -> F32:
    """Mean within the window, (h, w) or (h, w, 3)."""
    side = 2 * RADIUS + 1
    return np.asarray(cv2.blur(plane, (side, side), borderType=cv2.BORDER_REFLECT), np.float32)
