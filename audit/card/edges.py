"""Corners of a dark square on white, to a fraction of a px, by lines fitted to its sides.

Each side is cut by many short profiles; on each the edge stands where the
brightness passes half way between dark and light. A line through these points
(Huber weights) is far better placed than any single corner, and corners are
where neighbouring lines meet. Blur moves no line of a straight side, whereas
it rounds corners off.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
_ROUNDS = 3
_CUTS = 24
"""Profiles a side."""
_END = 0.12
"""Share of a side left out at either end, where blur rounds it off."""


def _profiles(
    grey: NDArray[np.uint8], start: Points, end: Points, reach: float
) -> tuple[Points, Points, Points, Points]:
    """Cut across a side: values (cuts, samples), offsets along the normal, feet and normal."""
    along = end - start
    length = float(np.linalg.norm(along))
    normal = np.array([along[1], -along[0]]) / length  # outwards, for clockwise corners
    cuts = min(_CUTS, max(6, int(length / 2)))
    feet = start + np.linspace(_END, 1 - _END, cuts)[:, None] * along
    offsets = np.arange(-reach, reach + 0.25, 0.5)
    grid = feet[:, None, :] + offsets[None, :, None] * normal
    values = cv2.remap(
        grey,
        grid[..., 0].astype(np.float32),
        grid[..., 1].astype(np.float32),
        cv2.INTER_LINEAR,
        borderMode=cv2.BORDER_REPLICATE,
    )
    height, width = grey.shape
    inside = ((grid >= 0) & (grid <= [width - 1, height - 1])).all(axis=(1, 2))
    return values[inside].astype(np.float64), offsets, feet[inside], normal


def _edge_offsets(values: Points, offsets: Points) -> Points:
    """Where each profile rises through its middle, NaN where it does not rise plainly."""
    out = np.full(len(values), np.nan)
    if not len(values):
        return out
    dark = np.median(values[:, :3], axis=1)
    light = np.median(values[:, -3:], axis=1)
    contrast = light - dark
    typical = float(np.median(contrast))
    for i, row in enumerate(values):
        if contrast[i] < max(4.0, 0.4 * typical):
            continue
        middle = 0.5 * (dark[i] + light[i])
        up = np.flatnonzero((row[:-1] < middle) & (row[1:] >= middle))
        if len(up) == 0:
            continue
        j = up[np.argmin(np.abs(offsets[up]))]
        out[i] = offsets[j] + 0.5 * (middle - row[j]) / (row[j + 1] - row[j])
    return out


def _fit_line(points: Points) -> tuple[Points, Points] | None:
    """A point on the line and its direction, with Huber weights; None for too few points."""
    if len(points) < 4:
        return None
    vx, vy, x0, y0 = np.ravel(
        cv2.fitLine(points.astype(np.float32), cv2.DIST_HUBER, 0, 0.001, 0.001)
    ).astype(np.float64)
    return np.array([x0, y0]), np.array([vx, vy])


def _meet(one: tuple[Points, Points], other: tuple[Points, Points]) -> Points | None:
    (p, u), (q, v) = one, other
    cross = float(u[0] * v[1] - u[1] * v[0])
    if abs(cross) < 0.05:
        return None
    d = q - p
    return np.asarray(p + u * float(d[0] * v[1] - d[1] * v[0]) / cross)


def refine_quad(grey: NDArray[np.uint8], corners: Points) -> Points | None:
    """Refine the corners of a dark four-sided figure on a lighter ground.

    Parameters
    ----------
    grey : numpy.ndarray
        Shape (H, W), uint8.
    corners : numpy.ndarray
        Shape (4, 2), px (centres of pixels at whole numbers), clockwise as seen.

    Returns
    -------
    numpy.ndarray or None
        The same corners refined, or None when a side can't be followed.
    """
    quad = np.asarray(corners, dtype=np.float64)
    side = float(np.linalg.norm(quad - np.roll(quad, -1, axis=0), axis=1).min())
    first = quad
    # The dark border is one sixth of the side: reach no further than its middle, so that
    # the pattern inside never enters, and no further outside than the white margin.
    limit = max(1.5, 0.11 * side)
    for turn in range(_ROUNDS):
        reach = limit if turn == 0 else min(limit, 6.0)
        lines = []
        for k in range(4):
            values, offsets, feet, normal = _profiles(grey, quad[k], quad[(k + 1) % 4], reach)
            at = _edge_offsets(values, offsets)
            good = np.isfinite(at)
            line = _fit_line(feet[good] + at[good, None] * normal)
            if line is None or good.sum() < 0.4 * len(at):
                return None
            lines.append(line)
        met = [_meet(lines[k - 1], lines[k]) for k in range(4)]
        if any(m is None for m in met):
            return None
        new = np.array(met)
        if np.abs(new - first).max() > max(3.0, 0.25 * side):
            return None
        quad = new
    return quad
