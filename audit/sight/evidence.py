"""What speaks for and against a fault at a core's end or at a cable's entry, as one row of figures.

An end is described along its own line: the last of the insulation, what
follows it, and what lies straight on; an entry along the cable's axis, about
the sheath's edge. Models fitted on photos with truth (`audit.measure.verdicts`)
weigh them.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from audit.sight.analysis import encode
from audit.sight.crossings import (
    ABOUT,
    FORESTS,
    GRIP_FOREST,
    WALL_FOREST,
    Crossings,
    grouped,
)
from audit.sight.features import LUMA
from audit.sight.profile import band_points, sample_prob
from audit.sight.skeleton import end_direction, resample
from audit.sight.types import (
    CORE_COLOUR,
    CORES,
    F32,
    F64,
    AnalysisImage,
    CableReading,
    Line,
    Material,
    MaterialMap,
    Strands,
    Tip,
)

ALONG = (-24, -17, -12, -8, -5, -2, 0, 2, 4, 6, 9, 12, 16, 21, 28, 36)
"""Places along the line, px of the map (3.5 to the mm), from where the insulation ends."""


def _line(tip: Tip, step: float) -> tuple[F64, float]:
    """The end's line, one px of the map apart, and where along it the insulation ends (index)."""
    tail = resample(tip.path, step)[-30:]
    if len(tail) < 3 or (tip.core < 0 and tip.copper < 0):
        tail = tip.path[-1:]
    body = np.concatenate([tail, tip.copper_path]) if tip.copper_px > 0 else tail
    on = resample(tip.copper_path, step) if tip.copper_px > 0 else tip.path[-1:]
    lead = resample(body, step)
    d = end_direction(lead, False, 1.8 * tip.width / step) if len(lead) > 1 else np.zeros(2)
    far = on[-1] + d * step * np.arange(1, 40)[:, None]
    line = np.concatenate([tail[:-1], on, far])
    return line, float(len(tail) - 1)


def colours(image: AnalysisImage, path: F64) -> F64:
    """Median lightness and log-ratios along a path, (3,)."""
    h, w = image.linear.shape[:2]
    x = np.clip(np.rint(path[:, 0]).astype(int), 0, w - 1)
    y = np.clip(np.rint(path[:, 1]).astype(int), 0, h - 1)
    c = image.linear[y, x] + 0.02
    told = np.stack([np.sqrt(c @ LUMA), np.log(c[:, 0] / c[:, 1]), np.log(c[:, 2] / c[:, 1])], -1)
    return np.asarray(np.median(told, 0), np.float64)


def end_evidence(
    materials: MaterialMap, image: AnalysisImage, strands: Strands, tip: Tip, others: F64
) -> F32:
    """Describe one end.

    Parameters
    ----------
    materials : MaterialMap
    image : AnalysisImage
    strands : Strands
    tip : Tip
    others : (n, 2) float64
        Where the other ends are, px of the analysis picture.

    Returns
    -------
    (F,) float32
    """
    step = materials.step
    line, at = _line(tip, step)
    half = 0.3 * tip.width
    prob = sample_prob(materials, band_points(line, np.linspace(-half, half, 5)))
    told = grouped(prob.mean(1))
    own = prob.mean(1)[:, [int(m) for m in CORES if CORE_COLOUR[m] == tip.colour] or [8]].sum(-1)
    along = np.clip(np.rint(at + np.asarray(ALONG)).astype(int), 0, len(line) - 1)
    end = tip.copper_path[-1]
    row = [told[along].ravel(), own[along], prob.max(1)[along, int(Material.COPPER)]]
    wide = _disc_mass(materials, tip.path[-1], 2.5 * tip.width)
    row += [wide, _disc_mass(materials, end, 1.2 * tip.width)]
    core = strands.cores[tip.core] if tip.core >= 0 else None
    copper_width = _copper_width(strands, tip)
    length = 0.0 if core is None else core.length
    chord = float(np.hypot(*(end - tip.copper_path[0])))
    away = np.sort(np.hypot(*(others - end).T))[:3] / step if len(others) else np.zeros(0)
    away = np.concatenate([away, np.full(3 - len(away), 200.0)])
    h, w = image.shape
    border = min(end.min(), w - 1 - end[0], h - 1 - end[1]) / step
    row.append(
        np.array(
            [
                tip.copper_px / step, tip.copper_px / tip.width, tip.width / step, length / step,
                length / tip.width, tip.colour_score, tip.confidence, copper_width / tip.width,
                chord / max(tip.copper_px, 1e-6) if tip.copper_px > 0 else 1.0, border, step,
                tip.cable is not None, tip.core >= 0, tip.copper >= 0, image.balance,
                len(others),
            ]
        )
    )  # fmt: skip
    row.append(
        np.array([tip.ends_at == e for e in ("terminal", "open", "hidden", "leaves_picture")])
    )
    row.append(np.array([tip.colour == c for c in (*CORE_COLOUR.values(), "unknown")]))
    mine = colours(image, tip.path if core is None else core.path)
    seen = colours(image, tip.copper_path)
    row += [away, mine, seen, seen - mine]
    return np.concatenate([np.asarray(r, np.float32).ravel() for r in row])


def _disc_mass(materials: MaterialMap, centre: F64, radius: float) -> F64:
    """Mean probability of each group over a disc, (7,)."""
    a = np.linspace(0, 2 * np.pi, 16, endpoint=False)
    ring = np.stack([np.cos(a), np.sin(a)], -1)
    points = centre + ring[None] * (radius * np.array([0.25, 0.5, 0.75, 1.0]))[:, None, None]
    return np.asarray(grouped(sample_prob(materials, points)).mean((0, 1)), np.float64)


def _copper_width(strands: Strands, tip: Tip) -> float:
    """Width of the copper strand nearest to the end's copper, px; 0 when none is near."""
    mid = tip.copper_path[len(tip.copper_path) // 2]
    best, width = tip.width, 0.0
    for s in strands.coppers:
        d = float(np.hypot(*(s.path - mid).T).min())
        if d < best:
            best, width = d, float(np.median(s.width))
    return width


_NOT_THERE = -9.0


def entry_evidence(
    materials: MaterialMap,
    image: AnalysisImage,
    strands: Strands,
    cable: CableReading,
    crossed: Crossings,
    own: Sequence[Tip],
    loose: Sequence[Tip],
) -> F32:
    """Describe where one cable enters, and what is seen of its CPC.

    Parameters
    ----------
    materials : MaterialMap
    image : AnalysisImage
    strands : Strands
    cable : CableReading
    crossed : Crossings
        What the places along it say of its lines.
    own, loose : sequence of Tip
        The cable's own ends, and those of no cable.

    Returns
    -------
    (F,) float32
    """
    width, step = cable.width, materials.step
    axis = resample(cable.axis, step)
    s = np.asarray(np.arange(len(axis)) * step, np.float64)
    points = band_points(axis, np.linspace(-0.45, 0.45, 7) * width)
    prob = grouped(sample_prob(materials, points))
    middle, whole = prob[:, 2:5].mean(1), prob.mean(1)
    lines = (cable.edge, cable.grip_in, cable.grip_out, cable.wall)
    zero = cable.edge.at if cable.edge else 0.5 * float(s[-1])
    row = [whole[_index(s, zero, width)].ravel()]
    for line in (cable.grip_in, cable.wall):
        at = zero if line is None else line.at
        row.append(middle[_index(s, at, width)].ravel())
    row += _beside(materials, image, axis, s, zero, width)
    row += [_told_lines(crossed, zero, width), _told_most(crossed, zero, width)]
    row += [_between(whole, s, step, cable.edge, line) for line in (cable.grip_out, cable.wall)]
    row.append(_at_the_border(image, axis, own, width))
    row += [_conductors(own, width), _conductors(loose, width)]
    row.append(np.array([_NOT_THERE if q is None else (q.at - zero) / width for q in lines]))
    row.append(np.array([_NOT_THERE if q is None else q.sd / width for q in lines]))
    cores = [strands.cores[i] for i in cable.cores]
    starts = np.array([c.path[k] for c in cores for k in (0, -1)]).reshape(-1, 2)
    edge = axis[int(np.clip(zero / step, 0, len(axis) - 1))]
    away = np.sort(np.hypot(*(starts - edge).T))[:4] / width
    row.append(np.concatenate([away, np.full(4 - len(away), 9.0)]))
    widths = [float(np.median(c.width)) for c in cores] or [0.0]
    row.append(
        np.array(
            [
                len(cores), cable.has_sheath, cable.edge_seen, width / step, step,
                float(np.median(widths)) / width, zero / width, float(s[-1]) / width,
                len({c.material for c in cores}), max((c.score for c in cores), default=0.0),
                max((c.length for c in cores), default=0.0) / width, cable.lead_seen,
            ]
        )
    )  # fmt: skip
    row.append(np.array([cable.kind == k for k in ("clamp", "moulded", "none", "unknown")]))
    row.append(np.array([cable.sheath_colour == k for k in ("grey", "white", "black", "unknown")]))
    return np.concatenate([np.asarray(r, np.float32).ravel() for r in row])


def _told_lines(crossed: Crossings, zero: float, width: float) -> F64:
    """How likely places about the sheath's end lie past the wall, in the grip, past the edge, (45,)."""
    at = zero + np.asarray(ABOUT) * width
    s = crossed.places.s
    if not crossed.told:
        return np.full(len(FORESTS) * len(ABOUT), _NOT_THERE)
    return np.concatenate([np.interp(at, s, crossed.told[f].mean(1)) for f in FORESTS])


def _told_most(crossed: Crossings, zero: float, width: float) -> F64:
    """Where along the whole cable places are told most plainly to lie past the wall and in the grip, (8,)."""
    row: list[float] = []
    for forest in (WALL_FOREST, GRIP_FOREST):
        if not crossed.told:
            row += [_NOT_THERE] * 4
            continue
        told, s = crossed.told[forest].mean(1), crossed.places.s
        grain = float(s[1] - s[0]) / width
        past = told[s > zero]
        row += [float(told.max()), (float(s[told.argmax()]) - zero) / width]
        row += [float(told.sum()) * grain, float(past.sum()) * grain]
    return np.asarray(row, np.float64)


def _between(whole: F64, s: F64, step: float, edge: Line | None, line: Line | None) -> F64:
    """What lies between a line and the sheath's end, the outermost of the cable where none was found.

    Mean of each group, the least of cores and of sheath (smoothed), and the signed length in px of
    the map, (10,).
    """
    if line is None:
        return np.full(whole.shape[1] + 3, _NOT_THERE)
    at = 0.0 if edge is None else edge.at
    inside = (s >= min(at, line.at)) & (s <= max(at, line.at))
    if not inside.any():
        inside[int(np.abs(s - line.at).argmin())] = True
    run = gaussian_filter1d(whole[inside], 2.0, axis=0) if inside.sum() > 2 else whole[inside]
    length = (line.at - at) / step
    least = run.min(0)
    return np.concatenate([whole[inside].mean(0), [least[1], least[6], length]])


def _at_the_border(image: AnalysisImage, axis: F64, own: Sequence[Tip], width: float) -> F64:
    """How near the picture's edge a cable and its cores come to light, and how many cores right at it, (4,)."""
    h, w = image.shape

    def border(points: F64) -> F64:
        return np.asarray(np.minimum(points, np.array([w - 1, h - 1]) - points).min(1) / width)

    heads = np.array([t.path[0] for t in own]).reshape(-1, 2)
    away = border(heads) if len(heads) else np.array([9.0])
    near = float((away < 0.5).sum())
    return np.array([float(border(axis[:1])[0]), float(away.min()), float(np.median(away)), near])


_ASIDE = (0.65, 0.95, 1.35)
"""Distances beside a cable's axis at which its surroundings are looked at, widths of the cable."""


def _beside(
    materials: MaterialMap, image: AnalysisImage, axis: F64, s: F64, zero: float, width: float
) -> list[F64]:
    """Kinds and lightness beside the cable along it: lesser and greater of both sides."""
    out: list[F64] = []
    h, w = image.shape
    for away in _ASIDE:
        points = band_points(axis, np.array([-away, away]) * width)
        prob = grouped(sample_prob(materials, points))
        # Cores and cables that lie over a place say nothing of what it is a part of.
        told = np.stack(
            [prob[..., [5]].sum(-1), prob[..., [0]].sum(-1), prob[..., [1, 2, 6]].sum(-1)], -1
        )
        x = np.clip(np.rint(points[..., 0]).astype(int), 0, w - 1)
        y = np.clip(np.rint(points[..., 1]).astype(int), 0, h - 1)
        both = np.concatenate([told, encode(image.linear[y, x]).mean(-1, keepdims=True)], -1)
        both = gaussian_filter1d(both, 0.12 * width / materials.step, axis=0)
        at = both[_index(s, zero, width)]
        out += [at.min(1).ravel(), at.max(1).ravel()]
    return out


def _conductors(tips: Sequence[Tip], width: float) -> F64:
    """Number, lengths and ends of the pieces of CPC among some ends, and what else is there."""
    row: list[float] = [float(len(tips))]
    for colour in ("green-and-yellow", "bare", "unknown"):
        mine = [t for t in tips if t.colour == colour]
        paths = [t.path if len(t.path) > 1 else t.copper_path for t in mine]
        lengths = [float(np.hypot(*np.diff(p, axis=0).T).sum()) / width for p in paths]
        row += [len(mine), sum(lengths), max(lengths, default=0.0)]
        row += [max((t.colour_score for t in mine), default=0.0)]
        row += [float(any(t.ends_at == e for t in mine)) for e in ("terminal", "open", "hidden")]
    for colour in ("brown", "blue", "red", "black", "grey"):
        row.append(float(sum(t.colour == colour for t in tips)))
    return np.asarray(row, np.float64)


def _index(s: F64, at: float, width: float) -> NDArray[np.intp]:
    i = np.searchsorted(s, at + np.asarray(ABOUT) * width)
    return np.asarray(np.clip(i, 0, len(s) - 1))
