"""What lies along a strand, seen in the strand's own frame: how far along, how far aside.

Copper and a reddish brown core look alike by colour. They are told by what
changes along one strand: the insulation has one colour and one width as far as
it goes, copper ahead of it is another colour and half as wide. So the picture
is laid out straight along each strand and a little beyond both its ends, and
each place is described against the strand's own usual colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from audit.sight.features import channels
from audit.sight.profile import normals
from audit.sight.skeleton import end_direction, resample
from audit.sight.types import CORES, F32, F64, AnalysisImage, Material, MaterialMap, Strand

I64 = NDArray[np.int64]


@dataclass(frozen=True)
class Frame:
    """How far a strand's surroundings are laid out, px of the map (3.5 to the mm).

    Parameters
    ----------
    grain : float
        One px of the strip.
    aside : float
        How far aside of the centre line places are described.
    beyond : float
        How far beyond an end.
    reach : float
        Half width of the strip: what a place sees aside of the strand.
    far : float
        Multiplies every offset that a place looks off to.
    """

    grain: float = 0.5
    aside: float = 7.0
    beyond: float = 42.0
    reach: float = 12.0
    far: float = 1.0


CORE_FRAME = Frame()
SHEATH_FRAME = Frame(grain=1.0, aside=17.0, beyond=70.0, reach=26.0, far=2.2)
AHEAD = (-40, -28, -18, -12, -8, -5, -3, 3, 5, 8, 12, 18, 28, 40)
NEAR_AHEAD = (-8, -4, -2, 2, 4, 8)
SECTION = (-10.0, -7.0, -5.0, -3.5, -2.0, -1.0, 0.0, 1.0, 2.0, 3.5, 5.0, 7.0, 10.0)
KIND_AHEAD = (-24, -12, -6, 6, 12, 24)
KIND_ASIDE = (-8.0, -4.0, 4.0, 8.0)
WIDTH_AHEAD = (-24, -12, -6, 0, 6, 12, 24)
GROUPS: tuple[tuple[Material, ...], ...] = (
    (Material.OTHER, Material.CARD),
    CORES,
    (Material.COPPER,),
    (Material.TERMINAL, Material.STEEL, Material.BRASS),
    (Material.GRIP,),
    (Material.ENCLOSURE,),
    (Material.SHEATH,),
)
"""Kinds of material that a place on a strand is told to be; which colour a core has is known before."""


@dataclass(frozen=True)
class Strip:
    """A strand laid straight.

    Parameters
    ----------
    path : (n, 2) float64
        Centre line with its extensions, px of the map, `frame.grain` apart.
    first, last : int
        Where on `path` the strand itself starts and ends.
    planes : (n, m, 3) float32
        Lightness and two log-ratios; across is -`frame.reach` to `frame.reach`.
    kinds : (n, m, 8) float32
        Probabilities of the map: the strand's own material, and `GROUPS`.
    own : (3,) float32
        Usual colour of the strand.
    width : float
        px of the map.
    strand : Strand
    frame : Frame
    """

    path: F64
    first: int
    last: int
    planes: F32
    kinds: F32
    own: F32
    width: float
    strand: Strand
    frame: Frame = CORE_FRAME


def _extended(strand: Strand, step: float, frame: Frame) -> tuple[F64, int, int]:
    path = (strand.path + 0.5) / step - 0.5
    grain = frame.grain
    path = resample(path, grain)
    width = float(np.median(strand.width)) / step
    n = int(frame.beyond / grain)
    out = np.arange(1, n + 1)[:, None] * grain
    reach = min(1.8 * width, 24.0) / grain
    head = path[0] + out[::-1] * end_direction(path, True, reach)
    tail = path[-1] + out * end_direction(path, False, reach)
    return np.concatenate([head, path, tail]), n, n + len(path) - 1


def _laid(plane: F32, at: F64) -> F32:
    """Values of a (h, w, c) plane at points x, y of it, (..., c)."""
    x, y = at[..., 0].astype(np.float32), at[..., 1].astype(np.float32)
    parts = [
        cv2.remap(
            np.ascontiguousarray(plane[..., k : k + 4]), x, y, cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        ).reshape(*x.shape, -1)
        for k in range(0, plane.shape[2], 4)
    ]  # fmt: skip
    return np.asarray(np.concatenate(parts, -1), np.float32)


def strips(
    materials: MaterialMap,
    image: AnalysisImage,
    strands: Sequence[Strand],
    frame: Frame = CORE_FRAME,
) -> list[Strip]:
    """Lay each strand straight.

    Parameters
    ----------
    materials : MaterialMap
    image : AnalysisImage
    strands : sequence of Strand
        Cores and coppers, or sheaths.
    frame : Frame

    Returns
    -------
    list of Strip
    """
    h, w = materials.prob.shape[:2]
    finer = min(2.0, materials.step)
    light, ratio = channels(image, (round(w * finer), round(h * finer)))
    picture = np.concatenate([light[..., None], ratio], -1)
    groups = np.stack([materials.prob[..., [int(m) for m in g]].sum(-1) for g in GROUPS], -1)
    across = np.arange(-frame.reach, frame.reach + frame.grain / 2, frame.grain)
    out = []
    for s in strands:
        path, first, last = _extended(s, materials.step, frame)
        # cv2.remap wants less than 32768 rows.
        if len(path) > 30000:
            continue
        at = path[:, None] + normals(path, 8)[:, None] * across[None, :, None]
        planes = _laid(picture, (at + 0.5) * finer - 0.5)
        own = _laid(materials.prob[..., s.material][..., None], at)
        kinds = np.concatenate([own, _laid(np.asarray(groups, np.float32), at)], -1)
        width = float(np.median(s.width)) / materials.step
        middle = np.abs(across) <= 0.3 * width
        usual = np.median(planes[first : last + 1, middle], (0, 1))
        out.append(
            Strip(path, first, last, planes, kinds, usual.astype(np.float32), width, s, frame)
        )
    return out


def _alike(planes: F32, grain: float) -> F32:
    """How wide the strand looks at each place along: span about the middle that is like it, (n,)."""
    middle = planes.shape[1] // 2
    scale = np.array([0.08, 0.12, 0.12], np.float32)
    away = np.abs((planes - planes[:, middle : middle + 1]) / scale).max(-1)
    same = away < 1.0
    right = np.cumprod(same[:, middle:], 1).sum(1)
    left = np.cumprod(same[:, middle::-1], 1).sum(1)
    return np.asarray((right + left) * grain, np.float32)


def _shine(planes: F32, half: int) -> F32:
    """Colour of the bright and of the dark parts of each section, and its span of lightness, (n, 6)."""
    m = planes.shape[1] // 2
    k = int(np.clip(half, 1, m))
    part = planes[:, m - k : m + k + 1]
    light = part[..., 0]
    out = []
    for sign in (12.0, -12.0):
        weight = np.exp(sign * (light - light.mean(1, keepdims=True)))
        for c in (1, 2):
            top = gaussian_filter1d((part[..., c] * weight).sum(1), 4.0)
            out.append(top / (gaussian_filter1d(weight.sum(1), 4.0) + 1e-6))
    out += [light.max(1) - light.mean(1), light.mean(1) - light.min(1)]
    return np.asarray(np.stack(out, -1), np.float32)


def place_features(strip: Strip, u: F64, v: F64, scale: float) -> F32:
    """Describe places of a strip.

    Parameters
    ----------
    strip : Strip
    u, v : (k,) float64
        Places: index on `strip.path`, and px of the map aside of it.
    scale : float
        px of the analysis picture for one px of the map.

    Returns
    -------
    (k, F) float32
        The way along is turned so that the nearer end lies ahead, the way aside
        so that the place lies on the positive side.
    """
    middle = (strip.first + strip.last) / 2
    way = np.where(u >= middle, 1.0, -1.0)
    side = np.where(v >= 0, 1.0, -1.0)
    grain, far = strip.frame.grain, strip.frame.far
    past = np.where(way > 0, u - strip.last, strip.first - u) * grain
    mid = strip.planes.shape[1] // 2

    def at(plane: F32, du: F64 | float, w: F64 | float) -> F32:
        a = np.broadcast_to(u + way * du / grain, u.shape)
        b = np.broadcast_to(mid + side * w / grain, u.shape)
        return _laid(plane, np.stack([b, a], -1)[:, None])[:, 0]

    rel = strip.planes - strip.own
    fine, broad = gaussian_filter1d(rel, 1.0, axis=0), gaussian_filter1d(rel, 4.0, axis=0)
    kinds = gaussian_filter1d(strip.kinds, 2.0, axis=0)
    extra = np.concatenate(
        [
            _shine(fine, round(0.5 * strip.width / grain)),
            _alike(fine, grain)[:, None],
            _alike(broad, grain)[:, None],
        ],
        -1,
    )[:, None]
    extra = np.repeat(extra, 3, 1)
    away = np.abs(v)
    parts = [at(fine, 0, away), at(strip.planes, 0, away), at(kinds, 0, away)]
    parts += [at(broad, 0, far * w) for w in SECTION]
    centre = gaussian_filter1d(broad, 1.5, axis=1)
    parts += [at(centre, far * d, 0.0) for d in AHEAD]
    parts += [at(broad, far * d, away) for d in NEAR_AHEAD]
    parts += [at(kinds, far * d, 0.0) for d in KIND_AHEAD]
    parts += [at(kinds, 0, far * w) for w in KIND_ASIDE]
    row = np.asarray(u + 0.0)
    parts.append(_laid(extra[..., :6], np.stack([np.ones_like(row), row], -1)[:, None])[:, 0])
    for d in WIDTH_AHEAD:
        a = np.stack([np.ones_like(row), row + way * far * d / grain], -1)[:, None]
        parts.append(_laid(extra[..., 6:], a)[:, 0])
    length = (strip.last - strip.first) * grain
    same = [strip.width, length, strip.strand.score, scale, *strip.own]
    same += [float(strip.strand.material == m) for m in (*CORES, Material.COPPER)]
    parts.append(np.stack([past, away, away / strip.width], -1))
    parts.append(np.broadcast_to(np.asarray(same), (len(u), len(same))))
    return np.concatenate([np.asarray(p, np.float32) for p in parts], -1)


def places(found: Sequence[Strip], shape: tuple[int, int]) -> tuple[I64, I64, I64, F64, F64]:
    """Every place of the map that lies on or by a strand, each given to one strand.

    Parameters
    ----------
    found : sequence of Strip
    shape : (h, w)

    Returns
    -------
    y, x : (k,) int64
        px of the map.
    which : (k,) int64
        Index of the strip.
    u, v : (k,) float64
        As `place_features` takes them.
    """
    best = np.full(shape, np.inf)
    which = np.full(shape, -1)
    u_of, v_of = np.zeros(shape), np.zeros(shape)
    for i, strip in enumerate(found):
        y, x, u, v = _beside(strip, shape)
        past = np.maximum(strip.first - u, u - strip.last) * strip.frame.grain
        # A place belongs rather to the strand it lies on than to one that points at it.
        cost = np.abs(v) + np.where(past > 0, 1.0 + 0.15 * past, 0.0)
        better = cost < best[y, x]
        y, x = y[better], x[better]
        best[y, x], which[y, x] = cost[better], i
        u_of[y, x], v_of[y, x] = u[better], v[better]
    y, x = np.nonzero(which >= 0)
    return y, x, which[y, x], u_of[y, x], v_of[y, x]


def _beside(strip: Strip, shape: tuple[int, int]) -> tuple[I64, I64, F64, F64]:
    """Map pixels within reach aside of a strip's line, with their place on it."""
    n = normals(strip.path, 8)
    aside = strip.frame.aside
    offsets = np.arange(-aside, aside + 0.25, 0.5)
    at = strip.path[:, None] + n[:, None] * offsets[None, :, None]
    x, y = np.rint(at[..., 0]).astype(int), np.rint(at[..., 1]).astype(int)
    inside = (x >= 0) & (y >= 0) & (x < shape[1]) & (y < shape[0])
    u = np.repeat(np.arange(len(strip.path))[:, None], len(offsets), 1)
    v = np.repeat(offsets[None], len(strip.path), 0)
    key = (y * shape[1] + x)[inside]
    # Where a bend lays several places on one pixel, the one nearest the line is it.
    order = np.argsort(np.abs(v[inside]), kind="stable")
    key, first = np.unique(key[order], return_index=True)
    u, v = u[inside][order][first], v[inside][order][first]
    return key // shape[1], key % shape[1], u.astype(np.float64), v.astype(np.float64)
