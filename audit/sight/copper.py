"""Bare copper put to the core it belongs to, and copper that belongs to none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from audit.sight.cables import OrientedCore
from audit.sight.skeleton import end_direction
from audit.sight.tips import METAL, Ahead, look_ahead
from audit.sight.types import F64, Material, MaterialMap, Strand, Strands, Tip


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
    bare = long_coppers(strands, usual_width(cores))
    cores = [_without(c, strands, bare) for c in cores]
    for i, s in enumerate(strands.coppers):
        if i in bare:
            continue
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
    return _with_remainders(materials, strands, out, claimed, bare)


ACROSS = 1.0
"""Copper longer than so many widths of a core has a direction of its own."""
ONWARD = 0.4
"""Least cosine between that direction and the core's of what is the core's own copper."""
STRAIGHT = 0.7
"""The same where the copper starts farther off."""
BESIDE = 1.2
"""Copper within so many widths of the copper that a core's end has already is more of the same."""


def _with_remainders(
    materials: MaterialMap,
    strands: Strands,
    cores: list[OrientedCore],
    claimed: set[int],
    bare: set[int],
) -> tuple[list[OrientedCore], set[int]]:
    """Copper that goes on from a core's copper after a gap or a bend is no copper of its own."""
    out, claimed = list(cores), set(claimed)
    for i, s in enumerate(strands.coppers):
        if i in claimed or i in bare:
            continue
        options = []
        for j, c in enumerate(out):
            for path in (s.path, s.path[::-1]):
                d = np.hypot(*(c.inner.copper_path - path[0]).T) / max(c.width, 1e-6)
                # What runs back beside the core is another conductor; what runs across, another core's.
                onward = float((path[-1] - path[0]) @ c.inner.direction) / max(s.length, 1e-6)
                if onward < (-0.3 if s.length < ACROSS * c.width else ONWARD):
                    continue
                step = path[0] - c.inner.copper_path[int(d.argmin())]
                if _aside(step, c.inner.direction) > ASIDE * c.width:
                    continue
                options.append((float(d.min()), j, int(d.argmin()), path))
        d, j, k, path = min(options, key=lambda o: o[0], default=(np.inf, 0, 0, s.path))
        if d >= BESIDE:
            continue
        claimed.add(i)
        way = np.concatenate([out[j].inner.copper_path[: k + 1], path])
        length = float(np.hypot(*np.diff(way, axis=0).T).sum())
        if length > out[j].inner.copper_px:
            at_start = bool(np.allclose(path[-1], s.path[0]))
            out[j] = _going_on(materials, out[j], s, way, length, at_start)
    return out, claimed


def _going_on(
    materials: MaterialMap,
    core: OrientedCore,
    copper: Strand,
    way: F64,
    length: float,
    at_start: bool,
) -> OrientedCore:
    """The core with `way` as its copper, which ends where the copper strand does."""
    far = look_ahead(materials, copper, at_start)
    inner = replace(
        core.inner,
        copper_path=way,
        copper_px=length,
        copper_level=max(core.inner.copper_level, copper.score),
        after=far.after,
        around=far.around,
        border=min(core.inner.border, far.border),
    )
    return replace(core, inner=inner)


LONGEST_END = 5.0
"""Copper longer than so many widths of a core is no stripped end but a conductor without insulation
(a terminal takes 5 to 14 mm: common practice, no source)."""


def usual_width(cores: Sequence[OrientedCore]) -> float:
    """Usual width of the insulated cores, px, by those that are long enough to be plainly cores; 0 without any."""
    long = [c for c in cores if c.strand.length > 4 * c.width] or cores
    return float(np.median([c.width for c in long])) if long else 0.0


def long_coppers(strands: Strands, core_width: float) -> set[int]:
    """Indices of the copper strands that are conductors of their own: a CPC without its sleeving.

    Parameters
    ----------
    strands : Strands
    core_width : float
        Usual width of the insulated cores, px; 0 when there is none.
    """
    out = set()
    for i, s in enumerate(strands.coppers):
        w = float(np.median(s.width))
        thin = not core_width or w <= 1.1 * core_width
        if thin and s.score >= 0.5 and s.length >= max(5 * w, LONGEST_END * core_width):
            out.add(i)
    return out


def _without(core: OrientedCore, strands: Strands, bare: set[int]) -> OrientedCore:
    """The core without the copper that it took over from a bare conductor passing its end."""
    path = core.inner.copper_path
    if len(path) < 2 or not bare:
        return core
    along = np.concatenate([strands.coppers[i].path for i in bare])
    away = np.hypot(*(path[:, None] - along[None]).transpose(2, 0, 1)).min(1)
    if float((away < 0.75 * core.width).mean()) < 0.5:
        return core
    inner = replace(core.inner, copper_path=core.inner.point[None], copper_px=0.0, copper_level=0.0)
    return replace(core, inner=inner)


NEAR, AHEAD = 1.1, 2.4
"""Copper starts at a core's end within so many of its widths; farther where it lies straight ahead."""


ASIDE = 0.7
"""Copper that starts farther beside a core's line than so many of its widths is another conductor's."""


def _aside(step: F64, direction: F64) -> float:
    """How far a step goes to the side of a direction, px."""
    return abs(float(step[0] * direction[1] - step[1] * direction[0]))


def _apart(core: OrientedCore, copper: Strand, at_start: bool) -> float:
    """Distance of one end of a copper strand from a core's inner end: below 1 it may be its own."""
    p = copper.path[0] if at_start else copper.path[-1]
    step = p - core.inner.point
    d = float(np.hypot(*step)) / max(core.width, 1e-6)
    if _aside(step, core.inner.direction) > ASIDE * core.width:
        return np.inf
    out = end_direction(copper.path, at_start, 6)
    onward = float(-(out @ core.inner.direction))
    other = copper.path[-1] if at_start else copper.path[0]
    whole = float((other - p) @ core.inner.direction) / max(copper.length, 1e-6)
    long = copper.length > ACROSS * core.width
    if d < NEAR:
        # A bare conductor that passes beside a core's end does not run on from it.
        crosses = long and (onward < 0.2 or whole < ONWARD)
        return d / NEAR if not crosses else np.inf
    along = float(step @ core.inner.direction) / (d * core.width)
    straight = along > 0.85 and onward > 0.5 and (not long or whole > STRAIGHT)
    return d / AHEAD if straight else d


def _with_copper(
    materials: MaterialMap, core: OrientedCore, copper: Strand, from_start: bool
) -> OrientedCore:
    path = copper.path if from_start else copper.path[::-1]
    # A stub has no centre line of its own; there the run ahead of the core is the better one.
    if copper.length < 1.5 * float(np.median(copper.width)):
        return core
    return _going_on(materials, core, copper, path, copper.length, not from_start)


def _unsaid(copper: Strand, tips: Sequence[Tip]) -> float:
    """Share of a copper strand that is no end's copper and no bare conductor that is told of."""
    away = np.full(len(copper.path), np.inf)
    for t in tips:
        if t.copper_px <= 0 and t.colour != "bare":
            continue
        path = np.concatenate([t.path, t.copper_path]) if t.colour == "bare" else t.copper_path
        near = np.hypot(*(copper.path[:, None] - path[None]).transpose(2, 0, 1)).min(1)
        away = np.minimum(away, near / max(t.width, 1e-6))
    return float((away > SAID).mean())


SAID = 0.5
"""Copper farther than so many widths from all copper that is told of has not been told of."""
FAINT, WIDEST, SHORTEST = 0.35, 1.6, 0.3
"""Least score of copper that no core is found for, and its most width and least length, widths of a core."""


def loose_copper(
    materials: MaterialMap, strands: Strands, tips: Sequence[Tip], core_width: float
) -> list[Tip]:
    """Copper that no core was found for: not passed over in silence.

    Parameters
    ----------
    materials : MaterialMap
    strands : Strands
    tips : sequence of Tip
        The ends that are told of.
    core_width : float
        Usual width of the cores, px; copper far wider than a core is none.
    """
    out = []
    for i, s in enumerate(strands.copper_pieces):
        width = float(np.median(s.width))
        if s.score < FAINT or width > WIDEST * core_width or s.length < SHORTEST * core_width:
            continue
        if _unsaid(s, tips) < 0.5:
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
