"""Copies of a poor photo in which the site card may be found after all.

A photo too poor to judge is asked for again; but its label still tells which
fitting it is of, and its scale how poor it is. Each copy undoes one harm:
blown-out light by stretching what lies just below white, blur by a Wiener
filter (Wiener 1949) for the blur that the photo's own edges show: a disc where
it is as wide in every direction, a line where it lies in one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.card.types import MarkerSeen
from audit.photo.edges import edge_width_px
from audit.photo.quality import blur_by_direction

Grey = NDArray[np.uint8]
F32 = NDArray[np.float32]

_SIDE_PX = 1000
_BLOWN, _BLOWN_SHARE = 250, 0.1
_STRETCH = 12.0
"""Power that the brightness (0..1) is raised to: 250 of 255 becomes 201, 240 becomes 123."""
_BLURRED_PX = 4.0
"""Edges wider than this, px of the copy, are worth sharpening: a marker's bit is some 8 px."""
_ONE_WAY = 1.6
"""Wider in one direction than across it by this: the hand moved."""
_DISC_RISE, _LINE_RISE = 1.37, 0.8
"""10 to 90 % rise of an edge blurred by a disc, in its radii, and by a line, in its lengths
(computed from the shapes)."""
_DISC_TRIES, _LINE_TRIES = (1.1, 0.9, 1.3, 1.5), (1.0, 1.3, 1.6)
"""Factors of what the edges show; the phone's own sharpening makes them look less blurred."""
_TURNS = (0.0, -0.2, 0.2)
"""rad."""
_RIPPLES = 2.5
"""Blur undone leaves corners a px or two from where they belong. What it costs shows in the
residual, and so in the uncertainty of the scale."""
_NOISE_TO_SIGNAL = 0.01
_PAD_PX = 40


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
    factor = min(1.0, _SIDE_PX / max(rgb.shape[:2]))
    small = rgb
    if factor < 1.0:
        size = (round(rgb.shape[1] * factor), round(rgb.shape[0] * factor))
        small = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
        factor = size[0] / rgb.shape[1]
    lowest = small.min(axis=2)
    if float((lowest >= _BLOWN).mean()) > _BLOWN_SHARE:
        note = "the card was found by stretching blown-out light"
        yield Copy(_stretched(lowest), factor, 1.0, note)
    if _sharp(rgb, seen, _BLURRED_PX / factor):
        return
    grey = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY))
    kernels = _kernels(grey)
    if kernels:
        for sharp in _sharpened(grey, kernels):
            yield Copy(sharp, factor, _RIPPLES, "the card was found after undoing the photo's blur")


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


def _kernels(grey: Grey) -> list[F32]:
    """Blurs that the edges may have come from, the likeliest first."""
    widths = blur_by_direction(grey)
    if not widths or max(widths.values()) < _BLURRED_PX:
        return []
    if max(widths.values()) > _ONE_WAY * min(widths.values()):
        length, angle = _motion(widths)
        return [_line(length * k, angle + turn) for turn in _TURNS for k in _LINE_TRIES]
    radius = float(np.mean(list(widths.values()))) / _DISC_RISE
    return [_disc(radius * k) for k in _DISC_TRIES]


def _motion(widths: dict[float, float]) -> tuple[float, float]:
    """Length, px, and direction of a hand's movement.

    Blur across angle a has the width w of w^2 = s^2 + (0.8 L cos(a - m))^2: a constant and a wave
    of twice the angle, fitted by least squares.
    """
    angles = np.array(list(widths))
    squares = np.array(list(widths.values())) ** 2
    wave = np.column_stack([np.ones(len(angles)), np.cos(2 * angles), np.sin(2 * angles)])
    (_, c, d), *_ = np.linalg.lstsq(wave, squares, rcond=None)
    return float(np.sqrt(2 * np.hypot(c, d)) / _LINE_RISE), float(np.arctan2(d, c) / 2)


def _disc(radius: float) -> F32:
    n = int(np.ceil(radius)) + 1
    y, x = np.mgrid[-n : n + 1, -n : n + 1]
    kernel = np.clip(radius + 0.5 - np.hypot(x, y), 0.0, 1.0)
    return np.asarray(kernel / kernel.sum(), np.float32)


def _line(length: float, angle: float) -> F32:
    n = int(np.ceil(length / 2)) + 1
    kernel = np.zeros((2 * n + 1, 2 * n + 1), np.float32)
    end = np.array([np.cos(angle), np.sin(angle)]) * length / 2 * 16
    centre = np.array([n, n]) * 16
    a, b = np.rint(centre - end).astype(int), np.rint(centre + end).astype(int)
    cv2.line(kernel, (int(a[0]), int(a[1])), (int(b[0]), int(b[1])), 1.0, 1, cv2.LINE_8, 4)
    kernel = np.asarray(cv2.GaussianBlur(kernel, (0, 0), 0.5), np.float32)
    return np.asarray(kernel / kernel.sum(), np.float32)


def _sharpened(grey: Grey, kernels: list[F32]) -> Iterator[Grey]:
    p = _PAD_PX
    padded = cv2.copyMakeBorder(grey, p, p, p, p, cv2.BORDER_REFLECT).astype(np.float32)
    spectrum = np.fft.rfft2(padded)
    for kernel in kernels:
        whole = np.zeros(padded.shape, np.float32)
        k = kernel.shape[0]
        whole[:k, :k] = kernel
        h = np.fft.rfft2(np.roll(whole, (-(k // 2), -(k // 2)), (0, 1)))
        back = np.fft.irfft2(
            spectrum * np.conj(h) / (np.abs(h) ** 2 + _NOISE_TO_SIGNAL), s=padded.shape
        )
        yield np.asarray(np.clip(back[p:-p, p:-p], 0, 255).astype(np.uint8))
