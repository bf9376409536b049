"""What a spot of about a millimetre looks like: what both maps and the picture show at it and round it.

Sums of a map's channels over places of fixed size round a point are the features of the detectors of Dollár et al.
(Integral Channel Features, BMVC 2009). Here the places are turned with the work: along the strand, and inward from
sheath to terminals.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.sight.features import channels
from audit.sight.stencil import direction, shifted
from audit.sight.types import F32, AnalysisImage, MaterialMap

CELL = 4
"""px of the map on a side of a cell: with the map's usual scale about 1.1 mm."""
_GROUPS = ((1,), (2,), (3,), (4,), (5, 6, 7), (8,), (9,), (10,), (11,), (12, 14), (0, 13))
_SHEATH, _CORES, _COPPER, _METAL = [0], [1, 2, 3, 4], [5], [8, 9]
"""Materials told apart at a spot (sheath; brown, blue, green-and-yellow and dark cores; copper; enclosure;
grip; terminal; steel and brass; anything else), and which of these are which."""
_ON = (3.0, 6.0, 10.0, 16.0)
_ASIDE = (3.0, 6.0, 10.0)
_RINGS = (3.0, 6.0, 11.0)
_TURNS = 12
_FINE_ON, _FINE_ASIDE = (1.5, 3.0, 6.0, 10.0), (1.0, 2.0, 4.0)
"""Distances at which is looked on and aside, round, and in the picture itself; cells."""
_THIN = 5
"""What is thinner than a cell is averaged away round it, so the most that so many cells show counts too."""
_CORE_FROM, _REACH = 0.4, 12
"""A spot worth asking of has a cell of core so likely within so many cells."""


@dataclass(frozen=True)
class Grid:
    """Both maps on the cells of the first.

    Parameters
    ----------
    first, second : (h, w, 11) float32
        Probabilities of the materials told apart here, 0 to 1.
    cell : (width, height)
        Of a cell, px of the analysis picture.
    """

    first: F32
    second: F32
    cell: tuple[float, float]


def grid_of(first: MaterialMap, second: MaterialMap) -> Grid:
    """Both maps of one picture, made coarser to cells of `CELL` px of the first."""
    h, w = first.prob.shape[:2]
    size = (max(8, round(w / CELL)), max(8, round(h / CELL)))
    cell = (first.step * w / size[0], first.step * h / size[1])
    return Grid(_planes(first, size), _planes(second, size), cell)


def _planes(materials: MaterialMap, size: tuple[int, int]) -> F32:
    planes = np.empty((size[1], size[0], len(_GROUPS)), np.float32)
    for k, group in enumerate(_GROUPS):
        whole = np.ascontiguousarray(materials.prob[..., list(group)].sum(-1, dtype=np.float32))
        planes[..., k] = cv2.resize(whole, size, interpolation=cv2.INTER_AREA)
    return planes


def worth_asking(grid: Grid) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Rows and columns of the cells by a core or copper, each (n,)."""
    core = grid.first[..., [*_CORES, *_COPPER]].sum(-1) > _CORE_FROM
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * _REACH + 1, 2 * _REACH + 1))
    y, x = np.nonzero(cv2.dilate(core.astype(np.uint8), disc))
    return y, x


def spot_features(
    image: AnalysisImage, grid: Grid, y: NDArray[np.intp], x: NDArray[np.intp]
) -> tuple[F32, F32]:
    """What trees are asked of a cell.

    Parameters
    ----------
    image : AnalysisImage
    grid : Grid
        From `grid_of`.
    y, x : (n,) int
        Rows and columns of cells.

    Returns
    -------
    rows : (n, 754) float32
        The same whichever way the photo is held.
    ways : (n, 4) float32
        Inward and along the strand, unit vectors (x, y) in the picture: by these the rows are turned.
    """
    ways = _ways(grid, y, x)
    asked = [*_of_maps(grid, y, x, ways), *_of_picture(image, grid, y, x, ways)]
    turned = np.stack([*ways[0], *ways[1]], -1)
    return np.concatenate(asked, -1).astype(np.float32), turned.astype(np.float32)


Way = tuple[F32, F32]


def _ways(grid: Grid, y: NDArray[np.intp], x: NDArray[np.intp]) -> tuple[Way, Way, F32]:
    """Inward and along the strand toward metal, unit vectors (x, y); and how they agree, (n, 1)."""
    p = grid.first
    core, metal = p[..., _CORES].sum(-1), p[..., _METAL].sum(-1)
    inner = core + p[..., 5] + metal - p[..., 0]
    inward = _uphill(inner, 4.0, y, x)
    strand = np.stack([core, p[..., 5], p[..., 0]], -1)
    ux, uy = (u[y, x] for u in direction(np.ascontiguousarray(strand), 1.0, 2.5))
    tx, ty = _uphill(metal, 8.0, y, x)
    turn = np.where(ux * tx + uy * ty < 0, -1, 1).astype(np.float32)
    along = (ux * turn, uy * turn)
    agree = (inward[0] * along[0] + inward[1] * along[1])[:, None]
    return inward, along, np.asarray(agree, np.float32)


def _uphill(plane: F32, sigma: float, y: NDArray[np.intp], x: NDArray[np.intp]) -> Way:
    smooth = cv2.GaussianBlur(np.ascontiguousarray(plane, np.float32), (0, 0), sigma)
    gx, gy = (cv2.Sobel(smooth, cv2.CV_32F, *d, ksize=3)[y, x] for d in ((1, 0), (0, 1)))
    long = np.hypot(gx, gy) + 1e-6
    return gx / long, gy / long


def _blurred(planes: F32, sigma: float) -> F32:
    parts = [
        cv2.GaussianBlur(
            np.ascontiguousarray(planes[..., k : k + 4]), (0, 0), sigma,
            borderType=cv2.BORDER_REPLICATE,
        ).reshape(*planes.shape[:2], -1)
        for k in range(0, planes.shape[-1], 4)
    ]  # fmt: skip
    return np.concatenate(parts, -1)


def _of_maps(
    grid: Grid, y: NDArray[np.intp], x: NDArray[np.intp], ways: tuple[Way, Way, F32]
) -> Iterator[F32]:
    near, far = (_blurred(grid.first, s) for s in (1.0, 2.5))
    for planes in (grid.first, near, far, *(_blurred(grid.first, s) for s in (5.0, 10.0))):
        yield planes[y, x]
    for planes in (grid.second, *(_blurred(grid.second, s) for s in (1.0, 2.5))):
        yield planes[y, x]
    yield ways[2]
    at = (x.astype(np.float32), y.astype(np.float32))
    for way in ways[:2]:
        for d in _ON:
            for side in (-d, d):
                yield _at(near if d <= _ON[0] else far, at, way, side)
        yield from _aside(near, far, at, way, _ASIDE)
    for planes in (grid.first, grid.second):
        most = cv2.dilate(planes, np.ones((_THIN, _THIN), np.uint8)).reshape(planes.shape)
        yield most[y, x]
        for way in ways[:2]:
            for d in _ON:
                yield _at(most, at, way, d)
    for r in _RINGS:
        turns = [k * 2 * np.pi / _TURNS for k in range(_TURNS)]
        ring = [_at(near if r <= _RINGS[0] else far, at, (np.cos(a), np.sin(a)), r) for a in turns]
        yield np.max(ring, 0)
        yield np.min(ring, 0)


def _at(planes: F32, at: Way, way: Sequence[F32 | float], d: float) -> F32:
    """Planes at so many px from some places, in a direction of each one's own, (n, c)."""
    dx, dy = (np.asarray(d * v, np.float32) for v in way)
    return shifted(planes, at[0] + dx, at[1] + dy)


def _aside(near: F32, far: F32, at: Way, way: Way, ds: Sequence[float]) -> Iterator[F32]:
    """Greater and lesser of what lies so far to the left and to the right."""
    left = (way[1], -way[0])
    for d in ds:
        both = [_at(near if d <= ds[-1] / 2 else far, at, left, s * d) for s in (1, -1)]
        yield np.maximum(*both)
        yield np.minimum(*both)


def _of_picture(
    image: AnalysisImage,
    grid: Grid,
    y: NDArray[np.intp],
    x: NDArray[np.intp],
    ways: tuple[Way, Way, F32],
) -> Iterator[F32]:
    """The picture at half a cell: what is there, and how what lies round it differs."""
    h, w = grid.first.shape[:2]
    light, ratio = channels(image, (2 * w, 2 * h))
    picture = np.concatenate([light[..., None], ratio], -1)
    fine, mid, wide = (_blurred(picture, s) for s in (0.8, 2.0, 5.0))
    square = _blurred(picture * picture, 2.5) - _blurred(picture, 2.5) ** 2
    at = (2 * x.astype(np.float32) + 0.5, 2 * y.astype(np.float32) + 0.5)
    own = shifted(fine, *at)
    yield own
    yield own - shifted(wide, *at)
    yield shifted(np.sqrt(np.maximum(square, 0)), *at)
    for way in (ways[1], ways[0]):
        for d in _FINE_ON:
            for side in (-d, d):
                yield _at(fine if d < _FINE_ON[1] else mid, at, way, 2 * side) - own
        for beside in _aside(fine, mid, at, way, [2 * d for d in _FINE_ASIDE]):
            yield beside - own
