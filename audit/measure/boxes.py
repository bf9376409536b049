"""Where in the photo an answer is to be seen: the boxes of findings."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from audit.measure.contract import Box, Point
from audit.sight.lines import interpolate
from audit.sight.skeleton import end_direction
from audit.sight.types import CableReading, Line, Tip

_MIN_BOX_MM = 5.0


SAME_IOU, SAME_MM = 0.3, 3.0
"""Two boxes show one place when they overlap so much, or their centres are no farther apart."""


def box_iou(a: Box, b: Box) -> float:
    """Area common to two boxes over the area of both, 0 to 1 (Jaccard index).

    Examples
    --------
    >>> box_iou((0, 0, 2, 1), (1, 0, 3, 1))
    0.3333333333333333
    """
    wide = max(0.0, min(a[2], b[2]) - max(a[0], b[0]))
    high = max(0.0, min(a[3], b[3]) - max(a[1], b[1]))
    common = wide * high
    both = (a[2] - a[0]) * (a[3] - a[1]) + (b[2] - b[0]) * (b[3] - b[1]) - common
    return common / both if both > 0 else 0.0


def centre_distance(a: Box, b: Box) -> float:
    """Distance between the centres of two boxes, in their unit."""
    return float(np.hypot(a[0] + a[2] - b[0] - b[2], a[1] + a[3] - b[1] - b[3]) / 2)


def same_place(a: Box, b: Box, px_per_mm: float | None) -> bool:
    """Whether two boxes, px, show one place; without a scale by how they overlap alone."""
    if box_iou(a, b) >= SAME_IOU:
        return True
    return px_per_mm is not None and centre_distance(a, b) <= SAME_MM * px_per_mm


def points(path: np.ndarray, full_scale: float) -> tuple[Point, ...]:
    """A path in px of the full photo (pixel centres at .5), rounded for the record."""
    full = (np.asarray(path) + 0.5) * full_scale
    return tuple((round(float(x), 1), round(float(y), 1)) for x, y in full)


def box_round(path: np.ndarray, pad: float, full_scale: float, size: tuple[int, int]) -> Box:
    """Box round a path, padded by `pad` px of the analysis picture, px of the full photo."""
    full = (np.asarray(path) + 0.5) * full_scale
    lo, hi = full.min(0) - pad * full_scale, full.max(0) + pad * full_scale
    x0, y0 = (float(np.clip(v, 0, m)) for v, m in zip(lo, size, strict=True))
    x1, y1 = (float(np.clip(v, 0, m)) for v, m in zip(hi, size, strict=True))
    return (round(x0, 1), round(y0, 1), round(x1, 1), round(y1, 1))


def part_of(cable: CableReading, a: float, b: float) -> np.ndarray:
    """The axis between two lengths along it, carried on straight where it is too short."""
    lo, hi = min(a, b), max(a, b)
    inside = (cable.s > lo) & (cable.s < hi)
    ends = [interpolate(cable.axis, cable.s, lo), interpolate(cable.axis, cable.s, hi)]
    return np.concatenate([ends[0][None], cable.axis[inside], ends[1][None]])


def near_box(
    cable: CableReading, line: Line, edge: Line, mm: float, full: float, size: tuple[int, int]
) -> Box:
    """From before a line to the sheath's end, one of which may be misplaced.

    What is in doubt where sheath was read to end past the line: either it ends before
    after all, and cores show there, or it is not sheath that was seen behind.
    """
    before = min(line.at, edge.at) - _MIN_BOX_MM * mm
    behind = max(line.at, edge.at + PAST_EDGE_MM * mm)
    return box_round(part_of(cable, before, behind), _half(cable, mm), full, size)


LEAST_SHEATH_MM = 6.0
"""No cable of a lighting circuit is narrower across (flat or round, from memory): where one was read narrower, it is a
core of it that was seen, and the whole is shown."""


def _half(cable: CableReading, mm: float) -> float:
    return max(cable.width, LEAST_SHEATH_MM * mm) / 2


PAST_EDGE_MM = 2.0
"""How far behind the sheath's end is shown where it is in doubt, mm."""


def cable_box(
    cable: CableReading,
    line: Line | None,
    outside: bool,
    mm: float,
    full: float,
    size: tuple[int, int],
) -> Box:
    """Where the answer is seen: the run of core, or the last mm before the line."""
    if line is None:
        at = cable.edge.at if cable.edge else 0.0
        path = part_of(cable, at - 0.5 * cable.width, at + 0.5 * cable.width)
    elif outside and cable.edge is not None:
        path = part_of(cable, cable.edge.at, line.at)
    else:
        path = part_of(cable, line.at - _MIN_BOX_MM * mm, line.at)
    return box_round(path, _half(cable, mm), full, size)


DOUBT_MM, BACK_MM = 14.0, 12.0
"""How far along its cores a cable is shown where it is in doubt, mm; and where no sheath was found, how
far the other way: a sheath that ends short of the entry ends there."""


def doubt_box(
    cable: CableReading, tips: Sequence[Tip], mm: float, full: float, size: tuple[int, int]
) -> Box:
    """Where to look when a cable's entry can't be read: its cores from where they are first seen.

    Parameters
    ----------
    cable : CableReading
    tips : sequence of Tip
        The cable's own ends.
    mm : float
        px of the analysis picture per mm.
    full : float
        px of the full photo for one px of the analysis picture.
    size : (width, height)
        Of the full photo, px.
    """
    heads = [] if cable.edge is None else [cable.edge.points]
    on = DOUBT_MM if cable.has_sheath else BACK_MM / 2
    for t in _at_the_entry(cable, tips):
        s = np.r_[0.0, np.cumsum(np.hypot(*np.diff(t.path, axis=0).T))]
        heads.append(t.path[s <= on * mm])
        if not cable.has_sheath:
            out = end_direction(t.path, True, 3.0 * mm * len(s) / max(float(s[-1]), 1e-6))
            heads.append(t.path[:1] + out * BACK_MM * mm)
    if not heads:
        return cable_box(cable, None, False, mm, full, size)
    pad = 0.25 * cable.width
    return box_round(np.concatenate(heads), pad, full, size)


def _at_the_entry(cable: CableReading, tips: Sequence[Tip]) -> list[Tip]:
    """Those of a cable's cores that start where most do: pieces further in are left out."""
    if not tips:
        return []
    starts = np.stack([t.path[0] for t in tips])
    if cable.edge is not None:
        middle = cable.edge.points.mean(0)
    else:
        apart = np.hypot(*(starts[:, None] - starts[None]).transpose(2, 0, 1))
        middle = starts[int(np.median(apart, axis=1).argmin())]
    away = np.hypot(*(starts - middle).T)
    near = [t for t, d in zip(tips, away, strict=True) if d < 1.5 * cable.width]
    return near or [tips[int(away.argmin())]]
