"""Bare copper put to the core it belongs to, and copper that belongs to none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from audit.sight.cables import OrientedCore
from audit.sight.skeleton import end_direction
from audit.sight.tips import METAL, Ahead, look_ahead
from audit.sight.types import Material, MaterialMap, Strand, Strands, Tip


def claim_coppers(
    materials: MaterialMap, strands: Strands, cores: list[OrientedCore]
) -> tuple[list[OrientedCore], set[int]]:
    """Let each core's inner end take the copper strand that starts at it.

    Parameters
    ----------
    materials : MaterialMap
    strands : Strands
    cores : list of OrientedCore

    Returns
    -------
    cores : list of OrientedCore
        With the copper's own centre line where it is longer than what was
        found by following the core's direction.
    claimed : set of int
        Indices of the copper strands that belong to a core.
    """
    claimed: set[int] = set()
    best: dict[int, tuple[float, int, bool]] = {}
    for i, s in enumerate(strands.coppers):
        options = []
        for j, c in enumerate(cores):
            options += [(_apart(c, s, at_start), j, at_start) for at_start in (True, False)]
            if len(c.inner.copper_path) > 1:
                mid = s.path[len(s.path) // 2]
                near = float(np.hypot(*(c.inner.copper_path - mid).T).min())
                if near < 0.5 * c.width:
                    claimed.add(i)
        if not options:
            continue
        d, j, at_start = min(options)
        if d < 1.0 and (j not in best or s.length > strands.coppers[best[j][1]].length):
            best[j] = (d, i, at_start)
            claimed.add(i)
    out = list(cores)
    for j, (_, i, at_start) in best.items():
        out[j] = _with_copper(materials, cores[j], strands.coppers[i], at_start)
    return out, claimed


NEAR, AHEAD = 1.1, 2.4
"""Copper starts at a core's end within so many of its widths; farther where it lies straight ahead."""


def _apart(core: OrientedCore, copper: Strand, at_start: bool) -> float:
    """Distance of one end of a copper strand from a core's inner end: below 1 it may be its own."""
    p = copper.path[0] if at_start else copper.path[-1]
    step = p - core.inner.point
    d = float(np.hypot(*step)) / max(core.width, 1e-6)
    if d < NEAR:
        return d / NEAR
    along = float(step @ core.inner.direction) / (d * core.width)
    out = end_direction(copper.path, at_start, 6)
    straight = along > 0.85 and float(-(out @ core.inner.direction)) > 0.5
    return d / AHEAD if straight else d


def _with_copper(
    materials: MaterialMap, core: OrientedCore, copper: Strand, from_start: bool
) -> OrientedCore:
    path = copper.path if from_start else copper.path[::-1]
    # A stub has no centre line of its own; there the run ahead of the core is the better one.
    if copper.length < 1.5 * float(np.median(copper.width)):
        return core
    far = look_ahead(materials, copper, not from_start)
    inner = replace(
        core.inner,
        copper_path=path,
        copper_px=copper.length,
        copper_level=max(core.inner.copper_level, copper.score),
        after=far.after,
        around=far.around,
        border=min(core.inner.border, far.border),
    )
    return replace(core, inner=inner)


def loose_copper(
    materials: MaterialMap, strands: Strands, taken: set[int], core_width: float
) -> list[Tip]:
    """Copper that no core was found for: not passed over in silence.

    Parameters
    ----------
    materials : MaterialMap
    strands : Strands
    taken : set of int
        Copper strands that are accounted for.
    core_width : float
        Usual width of the cores, px; copper wider than a core is none.
    """
    out = []
    for i, s in enumerate(strands.coppers):
        width = float(np.median(s.width))
        if i in taken or s.score < 0.5 or width > 1.1 * core_width:
            continue
        if s.length < 0.3 * core_width:
            continue
        ends: list[Ahead] = [look_ahead(materials, s, k) for k in (True, False)]
        met = [e.share(Material.TERMINAL, *METAL) for e in ends]
        path = s.path if met[1] >= met[0] else s.path[::-1]
        out.append(
            Tip(
                core=-1,
                copper=i,
                cable=None,
                colour="unknown",
                path=path[:1],
                width=max(width, 0.5 * core_width),
                copper_path=path,
                copper_px=s.length,
                copper_sd=1.2 * materials.step,
                ends_at="terminal" if max(met) > 0.4 else "hidden",
                mouth_seen=False,
                doubt="no core was found that this copper belongs to",
                confidence=s.score,
            )
        )
    return out
