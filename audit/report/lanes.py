"""Where each segment of a reading lies on the ribbon: along it in mm, across it in lanes."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from audit.measure.contract import CableRecord, SegmentRecord

CROSSED = ("wall", "grip")
"""What the cable goes through; drawn across all lanes."""
_JOIN_MM = 1.0
"""Segments of one core follow each other within this gap."""


@dataclass(frozen=True)
class Placed:
    """One segment on the ribbon.

    Parameters
    ----------
    segment : SegmentRecord
    start, stop : float
        Along the ribbon, from outside inwards; mm, or units of `Strip.unit`.
    lane : int or None
        0 is the upmost; None spans all lanes (sheath, wall, grip).
    """

    segment: SegmentRecord
    start: float
    stop: float
    lane: int | None


@dataclass(frozen=True)
class Strip:
    """A whole reading laid out.

    Parameters
    ----------
    placed : tuple of Placed
    lanes : int
        At least 1.
    start, stop : float
        Extent along the ribbon.
    unit : str
        `mm`, `px`, or `order` where not even lengths in px are known.
    """

    placed: tuple[Placed, ...]
    lanes: int
    start: float
    stop: float
    unit: str


def path_length(points: Sequence[tuple[float, float]]) -> float:
    """Length of a polyline, in the unit of its points."""
    return sum(math.dist(a, b) for a, b in itertools.pairwise(points))


def lay_out(cable: CableRecord) -> Strip | None:
    """Lay one cable's reading out as a strip.

    Parameters
    ----------
    cable : CableRecord

    Returns
    -------
    Strip or None
        None when nothing was read.
    """
    if not cable.reading:
        return None
    spans, unit = _spans(cable.reading)
    ends: list[float] = []
    placed: list[Placed] = []
    for segment, (start, stop) in zip(cable.reading, spans, strict=True):
        lane = None
        if segment.what not in (*CROSSED, "sheath"):
            lane = _lane(ends, start)
            ends[lane] = stop
        placed.append(Placed(segment, start, stop, lane))
    return Strip(
        tuple(placed),
        max(1, len(ends)),
        min(p.start for p in placed),
        max(p.stop for p in placed),
        unit,
    )


def _lane(ends: list[float], start: float) -> int:
    """The lane whose last segment ends where this one starts; else a new one."""
    gaps = [(abs(start - end), lane) for lane, end in enumerate(ends)]
    near = [lane for gap, lane in sorted(gaps) if gap <= _JOIN_MM]
    if near:
        return near[0]
    ends.append(start)
    return len(ends) - 1


def _spans(reading: Sequence[SegmentRecord]) -> tuple[list[tuple[float, float]], str]:
    known = [(s.from_mm, s.to_mm) for s in reading if s.from_mm is not None and s.to_mm is not None]
    if len(known) == len(reading):
        return [(min(a, b), max(a, b)) for a, b in known], "mm"
    lengths = [path_length(s.path_px) for s in reading]
    if not all(lengths):
        return _one_after_another(reading, [1.0] * len(reading)), "order"
    return _one_after_another(reading, lengths), "px"


def _one_after_another(
    reading: Sequence[SegmentRecord], lengths: Sequence[float]
) -> list[tuple[float, float]]:
    """Without places in mm: in the order read, a new core colour starting at the sheath's end."""
    spans: list[tuple[float, float]] = []
    at = sheath_end = 0.0
    for segment, length in zip(reading, lengths, strict=True):
        if segment.what == "core" and any(
            s.what == "core" and s.colour != segment.colour for s in reading[: len(spans)]
        ):
            at = sheath_end
        spans.append((at, at + length))
        at += length
        if segment.what in (*CROSSED, "sheath"):
            sheath_end = max(sheath_end, at)
    return spans
