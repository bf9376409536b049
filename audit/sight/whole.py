"""What the whole photo tells of one pixel: the colours of its materials, and the patch it lies in.

A filter sees a few millimetres. But one photo shows one sheath, one enclosure
and one ceiling, each of one colour, and a strip of even colour beside cores is a
sheath however far it runs. So, from what the pass before said, every colour of
the photo is told what it usually was (histogram backprojection, Swain and
Ballard 1991, with probabilities for counts), every patch of even colour
(Felzenszwalb and Huttenlocher 2004) what was said of it on average, what shape
it has and what lies round it, and every pixel how far each kind of material is.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter

from audit.sight.patches import patches
from audit.sight.types import F32, F64

I64 = NDArray[np.int64]

BINS = 24
"""Levels of lightness and of each log-ratio in a photo's histogram of colours."""
_DOUBT = 5.0
"""Pixels of the photo's usual mix that are added to every colour: a rare colour tells little."""
PATCHES = ((40.0, 0.3, 20), (250.0, 0.6, 60), (1000.0, 0.8, 150))
"""Scale, smoothing and least pixels of the three sizes of patch."""
FAR_PX = 200.0
"""Distances beyond this, px of the map, are alike."""


@dataclass(frozen=True)
class Whole:
    """Tables of what the whole photo tells, with the key of each pixel into them.

    Parameters
    ----------
    keys : list of (h, w) int32
    tables : list of (n, f) float32
        One row a colour or a patch.
    planes : (h, w, d) float32
        What is told for each pixel by itself.
    """

    keys: list[NDArray[np.int32]]
    tables: list[F32]
    planes: F32

    def features(self, rows: slice, some: NDArray[np.bool_] | None = None) -> F32:
        """Features of some rows of the map, (r, w, F), or of some pixels (r, w) of them, (n, F)."""
        which = slice(None) if some is None else some
        told = [t[k[rows][which]] for k, t in zip(self.keys, self.tables, strict=True)]
        return np.concatenate([*told, self.planes[rows][which]], -1)


def whole_of(kept: F32, prob: F32, kinds: tuple[tuple[int, ...], ...]) -> Whole:
    """Tell what the whole photo tells.

    Parameters
    ----------
    kept : (h, w, 14) float32
        From `audit.sight.features.kept`: lightness and log-ratios, fine and smoothed, come first.
    prob : (h, w, K) float32
        Probabilities of the pass before.
    kinds : tuple of tuples of int
        Materials that distances are told to.

    Returns
    -------
    Whole
        `2 K + 3 (K + 5) + K + len(kinds)` features.
    """
    keys, tables = [], []
    for first in (0, 3):
        key, table = _colours(kept[..., first : first + 3], prob)
        keys.append(key)
        tables.append(table)
    fine = np.concatenate([kept[..., :1], kept[..., 1:3] * 0.5], -1)
    for n, (scale, sigma, least) in enumerate(PATCHES):
        patch = patches(fine, scale, sigma, least)
        mean, area = _means(patch.ravel(), prob)
        parts = [mean, _shapes(patch, area)]
        if n == 1:
            parts.append(_round(patch, mean))
        keys.append(patch.astype(np.int32))
        tables.append(np.concatenate(parts, -1).astype(np.float32))
    return Whole(keys, tables, _distances(prob, kinds))


def _colours(planes: F32, prob: F32) -> tuple[NDArray[np.int32], F32]:
    """Bin of each pixel's colour, and what the pixels of each bin were said to be."""
    top = 1 - 1e-6
    light = np.clip(planes[..., 0] / 1.2, 0, top)
    # Most things are near grey: finer bins there.
    ratio = np.clip(np.arcsinh(planes[..., 1:] / 0.12) / 6 + 0.5, 0, top)
    level = (np.concatenate([light[..., None], ratio], -1) * BINS).astype(np.int64)
    key = (level[..., 0] * BINS + level[..., 1]) * BINS + level[..., 2]
    flat = prob.reshape(-1, prob.shape[-1])
    count = np.stack([np.bincount(key.ravel(), p, BINS**3) for p in flat.T], -1)
    cube = count.reshape(BINS, BINS, BINS, -1)
    cube = gaussian_filter(cube, (0.8, 0.8, 0.8, 0), mode="nearest")
    told = (cube + _DOUBT * flat.mean(0)) / (cube.sum(-1, keepdims=True) + _DOUBT)
    return key.astype(np.int32), told.reshape(BINS**3, -1).astype(np.float32)


def _means(key: I64, prob: F32) -> tuple[F64, F64]:
    area = np.bincount(key).astype(np.float64)
    flat = prob.reshape(-1, prob.shape[-1])
    return np.stack([np.bincount(key, p, len(area)) / area for p in flat.T], -1), area


def _shapes(patch: I64, area: F64) -> F64:
    """Log of area, of both half axes, of how far it fills their ellipse, and of area by outline, (n, 5)."""
    h, w = patch.shape
    key, n = patch.ravel(), len(area)
    y, x = (v.ravel() for v in np.divmod(np.arange(h * w), w))
    dx = x - (np.bincount(key, x, n) / area)[key]
    dy = y - (np.bincount(key, y, n) / area)[key]
    # A pixel is a square, not a point: 1/12 is its own variance.
    xx, yy = (np.bincount(key, d * d, n) / area + 1 / 12 for d in (dx, dy))
    xy = np.bincount(key, dx * dy, n) / area
    mean, apart = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    long, short = np.sqrt(mean + apart), np.sqrt(np.maximum(mean - apart, 1 / 12))
    edge = np.zeros((h, w), bool)
    edge[:, 1:] |= patch[:, 1:] != patch[:, :-1]
    edge[1:] |= patch[1:] != patch[:-1]
    outline = np.bincount(key, edge.ravel(), n)
    full = area / (4 * np.pi * long * short)
    told = np.stack([area, long, short, full, area / (outline + 1)], -1)
    return np.asarray(np.log(told), np.float64)


def _round(patch: I64, mean: F64) -> F64:
    """What was said of the patches that touch each patch, weighed by how long they touch, (n, K)."""
    n = len(mean)
    pairs = []
    for a, b in ((patch[:, 1:], patch[:, :-1]), (patch[1:], patch[:-1])):
        other = a != b
        pairs += [(a[other], b[other]), (b[other], a[other])]
    mine = np.concatenate([p[0] for p in pairs])
    theirs = np.concatenate([p[1] for p in pairs])
    touch = np.bincount(mine, minlength=n)[:, None]
    told = np.stack([np.bincount(mine, mean[theirs, k], n) for k in range(mean.shape[1])], -1)
    return np.asarray(told / np.maximum(touch, 1), np.float64)


def _distances(prob: F32, kinds: tuple[tuple[int, ...], ...]) -> F32:
    """Log of the distance to where each kind is likely, (h, w, len(kinds))."""
    out = np.empty((*prob.shape[:2], len(kinds)), np.float32)
    for k, kind in enumerate(kinds):
        there = prob[..., list(kind)].sum(-1) > 0.5
        far = cv2.distanceTransform((~there).astype(np.uint8), cv2.DIST_L2, 3)
        out[..., k] = np.log1p(np.minimum(far, FAR_PX) if there.any() else FAR_PX)
    return out
