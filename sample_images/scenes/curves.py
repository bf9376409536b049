"""Smooth paths of cables and cores. Units: mm."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import BSpline

F = NDArray[np.float64]


def bezier(p0: F, p1: F, p2: F, p3: F, n: int = 60) -> F:
    """Points (n, 3) of a cubic Bezier curve."""
    t = np.linspace(0, 1, n)[:, None]
    return (1 - t) ** 3 * p0 + 3 * (1 - t) ** 2 * t * p1 + 3 * (1 - t) * t**2 * p2 + t**3 * p3


def bspline(control: F, n: int = 400) -> F:
    """Points (n, 3) of a clamped cubic B-spline with the given control points (K >= 4, 3)."""
    k = len(control)
    knots = np.concatenate([np.zeros(3), np.linspace(0, 1, k - 2), np.ones(3)])
    return np.asarray(BSpline(knots, control, 3)(np.linspace(0, 1, n)))


def length_along(path: F) -> F:
    """Arc length (N,) at each point of a path (N, 3)."""
    return np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])


def resampled(path: F, step: float) -> F:
    """The same path with points about ``step`` mm apart, both ends kept."""
    s = length_along(path)
    keep = np.concatenate([[True], np.diff(s) > 1e-9])
    path, s = path[keep], s[keep]
    t = np.linspace(0, s[-1], max(3, int(np.ceil(s[-1] / step)) + 1))
    return np.stack([np.interp(t, s, path[:, k]) for k in range(3)], -1)


def smoothed(path: F, sigma: float) -> F:
    """Path (N, 3), evenly spaced, smoothed over ``sigma`` samples with both ends held."""
    from scipy.ndimage import gaussian_filter1d

    pad = int(4 * sigma) + 1
    head = 2 * path[0] - path[pad:0:-1]
    tail = 2 * path[-1] - path[-2 : -pad - 2 : -1]
    return gaussian_filter1d(np.vstack([head, path, tail]), sigma, axis=0)[pad : pad + len(path)]


def tangents(path: F) -> F:
    """Unit tangents (N, 3)."""
    t = np.gradient(path, axis=0)
    return t / (np.linalg.norm(t, axis=1, keepdims=True) + 1e-12)


def level_frame(path: F) -> tuple[F, F, F]:
    """Tangent, side (level) and up vectors (N, 3) of a path that never runs upright."""
    t = tangents(path)
    side = np.cross(np.array([0.0, 0.0, 1.0]), t)
    side /= np.linalg.norm(side, axis=1, keepdims=True) + 1e-9
    return t, side, np.cross(t, side)


def carried_frame(path: F) -> tuple[F, F, F]:
    """Tangent, side and up vectors (N, 3) carried along without twist (parallel transport)."""
    t = tangents(path)
    side = np.empty_like(path)
    first = np.cross(np.array([0.0, 0.0, 1.0]), t[0])
    if np.linalg.norm(first) < 1e-3:
        first = np.array([1.0, 0.0, 0.0])
    side[0] = first / np.linalg.norm(first)
    for i in range(1, len(path)):
        s = side[i - 1] - np.dot(side[i - 1], t[i]) * t[i]
        side[i] = s / (np.linalg.norm(s) + 1e-12)
    return t, side, np.cross(t, side)


@dataclass(frozen=True)
class Axis:
    """The middle line of a cable: points (N, 3) and their place s (N,) from the wall's outer face, inwards positive."""

    path: F
    s: F

    def at(self, s: float | F) -> F:
        """Point(s) at place s."""
        return np.stack([np.interp(s, self.s, self.path[:, k]) for k in range(3)], -1)

    def part(self, s0: float, s1: float, step: float = 0.6) -> F:
        """Points from s0 to s1, evenly spaced, both ends exact."""
        return self.at(np.linspace(s0, s1, max(3, int(abs(s1 - s0) / step) + 1)))

    def side_at(self, s: float | F) -> F:
        """Level unit vector(s) across the cable at place s."""
        _, side, _ = level_frame(self.path)
        out = np.stack([np.interp(s, self.s, side[:, k]) for k in range(3)], -1)
        return out / np.linalg.norm(out, axis=-1, keepdims=True)


def cut(path: F, s0: float, s1: float, step: float = 0.4) -> F:
    """The part of a path between two arc lengths, both ends exact."""
    s = length_along(path)
    t = np.linspace(s0, s1, max(3, int(np.ceil((s1 - s0) / step)) + 1))
    return np.stack([np.interp(t, s, path[:, k]) for k in range(3)], -1)
