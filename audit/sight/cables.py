"""Cables put together: a sheath, the cores that come out of it, one axis through both."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from audit.sight.joining import bridge
from audit.sight.outward import Band, lay_band
from audit.sight.profile import sample_prob
from audit.sight.skeleton import end_direction, resample, smooth
from audit.sight.tips import Ahead, innerness, look_ahead
from audit.sight.types import F32, F64, Material, MaterialMap, Strand, Strands


@dataclass(frozen=True)
class OrientedCore:
    """A core walked from its outer end (at the sheath) to its inner end (at a terminal).

    Parameters
    ----------
    index : int
        Its place in `Strands.cores`, or in `Strands.coppers` when `bare`.
    strand : Strand
        Turned so that its path starts at the outer end.
    outer, inner : Ahead
        What each end runs into.
    bare : bool
        A conductor without insulation.
    """

    index: int
    strand: Strand
    outer: Ahead
    inner: Ahead
    bare: bool = False

    @property
    def width(self) -> float:
        """Width, px."""
        return float(np.median(self.strand.width))


@dataclass(frozen=True)
class CableGroup:
    """A sheath (or none) and its cores."""

    sheath: Strand | None
    sheath_index: int
    cores: tuple[OrientedCore, ...]
    axis: F64
    tip_at: float
    """Length along the axis at which the sheath's strand ends, px (0 when there is no sheath)."""
    width: float
    turned: bool = False
    """Whether the sheath's strand starts at its inner end."""
    lead_seen: bool = True
    """False where the cable was followed by its edges, and the map shows little of a sheath there."""


def _turn(strand: Strand) -> Strand:
    return Strand(strand.material, strand.path[::-1], strand.width[::-1], strand.score)


def orient_cores(materials: MaterialMap, strands: Strands) -> list[OrientedCore]:
    """Tell each core's outer end from its inner one."""
    out = []
    for i, s in enumerate(strands.cores):
        ends = [look_ahead(materials, s, at_start) for at_start in (True, False)]
        width = float(np.median(s.width))
        inner = [innerness(e, width) for e in ends]
        # Near a sheath strand's end counts as outer, also where the map is unsure.
        for k, e in enumerate(ends):
            inner[k] -= 0.5 * _near_sheath(e.point, strands, width)
        if inner[0] > inner[1]:
            out.append(OrientedCore(i, _turn(s), ends[1], ends[0]))
        else:
            out.append(OrientedCore(i, s, ends[0], ends[1]))
    return out


def _near_sheath(point: F64, strands: Strands, width: float) -> float:
    best = np.inf
    for s in strands.sheaths:
        for p in (s.path[0], s.path[-1]):
            best = min(best, float(np.hypot(*(p - point))) / (float(np.median(s.width)) + width))
    return float(np.exp(-(best**2)))


def _hidden_between(materials: MaterialMap, a: F64, b: F64) -> float:
    """Share of the line between two points that grip, wall or other things hide."""
    t = np.linspace(0, 1, 15)[:, None]
    p = sample_prob(materials, a * (1 - t) + b * t)
    hide = [int(m) for m in (Material.GRIP, Material.ENCLOSURE, Material.SHEATH, Material.STEEL)]
    return float(p[:, hide].sum(-1).mean())


def _attach_cost(
    materials: MaterialMap, core: OrientedCore, tip: F64, out: F64, width: float
) -> float | None:
    """How badly a core fits one end of a sheath; None when it can't belong to it.

    `out` points out of the sheath, `width` is the sheath's.
    """
    d = core.outer.point - tip
    along = float(d @ out)
    across = abs(float(d @ np.array([-out[1], out[0]])))
    turn = float(np.degrees(np.arccos(np.clip(-(core.outer.direction @ out), -1, 1))))
    hidden = _hidden_between(materials, tip, core.outer.point)
    # The map is weakest at a sheath's end, so some clear gap is let pass.
    far = 1.9 if hidden < 0.45 else 4.0
    if not -1.2 * width <= along <= far * width or turn > 110:
        return None
    if across > 0.62 * width + 0.6 * core.width + 0.35 * max(along, 0.0):
        return None
    return across / width + 0.5 * abs(along) / width + turn / 120


def _sheath_ends(strands: Strands, step: float) -> list[tuple[int, bool, F64, F64, float]]:
    ends = []
    for i, s in enumerate(strands.sheaths):
        w = float(np.median(s.width))
        # A short stub of sheath has no direction of its own beyond its length.
        reach = max(3.0, min(1.2 * w, 0.7 * s.length) / step)
        for at_start in (True, False):
            p = s.path[0] if at_start else s.path[-1]
            ends.append((i, at_start, p, end_direction(s.path, at_start, reach), w))
    return ends


def _axis_of(
    sheath: Strand | None, at_start: bool, cores: list[OrientedCore], step: float
) -> tuple[F64, float]:
    """Sheath from outside in, then the middle of the cores; and where the sheath's strand ends."""
    main = max(cores, key=lambda c: min(c.strand.length, 20 * c.width) - _off(cores, c))
    body = main.strand.path
    if sheath is None:
        return resample(body, step), 0.0
    lead = sheath.path[::-1] if at_start else sheath.path
    u = end_direction(lead, False, min(len(lead) - 1, 12))
    v = main.outer.direction
    # The core may start before the sheath's strand ends (it overlaps the edge):
    # cut the core's head so that the axis never doubles back.
    ahead = (body - lead[-1]) @ u
    first = int(np.argmax(ahead > 2.0)) if (ahead > 2.0).any() else 0
    body = body[first:]
    # A core lies beside the sheath's middle. Stepping over to it would lengthen
    # the axis, so it is shifted onto the middle and let go over two widths.
    body = _eased(body, lead[-1], u, 2.0 * float(np.median(sheath.width)))
    link = bridge(lead[-1], u, body[0], v)[1:-1]
    path = resample(np.concatenate([lead, link, body]), step)
    tip_at = float(np.hypot(*np.diff(lead, axis=0).T).sum())
    return smooth(path, 3.0), tip_at


def _eased(body: F64, tip: F64, u: F64, over: float) -> F64:
    """Shift a core sideways onto the line through `tip` along `u`, less and less over `over` px."""
    side = np.array([-u[1], u[0]])
    aside = float((tip - body[0]) @ side)
    s = np.r_[0.0, np.cumsum(np.hypot(*np.diff(body, axis=0).T))]
    t = np.clip(1.0 - s / max(over, 1e-6), 0.0, 1.0)
    ramp = t * t * (3 - 2 * t)
    return np.asarray(body + ramp[:, None] * aside * side)


def _off(cores: list[OrientedCore], core: OrientedCore) -> float:
    middle = np.mean([c.outer.point for c in cores], axis=0)
    return 4.0 * float(np.hypot(*(core.outer.point - middle)))


def group_cables(
    materials: MaterialMap, strands: Strands, cores: list[OrientedCore], light: F32 | None = None
) -> tuple[list[CableGroup], list[OrientedCore]]:
    """Put cores to sheaths.

    Parameters
    ----------
    materials : MaterialMap
    strands : Strands
    cores : list of OrientedCore
    light : (h, w) float32, optional
        Square root of luminance at the scale of the map; with it, a cable is followed
        outward where its sheath's mask is broken or gone.

    Returns
    -------
    groups : list of CableGroup
    loose : list of OrientedCore
        Cores that belong to no cable.
    """
    ends = _sheath_ends(strands, materials.step)
    members: dict[int, list[OrientedCore]] = {}
    loose = []
    for core in cores:
        costs = []
        for k, (_, _, p, out, w) in enumerate(ends):
            cost = _attach_cost(materials, core, p, out, w)
            if cost is not None:
                costs.append((cost, k))
        if costs:
            members.setdefault(min(costs)[1], []).append(core)
        else:
            loose.append(core)
    groups = []
    for i in range(len(strands.sheaths)):
        mine = [k for k, e in enumerate(ends) if e[0] == i and k in members]
        if not mine:
            continue
        # Cores at both ends of one piece of sheath: the end with more of them is the inner one.
        k = max(mine, key=lambda q: len(members[q]))
        for other in mine:
            if other != k:
                loose += members[other]
        axis, tip_at = _axis_of(strands.sheaths[i], ends[k][1], members[k], materials.step)
        width = _end_width(strands.sheaths[i], ends[k][1])
        at_start = ends[k][1]
        groups.append(
            CableGroup(strands.sheaths[i], i, tuple(members[k]), axis, tip_at, width, at_start)
        )
    bundles, loose = _sheathless(loose, materials.step)
    groups += bundles
    if light is not None:
        groups = _merged([_followed_out(materials, light, g) for g in groups], materials.step)
    return groups, loose


_SAME_OFF, _SAME_SHARE = 0.5, 0.6
"""Two groups are of one cable where so great a share of the shorter lead lies within so many widths of
the other's axis."""


def _merged(groups: list[CableGroup], step: float) -> list[CableGroup]:
    """Groups of which the cables were followed to the same place are one: a core found apart made its own."""
    out: list[CableGroup] = []
    for group in sorted(groups, key=lambda g: -len(g.cores)):
        k = next((k for k, kept in enumerate(out) if _same_cable(group, kept)), None)
        if k is None:
            out.append(group)
            continue
        kept = out[k]
        cores = (*kept.cores, *group.cores)
        assert kept.sheath is not None
        at_start = kept.turned
        axis, tip_at = _axis_of(kept.sheath, at_start, list(cores), step)
        out[k] = replace(kept, cores=cores, axis=axis, tip_at=tip_at)
    return out


def _lead(group: CableGroup) -> F64:
    s = np.r_[0.0, np.cumsum(np.hypot(*np.diff(group.axis, axis=0).T))]
    near = (s < group.tip_at) & (s > group.tip_at - 5.0 * group.width)
    return np.asarray(group.axis[near], np.float64)


def _same_cable(a: CableGroup, b: CableGroup) -> bool:
    """Whether the leads of two groups lie on each other, the same way along."""
    if a.sheath is None or b.sheath is None:
        return False
    first, second = _lead(a), _lead(b)
    if len(first) < 4 or len(second) < 4:
        return False
    if float((first[-1] - first[0]) @ (second[-1] - second[0])) <= 0:
        return False
    limit = _SAME_OFF * max(a.width, b.width)
    heads = np.stack([c.outer.point for c in a.cores])
    # Heads beside the other's axis are of a cable beside it, wherever its lead was laid.
    if np.median(np.hypot(*(heads[:, None] - b.axis[None]).transpose(2, 0, 1)).min(1)) > limit:
        return False
    gap = np.hypot(*(first[:, None] - second[None]).transpose(2, 0, 1))
    return bool(max((gap.min(1) < limit).mean(), (gap.min(0) < limit).mean()) > _SAME_SHARE)


LEAST_BAND = 0.3
"""Least score of a band that is taken for a cable (sample_images/bench/tune)."""
LEAD_SEEN = 0.5
"""Least mean probability of sheath in a band that counts as sheath seen: without it nothing is called clear."""
_SHORT_LEAD = 3.5
"""A cable whose sheath is seen over fewer widths, and does not leave the picture, is followed outward."""


_PLAIN_BAND, _PLAIN_SHEATH = 0.8, 0.6
"""Score of a band, and share of sheath within, that beat a sheath's mask that runs elsewhere."""
_ELSEWHERE = 0.6
"""How far off the axis, in widths, a band's middle counts as elsewhere."""


def _followed_out(materials: MaterialMap, light: F32, group: CableGroup) -> CableGroup:
    """The group with its cable laid on the picture.

    Where little or nothing of its sheath was found, and where the sheath that was
    found is plainly another's: masks of cables side by side run into each other.
    """
    short = group.sheath is None or _lead_is_short(materials, group)
    start, out = _way_out(group) if short and group.sheath is not None else _heads(group)
    band = lay_band(materials, light, start, out, group.width)
    if band is None or band.score < LEAST_BAND or not (short or _runs_elsewhere(group, band)):
        return group
    wide = np.full(len(band.path), band.width)
    sheath = Strand(Material.SHEATH, band.path[::-1], wide, band.sheath)
    axis, tip_at = _axis_of(sheath, False, list(group.cores), materials.step)
    seen = band.sheath >= LEAD_SEEN
    return CableGroup(
        sheath, group.sheath_index, group.cores, axis, tip_at, band.width, lead_seen=seen
    )


def _lead_is_short(materials: MaterialMap, group: CableGroup) -> bool:
    h, w = (v * materials.step for v in materials.prob.shape[:2])
    x, y = group.axis[0]
    leaves = min(x, y, w - x, h - y) < 1.5 * group.width
    return bool(group.tip_at <= _SHORT_LEAD * group.width and not leaves)


def _heads(group: CableGroup) -> tuple[F64, F64]:
    """Where the cores of a group come out, and the way they came."""
    ends = np.stack([c.outer.point for c in group.cores])
    out = np.sum([c.outer.direction for c in group.cores], 0)
    out = out / max(float(np.hypot(*out)), 1e-9)
    far = ends @ out
    return np.median(ends[far > far.max() - 1.2 * group.width], 0), out


def _way_out(group: CableGroup) -> tuple[F64, F64]:
    """The end of a group's sheath, and the way outward along it."""
    s = np.r_[0.0, np.cumsum(np.hypot(*np.diff(group.axis, axis=0).T))]
    tip = int(np.searchsorted(s, group.tip_at).clip(1, len(s) - 1))
    back = max(group.tip_at - 0.8 * group.width, 0.0)
    way = group.axis[int(np.searchsorted(s, back).clip(0, tip - 1))] - group.axis[tip]
    return group.axis[tip], way / max(float(np.hypot(*way)), 1e-9)


def _runs_elsewhere(group: CableGroup, band: Band) -> bool:
    """Whether a band that fits plainly leaves the axis, from two widths outside the heads on."""
    if band.score < _PLAIN_BAND or band.sheath < _PLAIN_SHEATH:
        return False
    away = np.hypot(*(band.path - band.path[0]).T)
    part = band.path[(away > 1.8 * group.width) & (away < 4.5 * group.width)]
    if len(part) < 3:
        return False
    off = np.hypot(*(part[:, None] - group.axis[None]).transpose(2, 0, 1)).min(1)
    return float(off.max()) > _ELSEWHERE * group.width


def _end_width(sheath: Strand, at_start: bool) -> float:
    w = sheath.width if at_start else sheath.width[::-1]
    n = max(3, min(len(w), int(2 * np.median(w) / 2)))
    return float(np.median(w[2:n] if n > 4 else w))


def _comes_from_under(core: OrientedCore) -> bool:
    """Whether a core starts at a grip, a sheath or the picture's border.

    Bare box floor beyond it proves nothing: a core that another one crosses
    starts there too.
    """
    cover = core.outer.share(Material.GRIP, Material.SHEATH)
    return cover > 0.4 or core.outer.border < 2 * core.width


def _sheathless(
    loose: list[OrientedCore], step: float
) -> tuple[list[CableGroup], list[OrientedCore]]:
    """Cores that start side by side with no sheath in sight: a cable that can't be read outward.

    It is kept as a cable, so that its two questions are asked and left unsure
    rather than passed over in silence.
    """
    outer = [c for c in loose if not c.bare and c.outer.share(Material.TERMINAL) < 0.4]
    left = [c for c in loose if c not in outer]
    groups = []
    while outer:
        bundle = [outer.pop(0)]
        grown = True
        while grown:
            near = [
                c
                for c in outer
                if min(float(np.hypot(*(c.outer.point - b.outer.point))) for b in bundle)
                < 2.5 * bundle[0].width
                and float(c.outer.direction @ bundle[0].outer.direction) > 0.3
            ]
            grown = bool(near)
            bundle += near
            outer = [c for c in outer if c not in near]
        if len(bundle) < 2 and not _comes_from_under(bundle[0]):
            left += bundle
            continue
        axis, tip_at = _axis_of(None, True, bundle, step)
        groups.append(CableGroup(None, -1, tuple(bundle), axis, tip_at, 2.8 * bundle[0].width))
    return groups, left
