"""What blurred a photo, and that blur undone by a Wiener filter (Wiener 1949).

A hand that moves draws every point out into a line. The photo is then the sharp one plus itself
shifted, so that its cepstrum (the transform of the log of its power spectrum) has a dip where the
shift is the line's length and direction (Cannon, IEEE Trans. ASSP 24 (1976) 58-63). A lens out of
focus draws every point out into a disc, whose width the photo's edges tell.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.photo.quality import blur_by_direction

Grey = NDArray[np.uint8]
F32 = NDArray[np.float32]
F64 = NDArray[np.float64]

_BLURRED_PX = 4.0
"""Edges wider than this, px of the copy, are worth sharpening: a marker's bit is some 8 px."""
_DEEP = 5.0
"""A dip of the cepstrum, in its standard deviations, that tells a movement. In photos moved or put
out of focus on purpose: 3.6 to 10.4 (middle 7.8), and 2.7 to 5.0 (middle 3.9)."""
_DISC_RISE = 1.37
"""10 to 90 % rise of an edge blurred by a disc, in its radii (computed from the shape)."""
_DISC_TRIES = (1.1, 0.9, 1.3, 1.5)
"""Factors of what the edges show; the phone's own sharpening makes them look less blurred."""
_BLOCK, _LEAST_MOVE, _MOST_MOVE = 256, 7.0, 36.0
"""px of the copy: blocks that spectra are averaged over, and lengths of movement looked for."""
_MOVES = 2
"""Dips of the cepstrum tried: of 28 photos blurred by a known line, the deepest was right in 27."""
_FINEST = 0.2
"""Cycles a px: finer detail of a blurred photo is noise (standard deviation of a Gaussian weight)."""
_NOISE_TO_SIGNAL = 0.01
_PAD_PX = 40
_LIGHT = np.where(
    np.arange(256) <= 0.04045 * 255,
    np.arange(256) / 255 / 12.92,
    ((np.arange(256) / 255 + 0.055) / 1.055) ** 2.4,
).astype(np.float32)
"""8-bit sRGB to linear light (IEC 61966-2-1): it is light that blur spreads."""


def blurred_edges(grey: Grey) -> dict[float, float]:
    """Widths of edges by direction, px, of a picture blurred enough to be worth sharpening."""
    widths = blur_by_direction(grey)
    return widths if widths and max(widths.values()) >= _BLURRED_PX else {}


def sharpened(grey: Grey) -> Iterator[Grey]:
    """The picture with the blur undone that it may have, the likeliest first; none when sharp.

    Parameters
    ----------
    grey : numpy.ndarray
        (h, w), uint8.
    """
    widths = blurred_edges(grey)
    if not widths:
        return
    discs = [disc(float(np.mean(list(widths.values()))) / _DISC_RISE * k) for k in _DISC_TRIES]
    moves = movements(grey)
    lines = [line(length, angle) for length, angle, _ in moves]
    moved = bool(moves) and moves[0][2] > _DEEP
    for kernels in (lines, discs) if moved else (discs, lines):
        yield from _undone(grey, kernels)


def movements(grey: Grey) -> list[tuple[float, float, float]]:
    """Lengths, px, and directions, rad, that a hand may have moved by, the likeliest first.

    Each with how deep the cepstrum's dip is, in standard deviations.
    """
    b = _BLOCK
    if min(grey.shape) < b:
        return []
    window = np.outer(np.hanning(b), np.hanning(b))
    light = _LIGHT[grey]
    power = np.zeros((b, b))
    for y in range(0, light.shape[0] - b + 1, b // 2):
        for x in range(0, light.shape[1] - b + 1, b // 2):
            block = light[y : y + b, x : x + b]
            power += np.abs(np.fft.fft2((block - block.mean()) * window)) ** 2
    step = np.fft.fftfreq(b)
    fineness = np.hypot(step[:, None], step[None])
    ring = np.rint(fineness * b).astype(int)
    logs = np.log(power + 1e-9)
    logs -= (np.bincount(ring.ravel(), logs.ravel()) / np.bincount(ring.ravel()))[ring]
    weight = np.exp(-0.5 * (fineness / _FINEST) ** 2) * (fineness > 3 / b)
    return _dips(np.fft.ifft2(logs * weight).real.astype(np.float64), step.astype(np.float64) * b)


def _dips(cepstrum: F64, shift: F64) -> list[tuple[float, float, float]]:
    far = np.hypot(shift[:, None], shift[None])
    # A movement and its reverse blur alike: one of each pair is looked at.
    one_way = (shift[:, None] > 0) | ((shift[:, None] == 0) & (shift[None] > 0))
    half = (far >= _LEAST_MOVE) & (far <= _MOST_MOVE) & one_way
    left = np.where(half, cepstrum, np.inf)
    usual = float(cepstrum[half].std()) or 1.0
    out = []
    for _ in range(_MOVES):
        j, i = np.unravel_index(int(left.argmin()), left.shape)
        angle = float(np.arctan2(shift[j], shift[i]))
        out.append((float(far[j, i]), angle, -float(cepstrum[j, i]) / usual))
        left[(np.abs(shift[:, None] - shift[j]) < 3) & (np.abs(shift[None] - shift[i]) < 3)] = (
            np.inf
        )
    return out


def disc(radius: float) -> F32:
    """What a lens out of focus makes of a point; `radius` in px."""
    n = int(np.ceil(radius)) + 1
    y, x = np.mgrid[-n : n + 1, -n : n + 1]
    kernel = np.clip(radius + 0.5 - np.hypot(x, y), 0.0, 1.0)
    return np.asarray(kernel / kernel.sum(), np.float32)


def line(length: float, angle: float) -> F32:
    """What a moving hand makes of a point; `length` in px, `angle` in rad from x towards y."""
    n = int(np.ceil(length / 2)) + 1
    kernel = np.zeros((2 * n + 1, 2 * n + 1), np.float32)
    end = np.array([np.cos(angle), np.sin(angle)]) * length / 2 * 16
    centre = np.array([n, n]) * 16
    a, b = np.rint(centre - end).astype(int), np.rint(centre + end).astype(int)
    cv2.line(kernel, (int(a[0]), int(a[1])), (int(b[0]), int(b[1])), 1.0, 1, cv2.LINE_8, 4)
    kernel = np.asarray(cv2.GaussianBlur(kernel, (0, 0), 0.5), np.float32)
    return np.asarray(kernel / kernel.sum(), np.float32)


def _undone(grey: Grey, kernels: list[F32]) -> Iterator[Grey]:
    """Each kernel undone in light, then in the picture's own values: either may come out clearer."""
    p = _PAD_PX
    padded = cv2.copyMakeBorder(grey, p, p, p, p, cv2.BORDER_REFLECT)
    spectra = [np.fft.rfft2(_LIGHT[padded]), np.fft.rfft2(padded.astype(np.float32) / 255.0)]
    for kernel in kernels:
        whole = np.zeros(padded.shape, np.float32)
        k = kernel.shape[0]
        whole[:k, :k] = kernel
        h = np.fft.rfft2(np.roll(whole, (-(k // 2), -(k // 2)), (0, 1)))
        back = np.conj(h) / (np.abs(h) ** 2 + _NOISE_TO_SIGNAL)
        for spectrum, power in zip(spectra, (1 / 2.2, 1.0), strict=True):
            clear = np.fft.irfft2(spectrum * back, s=padded.shape)[p:-p, p:-p]
            yield np.asarray(255.0 * np.clip(clear, 0, 1) ** power).astype(np.uint8)
