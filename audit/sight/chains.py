"""Chain pieces of one core that pass under other things at an angle.

`joining.join` ties pieces that go on nearly straight. Where a core dives under
another one the thinned mask bends at the crossing, so the directions of the
two ends tell little there; what tells is that each end runs into another core
and that an end of the same colour lies just beyond. An end that is taken for
its core's end is reported, so a piece that only passes under must not be one.
"""

from __future__ import annotations

import networkx as nx
import numpy as np

from audit.sight.joining import Piece, assemble, pieces_ends
from audit.sight.profile import sample_prob
from audit.sight.skeleton import Branch
from audit.sight.tips import METAL, Ahead, look_ahead
from audit.sight.types import CORES, F64, Material, MaterialMap, Strand, Strands, Tip

NEAR, FAR = 2.5, 5.0
"""Gaps in core widths: up to NEAR the directions hardly count, beyond FAR nothing is chained."""
WIDE_TURN, TURN = 120.0, 75.0
"""Most turn at either end, degrees, of a near and of a farther gap."""
_CEILING = 8.0
_OPEN = [int(m) for m in (Material.OTHER, Material.ENCLOSURE, Material.CARD)]


def dives(ahead: Ahead, width: float) -> bool:
    """Whether an end runs under another core: no terminal, sheath, grip, border or copper at it."""
    crossed = max(float(ahead.around[int(m)]) for m in (*CORES, Material.COPPER))
    return (
        ahead.share(Material.TERMINAL, *METAL) < 0.25
        and ahead.around[Material.TERMINAL] < 0.5
        and ahead.share(Material.SHEATH, Material.GRIP) < 0.4
        and ahead.copper_px < 0.25 * width
        and ahead.border > 1.2 * width
        and crossed > 0.35
    )


def _open_share(materials: MaterialMap, a: F64, b: F64) -> float:
    t = np.linspace(0, 1, 11)[:, None]
    p = sample_prob(materials, a * (1 - t) + b * t)
    return float(p[:, _OPEN].sum(-1).mean())


def _turns(a: Piece, b: Piece) -> tuple[float, float, float]:
    """Gap in widths, and the turn at each end, degrees."""
    step = b.point - a.point
    gap = float(np.hypot(*step))
    u = step / max(gap, 1e-9)
    turns = (float(np.degrees(np.arccos(np.clip(v, -1, 1)))) for v in (a.out @ u, -(b.out @ u)))
    first, second = turns
    return gap / max(min(a.width, b.width), 1e-6), first, second


def _cost(materials: MaterialMap, a: Piece, b: Piece) -> float | None:
    if max(a.width, b.width) > 2.6 * min(a.width, b.width):
        return None
    gap, first, second = _turns(a, b)
    if gap > FAR or max(first, second) > (WIDE_TURN if gap < NEAR else TURN):
        return None
    k = materials.step
    if gap > 1.0 and _open_share(materials, (a.point + 0.5) * k, (b.point + 0.5) * k) > 0.5:
        return None
    return gap + (first**2 + second**2) / 75.0**2


def chain(materials: MaterialMap, found: list[Branch], strands: list[Strand]) -> list[Branch]:
    """Put together pieces of one colour whose ends dive under other things beside each other.

    Parameters
    ----------
    materials : MaterialMap
    found : list of Branch
        Pieces of one colour, px of the map.
    strands : list of Strand
        The same, px of the analysis picture.

    Returns
    -------
    list of Branch
    """
    ends = pieces_ends(found)
    free = []
    for e in ends:
        width = float(np.median(strands[e.branch].width))
        free.append(dives(look_ahead(materials, strands[e.branch], e.at_start), width))
    graph = nx.Graph()
    for i, a in enumerate(ends):
        for j in range(i + 1, len(ends)):
            if not (free[i] and free[j]) or ends[j].branch == a.branch:
                continue
            cost = _cost(materials, a, ends[j])
            if cost is not None and cost < _CEILING:
                graph.add_edge(i, j, weight=_CEILING - cost)
    partner = {i: j for pair in nx.max_weight_matching(graph) for i, j in (pair, pair[::-1])}
    return assemble(found, ends, partner) if partner else found


GOES_ON = 3.0
"""Within so many widths of an end that dives, another piece of its colour is the core going on."""


def goes_on(materials: MaterialMap, strands: Strands, tip: Tip) -> bool:
    """Whether an end is none: it dives under another core and a piece of its colour lies beyond.

    Parameters
    ----------
    materials : MaterialMap
    strands : Strands
    tip : Tip

    Returns
    -------
    bool
        False wherever a terminal, copper or anything else is near that an end could be at.
    """
    if tip.core < 0 or tip.ends_at != "hidden" or tip.copper_px > 0:
        return False
    own = strands.cores[tip.core]
    at_start = bool(
        np.hypot(*(own.path[0] - tip.path[-1])) < np.hypot(*(own.path[-1] - tip.path[-1]))
    )
    if not dives(look_ahead(materials, own, at_start), tip.width):
        return False
    end = tip.path[-1]
    for i, other in enumerate(strands.cores):
        if i == tip.core or other.material != own.material:
            continue
        if float(np.hypot(*(other.path - end).T).min()) < GOES_ON * tip.width:
            return True
    return False
