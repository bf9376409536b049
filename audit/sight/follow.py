"""Follow a sheath on from where its mask ends: through wall and grip to where it really stops.

The stub of sheath between a grip and the cores is as wide as it is long, so its
mask has no centre line worth the name. The long piece outside has one, and a
cable goes on the way it came: it is walked on step by step, over what hides it,
and pulled to the middle of the sheath wherever sheath is seen again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import map_coordinates

from audit.sight.skeleton import Branch, end_direction, resample
from audit.sight.types import CORES, F64, Material, MaterialMap

_CORES = [int(m) for m in (*CORES, Material.COPPER)]
_HIDERS = [
    int(m)
    for m in (
        Material.GRIP,
        Material.ENCLOSURE,
        Material.TERMINAL,
        Material.STEEL,
        Material.BRASS,
    )
]


@dataclass(frozen=True)
class FollowLimits:
    """How far a sheath is followed, in multiples of its width."""

    hidden: float = 3.2
    open: float = 0.6
    cores: float = 0.35
    lead: float = 1.3
    """Least length of a piece that is followed: a shorter one has no direction of its own."""


class _Map:
    """Planes of the map that the walk asks for."""

    def __init__(self, materials: MaterialMap) -> None:
        prob = materials.prob
        self.planes = [
            np.ascontiguousarray(prob[..., Material.SHEATH]),
            np.ascontiguousarray(prob[..., _CORES].sum(-1)),
            np.ascontiguousarray(prob[..., _HIDERS].sum(-1)),
        ]
        self.shape = prob.shape[:2]

    def section(self, p: F64, n: F64, offsets: F64) -> F64:
        """Sheath, core and hider probabilities across the path, (3, k)."""
        at = p[None] + offsets[:, None] * n[None]
        return np.stack(
            [
                map_coordinates(plane, [at[:, 1], at[:, 0]], order=1, mode="constant")
                for plane in self.planes
            ]
        )

    def outside(self, p: F64) -> bool:
        h, w = self.shape
        return not (1 <= p[0] < w - 1 and 1 <= p[1] < h - 1)


def _walk_on(planes: _Map, p: F64, d: F64, width: float, limits: FollowLimits) -> F64:
    """Points beyond the end `p` as far as sheath is seen again; empty when it is not."""
    offsets = np.linspace(-0.62, 0.62, 17) * width
    inner = np.abs(offsets) < 0.4 * width
    out: list[F64] = []
    last = 0
    unseen = {"hidden": 0.0, "open": 0.0, "cores": 0.0}
    for _ in range(int(12 * width)):
        p = p + d
        if planes.outside(p):
            break
        n = np.array([-d[1], d[0]])
        sheath, cores, hiders = planes.section(p, n, offsets)
        out.append(p)
        seen = float(sheath[inner].mean())
        if seen > 0.5:
            last = len(out)
            unseen = dict.fromkeys(unseen, 0.0)
            shift = float((sheath * offsets).sum() / max(float(sheath.sum()), 1e-6))
            turned = d + n * float(np.clip(0.12 * shift / width, -0.04, 0.04))
            d = turned / np.hypot(*turned)
            p = p + n * float(np.clip(0.1 * shift, -0.4, 0.4))
            continue
        core, hide = float(cores[inner].mean()), float(hiders[inner].mean())
        what = "cores" if core > max(hide, 0.3) else "hidden" if hide > 0.4 else "open"
        unseen[what] += 1.0
        if any(v > getattr(limits, k) * width for k, v in unseen.items()):
            break
    return np.asarray(out[:last]).reshape(-1, 2)


def _extended(planes: _Map, piece: Branch, limits: FollowLimits) -> Branch:
    for at_start in (True, False):
        width = float(np.median(piece.width))
        d = end_direction(piece.path, at_start, 1.2 * width)
        if not d.any():
            continue
        p = piece.path[0] if at_start else piece.path[-1]
        # The last half width of a mask's centre line is carried on, not seen: start before it.
        more = _walk_on(planes, p, d, width, limits)
        if len(more) < 2:
            continue
        path = np.concatenate([more[::-1], piece.path] if at_start else [piece.path, more])
        wide = np.full(len(more), width)
        widths = np.concatenate([wide, piece.width] if at_start else [piece.width, wide])
        even = resample(path)
        t, u = np.linspace(0, 1, len(path)), np.linspace(0, 1, len(even))
        piece = Branch(even, np.interp(u, t, widths))
    return piece


def _swallowed(piece: Branch, by: Branch) -> bool:
    """Whether most of a piece lies within another's width."""
    half = float(np.median(by.width)) / 2
    near = [float(np.hypot(*(by.path - q).T).min()) < 0.8 * half for q in piece.path[::2]]
    return float(np.mean(near)) > 0.6


def follow_sheaths(
    materials: MaterialMap, pieces: list[Branch], limits: FollowLimits | None = None
) -> list[Branch]:
    """Carry on each long piece of sheath through what hides it; drop the stubs met on the way.

    Parameters
    ----------
    materials : MaterialMap
    pieces : list of Branch
        Centre lines of sheath, px of the map.
    limits : FollowLimits, optional

    Returns
    -------
    list of Branch
        Longest first.
    """
    limits = limits or FollowLimits()
    planes = _Map(materials)
    order = sorted(pieces, key=lambda b: -b.length)
    out: list[Branch] = []
    for piece in order:
        if any(_swallowed(piece, kept) for kept in out):
            continue
        if piece.length >= limits.lead * float(np.median(piece.width)):
            piece = _extended(planes, piece, limits)
        out.append(piece)
    return out
