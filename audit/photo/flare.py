"""A light that shines into the lens, or mirrors in the work: white spots with a soft rim.

A white wall beyond a dark box may be blown out as well, and does no harm: it
ends sharply at the box. Flare and the reflection of a flash fade out over a
part of the picture, and whatever lies in them is gone.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

_SIDE_PX = 400
_BLOWN, _NEARLY = 250, 200
"""8-bit values: of all channels within the spot; of all channels just outside a soft rim."""
_NEAR_PX, _FAR_PX = 4, 6
"""The ring outside the spot that is looked at, px of the reduced copy: beyond it a sharp edge,
widened by the reduction, has fallen."""


def flare_share(lowest: NDArray[np.uint8]) -> float:
    """Share of the picture that the largest blown-out spot takes, by how soft its rim is.

    Parameters
    ----------
    lowest : numpy.ndarray
        (H, W), uint8, the smallest of the three channels.

    Returns
    -------
    float
        0..1: share of the area, times the share of the spot's rim that is soft.
    """
    factor = min(1.0, _SIDE_PX / max(lowest.shape))
    size = (max(1, round(lowest.shape[1] * factor)), max(1, round(lowest.shape[0] * factor)))
    small = cv2.resize(lowest, size, interpolation=cv2.INTER_AREA)
    blown = (small >= _BLOWN).astype(np.uint8)
    blown = cv2.morphologyEx(blown, cv2.MORPH_OPEN, np.ones((5, 5), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(blown, connectivity=4)
    if count < 2:
        return 0.0
    largest = 1 + int(np.argmax(stats[1:count, cv2.CC_STAT_AREA]))
    spot = (labels == largest).astype(np.uint8)
    ring = (_grown(spot, _FAR_PX) > 0) & (_grown(spot, _NEAR_PX) == 0)
    soft = float((small[ring] >= _NEARLY).mean()) if ring.any() else 1.0
    return float(spot.mean()) * soft


def _grown(mask: NDArray[np.uint8], by: int) -> NDArray[np.uint8]:
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * by + 1, 2 * by + 1))
    return np.asarray(cv2.dilate(mask, disc))
