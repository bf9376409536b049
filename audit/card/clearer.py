"""Copies of a poor photo in which the site card may be found after all.

A photo too poor to judge is asked for again; but its label still tells which
fitting it is of, and its scale how poor it is. Each copy undoes one harm:
blown-out light by stretching what lies just below white, blur by a Wiener
filter for the blur that the photo itself shows (`audit.card.unblur`), darkness and shadows across
the card by evening out the light.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.card.types import MarkerSeen
from audit.card.unblur import sharpened
from audit.photo.edges import edge_width_px

Grey = NDArray[np.uint8]
F32 = NDArray[np.float32]

_SIDE_PX, _FINE_PX = 1000, 1600
_BLOWN, _BLOWN_SHARE = 250, 0.1
_STRETCH = 12.0
"""Power that the brightness (0..1) is raised to: 250 of 255 becomes 201, 240 becomes 123."""
_BLURRED_PX = 4.0
"""Edges of a marker narrower than this, px of the copy, are not why it was lost."""
_LOG, _LOG_FLOOR = 60.0, 4.0
"""Grey levels for a factor of e; what is below the floor is noise."""
_ROUND_PX, _CONTRAST, _FAINT = 73, 50.0, 2.0
"""Light is evened out over boxes a little wider than a marker, px of the copy, to this standard deviation (of
255); less contrast than the last is taken to be noise."""
_RIPPLES = 2.5
"""Blur undone leaves corners a px or two from where they belong. What it costs shows in the
residual, and so in the uncertainty of the scale."""


@dataclass(frozen=True, eq=False)
class Copy:
    """One copy of a photo.

    Parameters
    ----------
    grey : numpy.ndarray
        (h, w), uint8.
    factor : float
        px of it for one px of the photo.
    slack : float
        How much more the corners of markers may be out of place than in a sound photo.
    note : str
        What was done to it.
    """

    grey: Grey
    factor: float
    slack: float
    note: str


def clearer_copies(rgb: NDArray[np.uint8], seen: tuple[MarkerSeen, ...] = ()) -> Iterator[Copy]:
    """Copies worth searching, none for a photo that is neither blurred nor blown out.

    Parameters
    ----------
    rgb : numpy.ndarray
        (H, W, 3), uint8.
    seen : tuple of MarkerSeen
        Markers seen in the photo itself: where these are sharp, blur is not why the card was lost.
    """
    small, factor = _reduced(rgb, _SIDE_PX)
    lowest = small.min(axis=2)
    grey = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), np.uint8)
    if float((lowest >= _BLOWN).mean()) > _BLOWN_SHARE:
        note = "the card was found by stretching blown-out light"
        yield Copy(_stretched(lowest), factor, 1.0, note)
    note = "the card was found after undoing uneven light"
    fine, by = _reduced(rgb, _FINE_PX)
    ratios = _in_ratios(np.asarray(cv2.cvtColor(fine, cv2.COLOR_RGB2GRAY), np.uint8))
    yield Copy(_evened(ratios, 0.5), by, 1.0, note)
    for values, soft in ((lowest, 2.0), (grey, 1.0)):
        yield Copy(_evened(values, soft), factor, 1.0, note)
    if _sharp(rgb, seen, _BLURRED_PX / factor):
        return
    for sharp in sharpened(grey):
        yield Copy(sharp, factor, _RIPPLES, "the card was found after undoing the photo's blur")


def _reduced(rgb: NDArray[np.uint8], side: int) -> tuple[NDArray[np.uint8], float]:
    """The photo, its longest side no longer than `side`, and px of that for one px of the photo."""
    factor = min(1.0, side / max(rgb.shape[:2]))
    if factor == 1.0:
        return rgb, 1.0
    size = (round(rgb.shape[1] * factor), round(rgb.shape[0] * factor))
    small = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    return np.asarray(small, np.uint8), size[0] / rgb.shape[1]


def _sharp(rgb: NDArray[np.uint8], seen: tuple[MarkerSeen, ...], limit_px: float) -> bool:
    """Whether any marker's own sides are sharp."""
    grey = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY)) if seen else np.zeros((1, 1), np.uint8)
    for marker in seen:
        start, end = marker.corners_px, np.roll(marker.corners_px, -1, axis=0)
        along = (end - start) / np.linalg.norm(end - start, axis=1, keepdims=True)
        share = np.linspace(0.2, 0.8, 7)[:, None, None]
        points = (start + share * (end - start)).reshape(-1, 2)
        normals = np.tile(np.column_stack([along[:, 1], -along[:, 0]]), (7, 1))
        width = edge_width_px(grey, points, normals)
        if width is not None and width < limit_px:
            return True
    return False


def _stretched(lowest: Grey) -> Grey:
    table = np.rint(255.0 * (np.arange(256) / 255.0) ** _STRETCH).astype(np.uint8)
    return np.asarray(table[lowest])


def _in_ratios(grey: Grey) -> F32:
    """Logarithms, in which a marker half in shade is as rich in contrast there as in the light."""
    return np.asarray(_LOG * np.log(grey.astype(np.float32) + _LOG_FLOOR), np.float32)


def _evened(values: Grey | F32, soft: float) -> Grey:
    """Every place as bright and as rich in contrast as any other, noise smoothed by `soft` px."""
    x = np.asarray(cv2.GaussianBlur(values.astype(np.float32), (0, 0), soft), np.float32)
    off = x - _mean_near(x)
    contrast = np.sqrt(np.maximum(_mean_near(off * off), 0.0))  # running sums may fall just below
    even = np.clip(128 + _CONTRAST * off / (contrast + _FAINT), 0, 255)
    return np.asarray(even, np.uint8)


def _mean_near(x: F32) -> F32:
    """Mean round each place: two boxes after one another, as wide as a Gaussian and far quicker."""
    box = (_ROUND_PX, _ROUND_PX)
    return np.asarray(cv2.blur(cv2.blur(x, box), box), np.float32)
