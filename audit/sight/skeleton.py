"""Centre lines of a mask: skeleton, cut at junctions, pruned, extended to the mask's ends."""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d, label, map_coordinates
from skimage.morphology import skeletonize

from audit.sight.types import F64

_EIGHT = np.ones((3, 3), int)
_ONES = np.ones((3, 3), np.float32)


@dataclass(frozen=True)
class Branch:
    """One piece of centre line between ends and junctions of a skeleton.

    Parameters
    ----------
    path : (n, 2) float64
        x, y in px of the mask, about 1 px apart.
    width : (n,) float64
        Full width of the mask across the path, px.
    """

    path: F64
    width: F64

    @property
    def length(self) -> float:
        """Length along the path, px."""
        return float(np.hypot(*np.diff(self.path, axis=0).T).sum()) if len(self.path) > 1 else 0.0


def _thin(mask: NDArray[Any]) -> NDArray[np.bool_]:
    return np.asarray(skeletonize(mask.astype(bool)), np.bool_)  # type: ignore[no-untyped-call]


def _walk(points: NDArray[np.intp]) -> NDArray[np.intp]:
    """Order the pixels (row, column) of one branch from one end to the other."""
    left = {(int(r), int(c)) for r, c in points}

    def near(p: tuple[int, int]) -> list[tuple[int, int]]:
        steps = [(0, 1), (1, 0), (0, -1), (-1, 0), (1, 1), (1, -1), (-1, 1), (-1, -1)]
        return [q for dr, dc in steps if (q := (p[0] + dr, p[1] + dc)) in left]

    start = next((p for p in sorted(left) if len(near(p)) <= 1), min(left))
    order = [start]
    left.discard(start)
    while nxt := near(order[-1]):
        order.append(nxt[0])
        left.discard(nxt[0])
    return np.asarray(order)


def resample(path: F64, step: float = 1.0) -> F64:
    """Points `step` px apart along a polyline, both ends kept."""
    if len(path) < 2:
        return path
    s = np.r_[0, np.cumsum(np.hypot(*np.diff(path, axis=0).T))]
    keep = np.r_[True, np.diff(s) > 1e-9]
    path, s = path[keep], s[keep]
    if len(path) < 2:
        return path
    at = np.linspace(0, s[-1], max(2, round(s[-1] / step) + 1))
    return np.stack([np.interp(at, s, path[:, 0]), np.interp(at, s, path[:, 1])], -1)


def smooth(path: F64, sigma: float) -> F64:
    """Smooth a polyline with its ends held in place."""
    if len(path) < 5 or sigma <= 0:
        return path
    # Reflecting about the end point keeps it fixed, so a strand does not shrink.
    n = min(len(path) - 1, int(4 * sigma) + 1)
    head = 2 * path[0] - path[n:0:-1]
    tail = 2 * path[-1] - path[-2 : -n - 2 : -1]
    long = np.concatenate([head, path, tail])
    return np.asarray(gaussian_filter1d(long, sigma, axis=0)[n : n + len(path)], np.float64)


def end_direction(path: F64, at_start: bool, reach: float) -> F64:
    """Unit vector out of one end of a path, from its last `reach` px."""
    p = path if at_start else path[::-1]
    k = int(np.clip(round(reach), 1, len(p) - 1)) if len(p) > 1 else 0
    v = p[0] - p[k] if k else np.zeros(2)
    n = float(np.hypot(*v))
    return v / n if n > 0 else np.zeros(2)


def _extend(path: F64, mask: NDArray[np.uint8], reach: float) -> F64:
    """Carry both ends straight on to the edge of the mask: a skeleton stops half a width short."""
    h, w = mask.shape
    for at_start in (True, False):
        d = end_direction(path, at_start, reach)
        p = path[0] if at_start else path[-1]
        extra = []
        for k in range(1, int(reach) + 2):
            q = p + k * d
            x, y = round(float(q[0])), round(float(q[1]))
            if not (0 <= x < w and 0 <= y < h) or not mask[y, x] or not d.any():
                break
            extra.append(q)
        if extra:
            more = np.asarray(extra)
            path = np.concatenate([more[::-1], path] if at_start else [path, more])
    return path


def _trim(path: F64, half: float, joined: list[bool]) -> F64:
    """Cut the hook off free ends: near a blunt end a skeleton turns into one of its corners."""
    n = round(0.9 * half)
    if len(path) < 4 * n + 4:
        return path
    first = 0 if joined[0] else n
    last = len(path) if joined[1] else len(path) - n
    return path[first:last]


def _pieces(skel: NDArray[np.bool_]) -> tuple[list[NDArray[np.intp]], NDArray[np.intp]]:
    """Ordered pixels of each branch, and the junction label image."""
    thin = skel.astype(np.uint8)
    neighbours = cv2.filter2D(thin, -1, _ONES, borderType=cv2.BORDER_CONSTANT) - thin
    junction = skel & (neighbours >= 3)
    lab, n = label(skel & ~junction, structure=_EIGHT)
    jlab, _ = label(junction, structure=_EIGHT)
    rows, cols = np.nonzero(lab)
    order = np.argsort(lab[rows, cols], kind="stable")
    rows, cols = rows[order], cols[order]
    counts = np.bincount(lab[rows, cols], minlength=n + 1)[1:]
    bounds = np.r_[0, np.cumsum(counts)]
    parts = [np.stack([rows[a:b], cols[a:b]], -1) for a, b in itertools.pairwise(bounds)]
    return [_walk(p) for p in parts if len(p)], np.asarray(jlab)


def _touches(end: NDArray[np.intp], jlab: NDArray[np.intp]) -> bool:
    r, c = int(end[0]), int(end[1])
    return bool(jlab[max(r - 1, 0) : r + 2, max(c - 1, 0) : c + 2].any())


def branches(mask: NDArray[np.uint8], min_length: float = 2.0, spur: float = 1.2) -> list[Branch]:
    """Centre lines of a mask.

    Parameters
    ----------
    mask : (h, w) uint8, 0 or 1
    min_length : float
        Shorter branches are dropped.
    spur : float
        Branches with one free end shorter than this many half widths are pruned.

    Returns
    -------
    list of Branch
        Branches end at junctions; `audit.sight.joining` joins them through.

    Notes
    -----
    Thinning by skimage.morphology.skeletonize (Zhang and Suen, 1984); widths
    from the exact distance transform.
    """
    x, y, w, h = cv2.boundingRect(mask)
    if not w:
        return []
    # Most masks fill a part of the map; two px of nothing round them leave all that follows as it is.
    x0, y0 = max(0, x - 2), max(0, y - 2)
    part = mask[y0 : y + h + 2, x0 : x + w + 2]
    found = _branches(part, min_length, spur)
    return [Branch(b.path + np.array([x0, y0]), b.width) for b in found]


def _branches(mask: NDArray[np.uint8], min_length: float, spur: float) -> list[Branch]:
    padded = np.pad(mask, 1)
    dist = cv2.distanceTransform(padded, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)[1:-1, 1:-1]
    skel = _thin(mask)
    for _ in range(3):
        parts, jlab = _pieces(skel)
        spurs = False
        for p in parts:
            free = [not _touches(e, jlab) for e in (p[0], p[-1])]
            reach = dist[p[:, 0], p[:, 1]].max() if len(p) else 0
            if sum(free) == 1 and len(p) < spur * reach + 1:
                skel[p[:, 0], p[:, 1]] = False
                spurs = True
        if not spurs:
            break
        # Pruning leaves stubs of junctions that are plain line again.
        skel = _thin(skel)
    parts, jlab = _pieces(skel)
    found = []
    for p in parts:
        half = float(np.median(dist[p[:, 0], p[:, 1]]))
        path = np.stack([p[:, 1], p[:, 0]], -1).astype(np.float64)
        path = _trim(path, half, [_touches(e, jlab) for e in (p[0], p[-1])])
        if len(path) > 3:
            path = smooth(path, min(max(half * 0.6, 1.0), len(path) / 6))
        path = resample(_extend(path, mask, 2.2 * half + 1.5))
        d = map_coordinates(dist, [path[:, 1], path[:, 0]], order=1, mode="nearest")
        branch = Branch(path, np.maximum(2 * d - 0.5, 1.0))
        if len(path) > 1 and branch.length >= min_length:
            found.append(branch)
    return found
