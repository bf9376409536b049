"""Find the site card's markers: which, and where their corners are.

Detection is OpenCV's ArUco (Garrido-Jurado et al., Pattern Recognition 47
(2014) 2280-2292), on shrunk copies first. Corners are then refined in the
full-size picture by lines fitted to the marker's sides.

Inside this module px are OpenCV's (centres of pixels at whole numbers).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.card.edges import refine_quad
from audit.card.geometry import load_card

Points = NDArray[np.float64]
Grey = NDArray[np.uint8]

_LEVELS = (1000, 2000, 4000)
"""Longest sides of the copies that are searched, in px, quickest first."""
_MIN_SIDE_PX = 9.0
"""Smallest marker side, in px of the searched copy: below it four bits across can't be read."""
_UPSAMPLE_BELOW = 2600
"""Pictures with a longest side below this are also searched at twice their size."""


@dataclass(frozen=True, eq=False)
class Marker:
    """One marker seen.

    Parameters
    ----------
    id : int
    corners : numpy.ndarray
        Shape (4, 2), float64, px, clockwise from the marker's own top left.
    """

    id: int
    corners: Points

    @property
    def side_px(self) -> float:
        """Mean length of its sides, px."""
        return float(np.linalg.norm(self.corners - np.roll(self.corners, 1, axis=0), axis=1).mean())

    @property
    def centre(self) -> Points:
        """Mean of its corners."""
        return np.asarray(self.corners.mean(axis=0))


@cache
def dictionary(correct_bits: int) -> Any:
    """The card's own markers as an ArUco dictionary that corrects so many wrong bits.

    The four patterns differ in 7 bits or more in every turn, so that up to 3
    could be corrected; reading only these four keeps chance hits rare.
    """
    card = load_card()
    whole = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.dictionary))
    rows = whole.bytesList[list(card.marker_ids)]
    return cv2.aruco.Dictionary(rows, whole.markerSize, correct_bits)


def _detector(longest: int, keen: bool) -> Any:
    p = cv2.aruco.DetectorParameters()
    p.minMarkerPerimeterRate = 4.0 * _MIN_SIDE_PX / longest
    p.maxMarkerPerimeterRate = 4.0
    p.perspectiveRemovePixelPerCell = 8
    p.perspectiveRemoveIgnoredMarginPerCell = 0.2
    p.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_NONE
    p.errorCorrectionRate = 1.0
    p.minOtsuStdDev = 2.0
    p.polygonalApproxAccuracyRate = 0.05
    p.minDistanceToBorder = 1
    if keen:
        p.adaptiveThreshConstant = 3
        p.adaptiveThreshWinSizeMax = 53
        p.adaptiveThreshWinSizeStep = 10
        p.maxErroneousBitsInBorderRate = 0.4
    return cv2.aruco.ArucoDetector(dictionary(2 if keen else 1), p)


def _detect(grey: Grey, keen: bool) -> list[Marker]:
    corners, ids, _ = _detector(max(grey.shape), keen).detectMarkers(grey)
    if ids is None:
        return []
    card_ids = load_card().marker_ids
    return [
        Marker(card_ids[int(i)], np.asarray(c, dtype=np.float64).reshape(4, 2))
        for i, c in zip(np.ravel(ids), corners, strict=True)
    ]


def _at_scale(grey: Grey, factor: float, keen: bool) -> list[Marker]:
    """Search a copy scaled by `factor`; corners come back in px of `grey`."""
    if factor == 1.0:
        return _detect(grey, keen)
    how = cv2.INTER_AREA if factor < 1 else cv2.INTER_CUBIC
    size = (round(grey.shape[1] * factor), round(grey.shape[0] * factor))
    ratio = np.array([size[0] / grey.shape[1], size[1] / grey.shape[0]])
    found = _detect(np.asarray(cv2.resize(grey, size, interpolation=how)), keen)
    return [Marker(m.id, (m.corners + 0.5) / ratio - 0.5) for m in found]


def _merge(known: list[Marker], new: list[Marker]) -> list[Marker]:
    """Join two lists, the later sighting of the same marker replacing the earlier."""
    kept = [
        old
        for old in known
        if not any(
            old.id == m.id and np.linalg.norm(old.centre - m.centre) < 0.5 * max(m.side_px, 1.0)
            for m in new
        )
    ]
    return kept + new


def find_markers(grey: Grey) -> list[Marker]:
    """Find every marker of the site card in a picture.

    Searches shrunk copies first and stops once all four are seen. What is not
    seen plainly is looked for again more keenly (weak contrast, blur, small).

    Parameters
    ----------
    grey : numpy.ndarray
        Shape (H, W), uint8.

    Returns
    -------
    list of Marker
        Corners roughly placed (about a px of the copy they were seen in). One
        identity may come twice: chance hits, or two cards.
    """
    longest = max(grey.shape)
    found: list[Marker] = []
    factors = [level / longest for level in _LEVELS if level < longest]
    if longest <= _LEVELS[-1] * 1.5:
        factors.append(1.0)
    for factor in factors:
        found = _merge(found, _at_scale(grey, factor, keen=False))
        if len({m.id for m in found}) == 4:
            return found
    if len({m.id for m in found}) >= 2:
        return found  # the rest is looked for where it must stand
    plain = min(1.0, 2000 / longest)
    found = _merge(found, _at_scale(grey, plain, keen=True))
    if len({m.id for m in found}) < 2 and longest < _UPSAMPLE_BELOW:
        found = _merge(found, _at_scale(grey, 2.0, keen=True))
    return found


def find_keenly(grey: Grey) -> list[Marker]:
    """Find markers in a small or cleared-up copy, at its own size and at no other.

    Parameters
    ----------
    grey : numpy.ndarray
        Shape (H, W), uint8.
    """
    return _detect(grey, keen=True)


def refine(grey: Grey, marker: Marker) -> Marker | None:
    """Refine a marker's corners to a fraction of a px, or None when its sides can't be followed.

    Parameters
    ----------
    grey : numpy.ndarray
        Shape (H, W), uint8, the full-size picture.
    marker : Marker
        Roughly placed.
    """
    corners = refine_quad(grey, marker.corners)
    return None if corners is None else Marker(marker.id, corners)


def find_missing(grey: Grey, mm_to_px: Points, seen: list[Marker]) -> list[Marker]:
    """Look for markers not yet seen where the others say they must stand.

    The place is brought to a square view first, which reads tilted and small
    ones that the plain search misses.

    Parameters
    ----------
    grey : numpy.ndarray
        Shape (H, W), uint8.
    mm_to_px : numpy.ndarray
        Homography (3, 3) from card mm to px.
    seen : list of Marker

    Returns
    -------
    list of Marker
        The new ones only.
    """
    card = load_card()
    have = {m.id for m in seen}
    out: list[Marker] = []
    margin, ppm = 5.0, 10.0
    for marker_id, corners in zip(card.marker_ids, card.marker_corners_mm, strict=True):
        if marker_id in have:
            continue
        low, high = corners.min(axis=0) - margin, corners.max(axis=0) + margin
        to_px = np.array([[1 / ppm, 0, low[0]], [0, 1 / ppm, low[1]], [0, 0, 1.0]])
        view_to_px = mm_to_px @ to_px
        size = np.rint((high - low) * ppm).astype(int)
        view = cv2.warpPerspective(
            grey,
            view_to_px,
            (int(size[0]), int(size[1])),
            flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        )
        for m in _detect(np.asarray(view), keen=True):
            back = cv2.perspectiveTransform(m.corners[None], view_to_px)[0]
            if m.id == marker_id:
                out.append(Marker(m.id, np.asarray(back, dtype=np.float64)))
    return out
