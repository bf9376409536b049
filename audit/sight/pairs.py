"""Two cables that lie side by side are two: the seam between them parts their common mask.

A sheath's map knows no seam: where two cables touch, one wide piece is found and
its centre line runs along the seam. Light betrays it: across one cable lightness
rises to the middle and falls, or stays; across two it dips between them, because
light hardly reaches into the seam.
"""

from __future__ import annotations

import cv2
import numpy as np
from scipy.ndimage import map_coordinates, median_filter, uniform_filter1d

from audit.sight.profile import normals
from audit.sight.skeleton import Branch, resample
from audit.sight.types import F32, F64

LEAST_DIP = 0.05
"""Least depth of the seam, of the lightness's range 0..1 (square root of linear luminance)."""
LEAST_SHARE = 0.55
"""Least share of a piece's length along which the seam is seen."""
_HALF = 24


def _dips(light: F32, piece: Branch) -> tuple[F64, F64]:
    """Depth of the dip at each place across each point of a piece, (n, 2 _HALF + 1), and offsets."""
    width = float(np.median(piece.width))
    u = np.linspace(-0.52, 0.52, 2 * _HALF + 1) * width
    pts = piece.path[:, None] + normals(piece.path)[:, None] * u[None, :, None]
    rows = map_coordinates(light, [pts[..., 1], pts[..., 0]], order=1, mode="nearest")
    # Along the cable the seam goes on, print and scuffs do not.
    rows = uniform_filter1d(rows, max(3, round(0.7 * width)), axis=0, mode="nearest")
    left = np.maximum.accumulate(rows, axis=1)
    right = np.maximum.accumulate(rows[:, ::-1], axis=1)[:, ::-1]
    return np.minimum(left, right) - rows, u


def seam_of(light: F32, piece: Branch) -> F64 | None:
    """Offset of the seam from a piece's centre line at each of its points, px; None for one cable.

    Parameters
    ----------
    light : (h, w) float32
        Square root of linear luminance, at the scale of the map.
    piece : Branch
        Centre line of sheath, px of the map.
    """
    width = float(np.median(piece.width))
    if piece.length < 0.8 * width or width < 10:
        return None
    dip, u = _dips(light, piece)
    middle = np.abs(u) < 0.27 * width
    inner = np.where(middle[None], dip, 0.0)
    at = inner.argmax(1)
    depth = inner[np.arange(len(at)), at]
    seam = median_filter(u[at], max(3, round(width) | 1), mode="nearest")
    steady = (depth > LEAST_DIP) & (np.abs(u[at] - seam) < 0.1 * width)
    if float(steady.mean()) < LEAST_SHARE:
        return None
    seam = np.interp(np.arange(len(seam)), np.flatnonzero(steady), u[at][steady])
    return np.asarray(uniform_filter1d(seam, max(3, round(width)), mode="nearest"), np.float64)


def part_pairs(light: F32, pieces: list[Branch]) -> list[Branch]:
    """Pieces of sheath, each one that holds two cables parted along the seam.

    Parameters
    ----------
    light : (h, w) float32
        Square root of linear luminance, at the scale of the map.
    pieces : list of Branch
        px of the map.

    Returns
    -------
    list of Branch
    """
    out = []
    for piece in pieces:
        seam = seam_of(light, piece)
        if seam is None:
            out.append(piece)
            continue
        n, half = normals(piece.path), piece.width / 2
        for edge in (-half, half):
            middle = piece.path + n * ((edge + seam) / 2)[:, None]
            path = resample(middle)
            width = np.interp(
                np.linspace(0, 1, len(path)), np.linspace(0, 1, len(middle)), np.abs(edge - seam)
            )
            out.append(Branch(path, width))
    return out


def lightness(linear: F32, size: tuple[int, int]) -> F32:
    """Square root of luminance of a linear picture, reduced to `size` (w, h)."""
    small = cv2.resize(linear, size, interpolation=cv2.INTER_AREA)
    luma = small @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    return np.asarray(np.sqrt(np.clip(luma, 0, 1.5)), np.float32)
