"""Looking across and along: values a pixel finds some way off, whichever way its strand runs.

A Gaussian mean tells what lies around a pixel but not on which side. A cable, a
grip or a core is told by its section (edge, plateau, edge) and by what comes
before and after it along its length, so values are sampled on a star turned to
the local direction, and each pair of opposite samples is put in order of size:
turning or mirroring the photo changes nothing. The star is the context of
Tu and Bai (2010), turned as in oriented texture filters.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.sight.types import F32


def direction(planes: F32, sigma: float = 1.5, rho: float = 4.0) -> tuple[F32, F32]:
    """Unit vector of least change at each pixel.

    Parameters
    ----------
    planes : (h, w, c) float32
        Channels that speak together.
    sigma, rho : float
        Gaussian of the derivative and of the average, px.

    Returns
    -------
    ux, uy : (h, w) float32
        Along the strand; the sign is arbitrary.

    Notes
    -----
    Smaller eigenvector of the structure tensor (Bigün and Granlund, 1987),
    summed over the channels (Di Zenzo, 1986).
    """
    jxx = jyy = jxy = np.zeros(planes.shape[:2], np.float32)
    for k in range(planes.shape[2]):
        s = cv2.GaussianBlur(np.ascontiguousarray(planes[..., k]), (0, 0), sigma)
        gx = cv2.Sobel(s, cv2.CV_32F, 1, 0, ksize=3)
        gy = cv2.Sobel(s, cv2.CV_32F, 0, 1, ksize=3)
        jxx, jyy, jxy = jxx + gx * gx, jyy + gy * gy, jxy + gx * gy
    jxx, jyy, jxy = (cv2.GaussianBlur(j, (0, 0), rho) for j in (jxx, jyy, jxy))
    across = 0.5 * np.arctan2(2 * jxy, jxx - jyy)
    return np.asarray(-np.sin(across), np.float32), np.asarray(np.cos(across), np.float32)


class Star:
    """Samples some way off, ready to be taken for some rows of pixels at a time.

    Parameters
    ----------
    planes : sequence of (h, w, c) float32
        One a distance in the order of `along` then `across`: far samples are
        taken from a blurrier picture.
    along, across : sequences of float
        Offsets, px.
    way : (ux, uy)
        From `direction`.
    """

    def __init__(
        self,
        planes: Sequence[F32],
        along: Sequence[float],
        across: Sequence[float],
        way: tuple[F32, F32],
    ) -> None:
        whole = {id(plane): _fours(plane) for plane in planes}
        self._fours = [whole[id(plane)] for plane in planes]
        self._along, self._across, self._way = along, across, way
        self.height: int = way[0].shape[0]

    def at(self, rows: slice = slice(None), some: NDArray[np.bool_] | None = None) -> list[F32]:
        """Lesser and greater of the two opposite samples, for each offset and channel.

        Parameters
        ----------
        rows : slice
            Rows of pixels that are asked for; samples come from the whole of the planes.
        some : (r, w) bool, optional
            Which pixels of those rows are asked for; all by default.

        Returns
        -------
        list of (r, w) or (n,) float32
            2 c (len(along) + len(across)) of them.
        """
        h, w = self._way[0].shape
        gx, gy = np.meshgrid(np.arange(w, dtype=np.float32), np.arange(h, dtype=np.float32)[rows])
        at: tuple[F32, ...] = (gx, gy, self._way[0][rows], self._way[1][rows])
        if some is not None:
            at = tuple(_table(p[some]) for p in at)
        gx, gy, ux, uy = at
        n = None if some is None else int(some.sum())
        steps = [(ux, uy, d) for d in self._along] + [(-uy, ux, d) for d in self._across]
        out: list[F32] = []
        for fours, (vx, vy, d) in zip(self._fours, steps, strict=True):
            sides = [_shifted(fours, gx + s * d * vx, gy + s * d * vy) for s in (1, -1)]
            for pick in (np.minimum, np.maximum):
                both = [pick(a, b) for a, b in zip(*sides, strict=True)]
                out += [_list(b[..., k], n) for b in both for k in range(b.shape[2])]
        return out


_TABLE = 1024
"""Columns of a table of single pixels: `cv2.remap` takes fewer than 32768 a side."""


def _table(values: F32) -> F32:
    """Values (n,) as a table; what is left of the last row repeats the last of them."""
    return np.pad(values, (0, -len(values) % _TABLE), "edge").reshape(-1, _TABLE)


def _list(plane: F32, n: int | None) -> F32:
    return plane if n is None else plane.reshape(-1)[:n]


def _fours(plane: F32) -> list[F32]:
    """Channels by four at most, which is what `cv2.remap` takes, each in one piece."""
    return [np.ascontiguousarray(plane[..., k : k + 4]) for k in range(0, plane.shape[2], 4)]


def _shifted(fours: Sequence[F32], x: F32, y: F32) -> list[F32]:
    """Each of the planes (h, w, 1 to 4) at other places, (*x.shape, 1 to 4)."""
    return [
        np.asarray(
            cv2.remap(p, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float32
        ).reshape(*x.shape, -1)
        for p in fours
    ]


def shifted(planes: F32, x: F32, y: F32) -> F32:
    """Planes at some places between pixels, bilinear; beyond the rim what is at the rim.

    Parameters
    ----------
    planes : (h, w, c) float32
    x, y : (n,) float32
        Places, px.

    Returns
    -------
    (n, c) float32
    """
    if not len(x):
        return np.empty((0, planes.shape[2]), np.float32)
    got = _shifted(_fours(planes), _table(x), _table(y))
    return np.concatenate([g.reshape(-1, g.shape[-1])[: len(x)] for g in got], -1)
