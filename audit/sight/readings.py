"""Readings: each cable as the sequence of things met along it, and each core's inner end."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from audit.sight.analysis import encode
from audit.sight.cables import CableGroup, OrientedCore, group_cables, orient_cores
from audit.sight.chains import goes_on
from audit.sight.copper import claim_coppers, long_coppers, loose_copper, usual_width
from audit.sight.crossings import Crossings, Tell, find_crossings, told_along
from audit.sight.evidence import colours, end_evidence, entry_evidence
from audit.sight.lines import grip_lines, sheath_edge, wall_line
from audit.sight.pairs import lightness
from audit.sight.profile import PathProfile, arc_length, path_profile
from audit.sight.spans import spans_of
from audit.sight.tips import METAL, Ahead, look_ahead
from audit.sight.types import (
    CORE_COLOUR,
    CORES,
    F64,
    AnalysisImage,
    CableReading,
    Line,
    Material,
    MaterialMap,
    Readings,
    Strand,
    Strands,
    Tip,
)

_SHORT_BARE, _SHORT_LOOSE = 6.0, 9.0
"""Up to so many widths of a core a bare conductor may as well be a core's stripped end; up to the second number
where it belongs to no cable."""
_CPC_COLOURS = ("green-and-yellow", "bare")


def _short_bare(tip: Tip, usual: float) -> bool:
    length = float(arc_length(tip.path)[-1])
    return length <= (_SHORT_BARE if tip.cable else _SHORT_LOOSE) * usual


def bare_conductors(
    materials: MaterialMap, strands: Strands, cores: list[OrientedCore]
) -> list[OrientedCore]:
    """Long bare copper that is no core's stripped end: a CPC without its sleeving."""
    usual = usual_width(cores)
    claimed = [c.inner.copper_path for c in cores if c.inner.copper_px > 0]
    sure = long_coppers(strands, usual)
    out = []
    for i, s in enumerate(strands.coppers):
        w = float(np.median(s.width))
        if s.length < max(5 * w, 2.5 * usual) or (usual and w > 1.1 * usual) or s.score < 0.5:
            continue
        mid = s.path[len(s.path) // 2]
        near = any(float(np.hypot(*(p - mid).T).min()) < 1.5 * w for p in claimed)
        if near and i not in sure:
            continue
        ends = [look_ahead(materials, s, k) for k in (True, False)]
        inner = [
            e.share(Material.TERMINAL, *METAL) - e.share(Material.SHEATH, Material.GRIP)
            for e in ends
        ]
        turned = Strand(s.material, s.path[::-1], s.width[::-1], s.score)
        if inner[0] > inner[1]:
            out.append(OrientedCore(i, turned, ends[1], ends[0], bare=True))
        else:
            out.append(OrientedCore(i, s, ends[0], ends[1], bare=True))
    return out


def _tip(core: OrientedCore, cable: str | None) -> Tip:
    ahead = core.inner
    width = core.width
    term = ahead.share(Material.TERMINAL, *METAL)
    if ahead.border < 1.2 * width:
        ends_at, doubt = "leaves_picture", "the core leaves the picture"
    elif term > 0.4 or ahead.around[Material.TERMINAL] > 0.65:
        ends_at, doubt = "terminal", ""
    elif _in_the_open(ahead):
        ends_at, doubt = "open", ""
    else:
        ends_at, doubt = "hidden", "something covers the core's end"
    bare = core.bare
    return Tip(
        core=-1 if bare else core.index,
        copper=core.index if bare else -1,
        cable=cable,
        colour="bare" if bare else CORE_COLOUR[core.strand.material],
        path=core.strand.path,
        width=width,
        copper_path=ahead.copper_path,
        copper_px=0.0 if bare else ahead.copper_px,
        copper_sd=ahead.copper_sd,
        ends_at=ends_at,
        mouth_seen=ends_at == "terminal" and term > 0.5,
        doubt=doubt,
        confidence=float(np.clip(term + ahead.copper_level * (ahead.copper_px > 0), 0, 1)),
        colour_score=core.strand.score,
    )


def _in_the_open(ahead: Ahead) -> bool:
    """Nothing but the box or the background lies beyond the end, and no terminal is near."""
    empty = ahead.share(Material.OTHER, Material.ENCLOSURE, Material.CARD)
    near = max(float(ahead.around[int(m)]) for m in (*CORES, Material.TERMINAL, Material.GRIP))
    return empty > 0.65 and near < 0.45


def _entry_kind(grip: tuple[Line, Line] | None, wall: Line | None) -> str:
    if grip is not None:
        return "clamp"
    return "moulded" if wall is not None else "unknown"


def _sheath_colour(image: AnalysisImage, sheath: Strand | None) -> str:
    """Grey, white or black by lightness against the picture's own white and black."""
    if sheath is None:
        return "unknown"
    x = np.clip(np.rint(sheath.path[:, 0]).astype(int), 0, image.shape[1] - 1)
    y = np.clip(np.rint(sheath.path[:, 1]).astype(int), 0, image.shape[0] - 1)
    light = float(np.median(encode(image.linear[y, x]).mean(-1)))
    if light < 0.28:
        return "black"
    return "white" if light > 0.72 else "grey"


def _edge_seen(profile: PathProfile, edge: Line, group: CableGroup) -> bool:
    """Sheath right before the edge, a core right behind it, and no grip over the place."""
    width = group.width
    near = (profile.s > edge.at - 0.35 * width) & (profile.s < edge.at - 0.04 * width)
    past = (profile.s > edge.at + 0.04 * width) & (profile.s < edge.at + 0.35 * width)
    if not near.any() or not past.any():
        return False
    before = float(profile.of(Material.SHEATH)[near].mean())
    cover = profile.of(Material.GRIP, Material.TERMINAL, Material.STEEL)
    middle = edge.points.mean(0)
    start = min(float(np.hypot(*(c.outer.point - middle))) for c in group.cores)
    return bool(
        before > 0.5
        and cover[past].mean() < 0.4
        and cover[near].mean() < 0.35
        and start < 0.9 * width
    )


_BRIGHTER, _DARKER, _TINGED = 0.18, 0.36, 0.25
"""How far what is taken for sheath behind the grip may differ from the sheath before it: in lightness
(square root of luminance, 0 to 1; a box shades, it does not brighten) and in log-ratios of colour."""


def _looks_alike(
    image: AnalysisImage,
    axis: F64,
    s: F64,
    grip: tuple[Line, Line] | None,
    edge: Line | None,
    width: float,
) -> bool:
    """Whether sheath behind the grip looks like the sheath before it; a pale grip is taken for sheath too."""
    if grip is None or edge is None:
        return True
    before = axis[(s > grip[0].at - 1.5 * width) & (s < grip[0].at - 0.2 * width)]
    behind = axis[(s > grip[1].at) & (s < edge.at - 0.05 * width)]
    if len(before) < 3 or len(behind) < 3:
        return True
    off = colours(image, behind) - colours(image, before)
    return bool(-_DARKER < off[0] < _BRIGHTER and np.abs(off[1:]).max() < _TINGED)


def _spare_cpc(groups: list[list[Tip]], loose: list[Tip]) -> bool:
    """Whether more pieces of CPC are seen than cables have one: a cable without may own the other."""
    mine = [[t for t in tips if t.colour in _CPC_COLOURS] for tips in groups]
    other = [t for t in loose if t.colour in _CPC_COLOURS and len(t.path) > 4]
    return bool(other) or any(len(own) > 1 for own in mine)


def cpc_of(tips: Sequence[Tip], edge_seen: bool, spare: bool) -> str:
    """What is seen of a cable's CPC, from its own ends; fragments of it do not count as its end."""
    green = [t for t in tips if t.colour == "green-and-yellow"]
    bare = [t for t in tips if t.colour == "bare"]
    if green or bare:
        main = max(green + bare, key=lambda t: len(t.path))
        ends = {t.ends_at for t in green + bare}
        if "terminal" not in ends and main.ends_at == "open" and len(main.path) > 4:
            return "cut_short"
        return "sleeved" if green else "bare"
    others = {t.colour for t in tips}
    return "none_comes_out" if edge_seen and len(others) >= 2 and not spare else "not_seen"


_SAME_LINE = 0.35
"""Two findings of one line so near each other are one, widths of the cable."""


def _settled(sharp: Line | None, likely: Line | None, width: float) -> Line | None:
    """The line found to a fraction of a px where all places along the cable speak for it, else theirs."""
    if sharp is None or likely is None:
        return likely
    return sharp if abs(sharp.at - likely.at) < _SAME_LINE * width else likely


def _settled_grip(
    sharp: tuple[Line, Line] | None, likely: tuple[Line, Line] | None, width: float
) -> tuple[Line, Line] | None:
    if sharp is None or likely is None:
        return likely
    outer, inner = (_settled(s, k, width) for s, k in zip(sharp, likely, strict=True))
    return (outer, inner) if outer and inner and inner.at > outer.at else likely


def _read_cable(
    image: AnalysisImage, materials: MaterialMap, group: CableGroup, name: str, tell: Tell
) -> tuple[CableReading, Crossings]:
    width, axis = group.width, group.axis
    has_sheath = group.sheath is not None
    sharp = sheath_edge(materials, axis, width, group.tip_at, 1.6 * width) if has_sheath else None
    tip_at = sharp.at if sharp else group.tip_at
    crossed = find_crossings(materials, image, axis, width, tip_at, len(group.cores), tell)
    edge = (_settled(sharp, crossed.edge, width) or sharp) if has_sheath else None
    limit = min(float(arc_length(axis)[-1]), tip_at + 5.0 * width)
    grip = _settled_grip(grip_lines(materials, axis, width, 0.0, limit), crossed.grip, width)
    before = grip[0].at + 0.3 * width if grip else limit
    wall = _settled(wall_line(materials, axis, width, before), crossed.wall, width)
    profile = path_profile(materials, axis, 0.3 * width)
    seen = edge is not None and _edge_seen(profile, edge, group)
    s = np.r_[0.0, np.cumsum(np.hypot(*np.diff(axis, axis=0).T))]
    doubts = []
    if edge is not None and not seen:
        doubts.append("the sheath's edge is covered")
    if wall is None:
        doubts.append("the enclosure's wall is not seen where the cable crosses it")
    reading = CableReading(
        id=name,
        sheath_colour=_sheath_colour(image, group.sheath),
        axis=axis,
        s=s,
        width=width,
        edge=edge,
        edge_seen=seen,
        wall=wall,
        grip_out=grip[0] if grip else None,
        grip_in=grip[1] if grip else None,
        kind=_entry_kind(grip, wall),
        spans=spans_of(float(profile.s[-1]), edge, wall, grip, 0.3 * width),
        cores=tuple(c.index for c in group.cores if not c.bare),
        has_sheath=has_sheath,
        doubts=tuple(doubts),
        lead_seen=group.lead_seen and _looks_alike(image, axis, s, grip, edge, width),
    )
    return reading, crossed


def _described(
    materials: MaterialMap, image: AnalysisImage, strands: Strands, tips: list[Tip]
) -> list[Tip]:
    at = np.array([t.copper_path[-1] for t in tips]).reshape(-1, 2)
    others = [np.delete(at, k, 0) for k in range(len(tips))]
    return [
        replace(t, evidence=end_evidence(materials, image, strands, t, o))
        for t, o in zip(tips, others, strict=True)
    ]


def read_cables(
    image: AnalysisImage, materials: MaterialMap, strands: Strands, tell: Tell = told_along
) -> Readings:
    """Read every cable and every core's end.

    Parameters
    ----------
    image : AnalysisImage
    materials : MaterialMap
    strands : Strands
    tell : callable
        Stands in for the stored forests of `audit.sight.crossings` while others are fitted.

    Returns
    -------
    Readings
    """
    insulated, _ = claim_coppers(materials, strands, orient_cores(materials, strands))
    bare = bare_conductors(materials, strands, insulated)
    cores = insulated + bare
    h, w = materials.prob.shape[:2]
    light = lightness(image.linear, (w, h))
    groups, loose = group_cables(materials, strands, cores, light)
    groups.sort(key=lambda g: -len(g.cores))
    mine = [[_tip(c, f"c{k}") for c in group.cores] for k, group in enumerate(groups, 1)]
    others = [_tip(c, None) for c in loose]
    spare = _spare_cpc(mine, others)
    cables: list[CableReading] = []
    for group, own in zip(groups, mine, strict=True):
        cable, crossed = _read_cable(image, materials, group, f"c{len(cables) + 1}", tell)
        evidence = entry_evidence(materials, image, strands, cable, crossed, own, others)
        cpc = cpc_of(own, cable.edge_seen, spare)
        cables.append(replace(cable, cpc=cpc, evidence=evidence))
    tips = [t for own in mine for t in own] + others
    tips = [t for t in tips if not goes_on(materials, strands, t)]
    usual = usual_width(insulated)
    # A short bare conductor may as well be the stripped end of a core that was not made out.
    long = [t for t in tips if t.colour != "bare" or not _short_bare(t, usual)]
    tips += loose_copper(materials, strands, long, usual)
    tips = _described(materials, image, strands, tips)
    return Readings(tuple(cables), tuple(tips))
