"""Copper between two pieces of one core's insulation: insulation that is missing or damaged along a core.

A core is followed through its own colour and copper alike. Where copper lies on its line, its insulation before and
behind and no copper beside it, the insulation is missing there; a bare conductor that crosses a core goes on beside it, a stripped
end has a terminal behind it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from audit.sight.profile import band_points
from audit.sight.skeleton import branches
from audit.sight.strands import material_mask, sample
from audit.sight.types import CORES, F32, F64, Material, MaterialMap

_ON, _BESIDE = (-0.2, 0.0, 0.2), (-1.1, -0.9, 0.9, 1.1)
"""Where across a core it is looked, widths of it: on its line, and beside it."""
_FLANK = (0.2, 1.6)
"""How far before and behind the copper its insulation is looked for, widths of it."""
_ROOM = 0.7
"""So much of a core must be seen on either side, widths of it."""
_LEAST, _AGAINST = 0.12, 0.5
"""Copper is looked at where it is so likely, and so likely against the core's colour."""
SOME_FLANK, PLAIN_FLANK, SOME_BESIDE = 0.5, 0.7, 0.35
"""Least mean probability of insulation on both sides, for a piece to be told of and to be plain, and most of copper beside it."""
SOME_JOINT, SOME_LOOK, PLAIN = 0.2, 0.3, 0.5
"""Least probability of copper on the line in the joined map and in a look's own, for a piece to be told of, and for one to be plain."""

COPPER_FROM, ELSEWHERE, BOTH = 0.3, 1.0, 2.0
"""Copper this likely that hangs together with a plain piece goes no farther from it than so many widths: a bare conductor that lies along
a core shows on its line here and there, and goes on. Where the next core is bare as well it goes farther, but not as far as a bare
conductor that crosses."""


@dataclass(frozen=True)
class BarePiece:
    """A stretch of a core that shows copper between its insulation.

    Parameters
    ----------
    colour : Material
        Of the core.
    path : (n, 2) float64
        Along the copper, px of the analysis picture.
    width : float
        Of the picture's cores, px of it.
    copper : float
        Greatest probability of copper on its line, 0 to 1.
    plain : bool
        Whether the joined map shows it plainly.
    """

    colour: Material
    path: F64
    width: float
    copper: float
    plain: bool


def bare_pieces(joint: MaterialMap, *looks: MaterialMap) -> tuple[BarePiece, ...]:
    """Bare pieces along cores, each told once.

    Parameters
    ----------
    joint : MaterialMap
        What both looks show together; it alone shows a piece plainly.
    looks : MaterialMap
        Maps of single looks.

    Returns
    -------
    tuple of BarePiece
        Plain ones first, then the likeliest.
    """
    found = list(_pieces(joint, SOME_JOINT, plainly=True))
    for look in looks:
        found += _pieces(look, SOME_LOOK, plainly=False)
    told: list[BarePiece] = []
    for piece in sorted(found, key=lambda p: (not p.plain, -p.copper)):
        if not any(_is_one(piece, other) for other in told):
            told.append(piece)
    return tuple(told)


def _is_one(one: BarePiece, other: BarePiece) -> bool:
    """Whether two pieces are one: of two colours only where they lie on one line, as the next core may be bare beside it."""
    apart = float(np.hypot(*(one.path[:, None] - other.path[None]).transpose(2, 0, 1)).min())
    return apart <= one.width * (1.0 if one.colour is other.colour else 0.5)


def _pieces(materials: MaterialMap, least: float, *, plainly: bool) -> Iterator[BarePiece]:
    prob, step = materials.prob, materials.step
    width = _usual_width(prob)
    if not width:
        return
    copper = np.ascontiguousarray(prob[..., Material.COPPER])
    fitting = prob[..., [Material.TERMINAL, Material.STEEL, Material.BRASS]].sum(-1)
    for colour in CORES:
        own = np.ascontiguousarray(prob[..., colour])
        both = np.minimum(own + copper, 1)
        for b in branches(material_mask(both, 0.38, 0.6, 20)):
            if b.length < 2 * _ROOM * width:
                continue
            for run, level, flank, beside, near in _runs(b.path, own, copper, fitting, width):
                if level < least or flank < SOME_FLANK:
                    continue
                alone = beside < SOME_BESIDE
                reach = _reach(copper, run) / width
                if not alone and (flank < PLAIN_FLANK or reach > BOTH):
                    continue
                plain = plainly and alone and level >= PLAIN and flank >= PLAIN_FLANK
                plain = plain and near < SOME_BESIDE and reach <= ELSEWHERE
                # A piece of green-and-yellow is sleeve as often as insulation.
                plain = plain and colour is not Material.GREEN_YELLOW
                yield BarePiece(colour, (run + 0.5) * step - 0.5, width * step, level, plain)


def _runs(
    path: F64, own: F32, copper: F32, fitting: F32, width: float
) -> Iterator[tuple[F64, float, float, float, float]]:
    """Stretches of copper on a line: their paths, how likely copper is, insulation on the worse side, and copper and
    fittings beside them."""
    bare, insulated = (_across(p, path, width, _ON).mean(-1) for p in (copper, own))
    sides = [_across(p, path, width, _BESIDE) for p in (copper, fitting)]
    beside, near = (np.maximum(s[:, :2].mean(1), s[:, 2:].mean(1)) for s in sides)
    s = np.r_[0.0, np.cumsum(np.hypot(*np.diff(path, axis=0).T))]
    there = bare > np.maximum(_AGAINST * insulated, _LEAST)
    edges = np.flatnonzero(np.diff(np.r_[False, there, False].astype(np.int8)))
    for first, past in edges.reshape(-1, 2):
        start, stop = s[first], s[past - 1]
        if start <= _ROOM * width or s[-1] - stop <= _ROOM * width:
            continue
        lo, hi = (d * width for d in _FLANK)
        before = insulated[(s >= start - hi) & (s <= start - lo)]
        behind = insulated[(s >= stop + lo) & (s <= stop + hi)]
        if not len(before) or not len(behind):
            continue
        flank = min(float(before.mean()), float(behind.mean()))
        here = slice(int(first), int(past))
        level = float(bare[here].max())
        yield path[here], level, flank, float(beside[here].mean()), float(near[here].mean())


def _reach(copper: F32, run: F64) -> float:
    """How far copper that hangs together with a run goes from it, px of the map."""
    _, part = cv2.connectedComponents((copper > COPPER_FROM).astype(np.uint8), connectivity=8)
    h, w = part.shape
    x, y = (np.clip(np.rint(v).astype(int), 0, m - 1) for v, m in zip(run.T, (w, h), strict=True))
    mine = np.setdiff1d(part[y, x], [0])
    at = np.argwhere(np.isin(part, mine))[:, ::-1]
    if not len(at):
        return 0.0
    return float(cKDTree(run).query(at)[0].max())


def _across(plane: F32, path: F64, width: float, at: tuple[float, ...]) -> F64:
    """Values of a plane at offsets from a line, widths of a core, (n, len(at))."""
    points = band_points(path, np.asarray(at) * width)
    return sample(plane, points.reshape(-1, 2)).reshape(points.shape[:-1])


def _usual_width(prob: F32) -> float:
    """Usual width of the cores that are long enough to be plainly cores, px of the map; 0 without any."""
    widths: list[NDArray[np.float64]] = []
    for colour in CORES:
        mask = material_mask(np.ascontiguousarray(prob[..., colour]), 0.38, 0.6, 20)
        widths += [b.width for b in branches(mask) if b.length > 4 * float(np.median(b.width))]
    return float(np.median(np.concatenate(widths))) if widths else 0.0
