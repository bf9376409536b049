"""Join pieces of centre line that are one core: across crossings, highlights, and the grip.

Each end may be joined to one other end. All joins of a picture are chosen
together, as the matching of least total cost, where a join costs its bending
and its gap; the idea that strands cross with least bending energy is from
mBEST (Choi et al., 2023).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import networkx as nx
import numpy as np

from audit.sight.skeleton import Branch, end_direction, resample
from audit.sight.types import F64

GapCost = Callable[[F64, float], float | None]
"""Cost of bridging the gap along a polyline (n, 2), given the strand's width; None forbids it."""


@dataclass(frozen=True)
class JoinLimits:
    """What may be joined at all, in multiples of the strand's width."""

    gap: float = 6.0
    turn_deg: float = 50.0
    width_ratio: float = 1.9


@dataclass(frozen=True)
class Piece:
    """One end of a branch: where it is, which way it points out, how wide."""

    branch: int
    at_start: bool
    point: F64
    out: F64
    width: float


def bridge(p: F64, u: F64, q: F64, v: F64) -> F64:
    """Hermite curve from p leaving along u to q arriving against v (v points out of q's piece)."""
    gap = float(np.hypot(*(q - p)))
    t = np.linspace(0, 1, max(3, int(gap) + 2))[:, None]
    a, b = u * gap, -v * gap
    return np.asarray(
        (2 * t**3 - 3 * t**2 + 1) * p
        + (t**3 - 2 * t**2 + t) * a
        + (-2 * t**3 + 3 * t**2) * q
        + (t**3 - t**2) * b
    )


def pieces_ends(branches: list[Branch]) -> list[Piece]:
    """Both ends of every branch, start before end."""
    ends = []
    for i, b in enumerate(branches):
        w = float(np.median(b.width))
        for at_start in (True, False):
            point = b.path[0] if at_start else b.path[-1]
            ends.append(Piece(i, at_start, point, end_direction(b.path, at_start, 2.0 * w), w))
    return ends


def _cost(a: Piece, b: Piece, limits: JoinLimits, gap_cost: GapCost) -> float | None:
    width = max(min(a.width, b.width), 1.0)
    if max(a.width, b.width) > limits.width_ratio * width:
        return None
    step = b.point - a.point
    gap = float(np.hypot(*step))
    if gap > limits.gap * width:
        return None
    u = step / gap if gap > 0.75 * width else a.out
    turn_a = float(np.degrees(np.arccos(np.clip(a.out @ u, -1, 1))))
    turn_b = float(np.degrees(np.arccos(np.clip(-(b.out @ u), -1, 1))))
    straight = float(np.degrees(np.arccos(np.clip(-(a.out @ b.out), -1, 1))))
    if max(turn_a, turn_b) > limits.turn_deg or straight > 1.4 * limits.turn_deg:
        return None
    extra = gap_cost(bridge(a.point, a.out, b.point, b.out), width)
    if extra is None:
        return None
    bend = (turn_a**2 + turn_b**2 + straight**2) / limits.turn_deg**2
    return bend + 0.35 * gap / width + extra


def join(branches: list[Branch], limits: JoinLimits, gap_cost: GapCost) -> list[Branch]:
    """Join branches into strands.

    Parameters
    ----------
    branches : list of Branch
    limits : JoinLimits
    gap_cost : callable
        What the picture says about the gap.

    Returns
    -------
    list of Branch
        Joined ones have the bridge in their path, with interpolated width.
    """
    ends = pieces_ends(branches)
    graph = nx.Graph()
    graph.add_nodes_from(range(len(ends)))
    points = np.array([e.point for e in ends]).reshape(-1, 2)
    ceiling = 8.0
    for i, a in enumerate(ends):
        near = np.hypot(*(points - a.point).T) <= limits.gap * a.width * limits.width_ratio
        for j in np.flatnonzero(near):
            if j <= i or ends[j].branch == a.branch:
                continue
            cost = _cost(a, ends[j], limits, gap_cost)
            if cost is not None and cost < ceiling:
                graph.add_edge(i, int(j), weight=ceiling - cost)
    chosen = nx.max_weight_matching(graph)
    partner = {i: j for pair in chosen for i, j in (pair, pair[::-1])}
    return assemble(branches, ends, partner)


def assemble(branches: list[Branch], ends: list[Piece], partner: dict[int, int]) -> list[Branch]:
    """Follow the joins from each free end; a closed loop is cut open at its first piece."""
    done: set[int] = set()
    out = []
    starts = [i for i in range(len(ends)) if i not in partner] + list(range(len(ends)))
    for start in starts:
        if ends[start].branch in done:
            continue
        paths: list[F64] = []
        widths: list[F64] = []
        here: int | None = start
        while here is not None and ends[here].branch not in done:
            end = ends[here]
            done.add(end.branch)
            b = branches[end.branch]
            paths.append(b.path if end.at_start else b.path[::-1])
            widths.append(b.width if end.at_start else b.width[::-1])
            far = here + 1 if end.at_start else here - 1
            nxt = partner.get(far)
            if nxt is not None and ends[nxt].branch not in done:
                link = bridge(ends[far].point, ends[far].out, ends[nxt].point, ends[nxt].out)[1:-1]
                paths.append(link)
                widths.append(np.linspace(ends[far].width, ends[nxt].width, len(link)))
            here = nxt
        path, width = np.concatenate(paths), np.concatenate(widths)
        s = np.r_[0, np.cumsum(np.hypot(*np.diff(path, axis=0).T))]
        even = resample(path)
        t = np.linspace(0, s[-1], len(even))
        out.append(Branch(even, np.interp(t, s, width)))
    return out
