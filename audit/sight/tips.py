"""What lies beyond the end of a core: copper, a terminal, a grip, nothing.

The end is followed step by step in the direction the core points, and while
copper is met the step is pulled to the middle of the copper, so that a bent
end is followed too.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from audit.sight.profile import sample_prob
from audit.sight.skeleton import end_direction
from audit.sight.types import CORES, F64, Material, MaterialMap, Strand

METAL = (Material.STEEL, Material.BRASS)
_CORE_IDS = [int(m) for m in CORES]


@dataclass(frozen=True)
class Ahead:
    """What one end of a strand runs into.

    Parameters
    ----------
    point, direction : (2,) float64
        The end, and the unit vector out of it.
    copper_path : (n, 2) float64
        Middle of the bare copper beyond the insulation; one point when none.
    copper_px, copper_sd : float
        Its length and standard uncertainty, px of the analysis picture.
    copper_level : float
        Highest copper probability met.
    after : (15,) float64
        Mean material probabilities over the next width beyond the copper.
    around : (15,) float64
        Highest mean probabilities in the half disc ahead.
    border : float
        Distance from the end to the picture's border, px.
    """

    point: F64
    direction: F64
    copper_path: F64
    copper_px: float
    copper_sd: float
    copper_level: float
    after: F64
    around: F64
    border: float

    def share(self, *materials: Material) -> float:
        """Share of some materials just beyond the end."""
        return float(self.after[[int(m) for m in materials]].sum())


def _disc(radius: float, n: int = 9) -> F64:
    a = np.linspace(0, 2 * np.pi, n - 1, endpoint=False)
    ring = np.stack([np.cos(a), np.sin(a)], -1) * radius
    return np.concatenate([np.zeros((1, 2)), ring])


def _follow_copper(
    materials: MaterialMap, point: F64, direction: F64, width: float, reach: float
) -> tuple[F64, F64]:
    """Points along the copper ahead of an end, and copper's probability at each."""
    step = materials.step / 2
    offsets = np.linspace(-0.9, 0.9, 13) * width
    at, d = point - direction * 0.6 * width, direction
    path, level = [], []
    gap = 0.0
    for _ in range(int((reach + 0.6 * width) / step)):
        n = np.array([-d[1], d[0]])
        p = sample_prob(materials, at + offsets[:, None] * n)[:, Material.COPPER]
        weight = p * np.exp(-((offsets / (0.6 * width)) ** 2))
        core = float(np.sort(p)[-4:].mean())
        path.append(at)
        level.append(core)
        travelled = len(path) * step - 0.6 * width
        gap = 0.0 if core > 0.3 else gap + step
        if travelled > 0 and gap > 0.8 * width:
            break
        if core > 0.3:
            shift = float((weight * offsets).sum() / max(weight.sum(), 1e-6))
            # A stub no longer than it is wide has no bend; pulling there would circle in it.
            pull = 0.25 * min(1.0, max(travelled / width - 0.5, 0.0))
            turned = d + n * np.clip(pull * shift / width, -0.15, 0.15)
            turned = turned / np.hypot(*turned)
            if turned @ direction > 0.35:
                d = turned
        at = at + d * step
    return np.asarray(path), np.asarray(level)


def _copper_run(
    materials: MaterialMap, point: F64, direction: F64, width: float
) -> tuple[F64, float, float, float]:
    """Middle line, length, standard uncertainty and level of the copper beyond an end."""
    path, level = _follow_copper(materials, point, direction, width, 14 * width)
    step = materials.step / 2
    inside = level > 0.42
    first = int(0.6 * width / step)
    begin = np.flatnonzero(inside[: first + int(1.0 * width / step) + 1])
    none = (point[None], 0.0, 0.7 * materials.step, float(level.max(initial=0)))
    if len(begin) == 0:
        return none
    # The run must reach past the insulation's end: copper-like pixels within
    # a reddish brown core are no copper.
    i = int(begin[-1]) if begin[-1] >= first else int(begin[0])
    a = b = i
    while a > 0 and inside[a - 1]:
        a -= 1
    while b + 1 < len(inside) and (inside[b + 1] or inside[b + 2 : b + 5].any()):
        b += 1
    if b < first - 0.2 * width / step:
        return none
    a = max(a, first - int(0.35 * width / step))
    # Following sways from side to side on a wide end: the way there is no longer than its chord
    # by more than a bend adds.
    length = min((b - a) * step, 1.12 * float(np.hypot(*(path[b] - path[a]))))
    sd = 0.6 * materials.step * float(np.sqrt(2.0))
    return path[a : b + 1], float(length), sd, float(level[a : b + 1].max())


def look_ahead(materials: MaterialMap, strand: Strand, at_start: bool) -> Ahead:
    """What one end of a core runs into.

    Parameters
    ----------
    materials : MaterialMap
    strand : Strand
    at_start : bool
        Which end.

    Returns
    -------
    Ahead
    """
    width = float(np.median(strand.width))
    # Paths are spaced by one map pixel, so a reach in px is divided by the step.
    d = end_direction(strand.path, at_start, 1.8 * width / materials.step)
    p = strand.path[0] if at_start else strand.path[-1]
    copper, length, sd, level = _copper_run(materials, p, d, width)
    far = copper[-1]
    if len(copper) > 3:
        back = copper[max(0, len(copper) - 8)]
        v = far - back
        d2 = v / max(float(np.hypot(*v)), 1e-9)
    else:
        d2 = d
    ahead = far + d2 * np.linspace(0.35, 1.3, 6)[:, None] * width
    after = sample_prob(materials, (ahead[:, None] + _disc(0.3 * width)[None])).mean((0, 1))
    ring = far + _half_disc(d2) * 1.1 * width
    around = sample_prob(materials, ring[:, None] + _disc(0.25 * width)[None]).mean(1).max(0)
    h, w = materials.prob.shape[:2]
    size = np.array([w, h]) * materials.step
    border = float(min(p.min(), (size - 1 - p).min()))
    return Ahead(p, d, copper, length, sd, level, after, around, border)


def _half_disc(d: F64) -> F64:
    base = np.arctan2(d[1], d[0])
    a = base + np.radians(np.linspace(-75, 75, 11))
    return np.stack([np.cos(a), np.sin(a)], -1)


def innerness(ahead: Ahead, width: float) -> float:
    """How much an end looks like the inner one (at a terminal): about -1 to 1."""
    inner = ahead.share(Material.TERMINAL, *METAL) + 0.5 * ahead.around[Material.TERMINAL]
    outer = ahead.share(Material.SHEATH, Material.GRIP) + 0.6 * max(
        ahead.around[Material.SHEATH], ahead.around[Material.GRIP]
    )
    copper = 0.6 if ahead.copper_px > 0.25 * width else 0.0
    return float(inner + copper - outer)
