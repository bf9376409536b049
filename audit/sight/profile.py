"""What the material map says along a path: bands across it, steps along it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter1d

from audit.sight.skeleton import resample
from audit.sight.types import F64, Material, MaterialMap


@dataclass(frozen=True)
class PathProfile:
    """Mean material probabilities along a path.

    Parameters
    ----------
    path : (n, 2) float64
        Points 1 px of the map apart, in px of the analysis picture.
    s : (n,) float64
        Length along the path, px of the analysis picture.
    prob : (n, 15) float64
        Mean over the band across the path.
    """

    path: F64
    s: F64
    prob: F64

    def of(self, *materials: Material) -> F64:
        """Summed probability of some materials, (n,)."""
        return np.asarray(self.prob[:, [int(m) for m in materials]].sum(-1))


def arc_length(path: F64) -> F64:
    """Length along a polyline at each of its points, (n,)."""
    return np.asarray(np.r_[0.0, np.cumsum(np.hypot(*np.diff(path, axis=0).T))], np.float64)


def normals(path: F64, reach: int = 3) -> F64:
    """Unit normals (x, y) of a polyline, to the left of its direction, (n, 2)."""
    smooth = gaussian_filter1d(path, reach, axis=0, mode="nearest") if len(path) > 3 else path
    t = np.gradient(smooth, axis=0) if len(path) > 1 else np.zeros_like(path)
    n = np.hypot(t[:, 0], t[:, 1])
    n[n == 0] = 1
    return np.stack([-t[:, 1] / n, t[:, 0] / n], -1)


def band_points(path: F64, offsets: F64) -> F64:
    """Points at given offsets across a path, (n, k, 2), px of the analysis picture."""
    return np.asarray(path[:, None, :] + normals(path)[:, None, :] * offsets[None, :, None])


def sample_prob(materials: MaterialMap, points: F64) -> F64:
    """Probabilities at points of the analysis picture, (..., 15), bilinear.

    Points outside the picture give zeros for every material.
    """
    flat = (points.reshape(-1, 2) + 0.5) / materials.step - 0.5
    h, w = materials.prob.shape[:2]
    x0 = np.clip(np.floor(flat[:, 0]).astype(int), 0, w - 2)
    y0 = np.clip(np.floor(flat[:, 1]).astype(int), 0, h - 2)
    fx = np.clip(flat[:, 0] - x0, 0, 1)[:, None]
    fy = np.clip(flat[:, 1] - y0, 0, 1)[:, None]
    p = materials.prob
    top = p[y0, x0] * (1 - fx) + p[y0, x0 + 1] * fx
    low = p[y0 + 1, x0] * (1 - fx) + p[y0 + 1, x0 + 1] * fx
    got = top * (1 - fy) + low * fy
    outside = (
        (flat[:, 0] < -0.5) | (flat[:, 1] < -0.5) | (flat[:, 0] > w - 0.5) | (flat[:, 1] > h - 0.5)
    )
    got[outside] = 0
    return np.asarray(got.reshape(*points.shape[:-1], -1), np.float64)


def path_profile(materials: MaterialMap, path: F64, half_band: float) -> PathProfile:
    """Material along a path, averaged over a band across it.

    Parameters
    ----------
    materials : MaterialMap
    path : (n, 2) float64
        px of the analysis picture.
    half_band : float
        Half width of the band, px of the analysis picture.
    """
    even = resample(path, materials.step)
    k = max(3, 2 * round(half_band / materials.step) + 1)
    points = band_points(even, np.linspace(-half_band, half_band, k))
    prob = sample_prob(materials, points).mean(1)
    return PathProfile(even, arc_length(even), prob)


def crossing_at(s: F64, value: F64, level: float, *, rising: bool, start: int = 0) -> float | None:
    """Where a curve first crosses a level after index `start`, by linear interpolation."""
    above = value >= level if rising else value <= level
    for i in range(max(start, 1), len(s)):
        if above[i] and not above[i - 1]:
            a, b = value[i - 1], value[i]
            f = 0.5 if a == b else (level - a) / (b - a)
            return float(s[i - 1] + f * (s[i] - s[i - 1]))
    return None


def runs(flags: np.ndarray, min_length: int = 1) -> list[tuple[int, int]]:
    """Half-open index ranges where `flags` holds, at least `min_length` long."""
    padded = np.r_[False, flags, False].astype(np.int8)
    change = np.flatnonzero(np.diff(padded))
    return [
        (int(a), int(b))
        for a, b in zip(change[::2], change[1::2], strict=True)
        if b - a >= min_length
    ]
