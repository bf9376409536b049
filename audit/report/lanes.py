"""Where each segment of a reading lies on the ribbon: along it in mm, across it in lanes."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from audit.measure.contract import CableRecord, SegmentRecord

CROSSED = ("wall", "grip")
"""What the cable goes through; drawn across all lanes."""
_JOIN_MM = 1.0
"""Segments of one core follow each other within this gap."""
_OUTSIDE_MM = 25.0
"""So much of the cable is drawn before the first thing it meets; the rest is cut off."""


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
    cut : bool
        The cable goes on to the left of what is drawn.
    """

    placed: tuple[Placed, ...]
    lanes: int
    start: float
    stop: float
    unit: str
    cut: bool = False


def path_length(points: Sequence[tuple[float, float]]) -> float:
    """Length of a polyline, in the unit of its points."""
    return sum(math.dist(a, b) for a, b in itertools.pairwise(points))


def lay_out(cable: CableRecord) -> Strip | None:
    """Lay one cable's reading out as a strip.

    Places of the cable itself count from one origin (the wall, or the sheath's
    edge); those of each core may count from the sheath's edge, and are put
    behind it.

    Parameters
    ----------
    cable : CableRecord

    Returns
    -------
    Strip or None
        None when nothing was read.
    """
    whole, cores = _levels(cable.reading)
    if not whole and not cores:
        return None
    spans, unit = _spans([*whole, *cores])
    placed = [Placed(s, a, b, None) for s, (a, b) in zip(whole, spans, strict=False)]
    edge = _edge(placed)
    lanes: list[float] = []
    for chain in _chains(cores, spans[len(whole) :]):
        lane = len(lanes)
        shift = edge - chain[0][1] if edge is not None else 0.0
        placed += [Placed(s, a + shift, b + shift, lane) for s, a, b in chain]
        lanes.append(placed[-1].stop)
    if cores:  # where single cores were followed, the bundle they come from is not drawn too
        placed = [p for p in placed if p.lane is not None or p.segment.what != "core"]
    return _cut(placed, max(1, len(lanes)), unit)


def _levels(
    reading: Sequence[SegmentRecord],
) -> tuple[list[SegmentRecord], list[SegmentRecord]]:
    """Segments of the cable as a whole, and those of its single cores."""
    whole: list[SegmentRecord] = []
    cores: list[SegmentRecord] = []
    for segment in reading:
        single = segment.what in ("core", "sleeve", "copper") and segment.colour is not None
        inner = segment.what in ("copper", "sleeve", "terminal")
        follows = bool(cores) and segment.what == "hidden"
        (cores if single or inner or follows else whole).append(segment)
    return whole, cores


def _edge(placed: Sequence[Placed]) -> float | None:
    """Where the sheath ends: its cores begin there."""
    sheath = [p.stop for p in placed if p.segment.what == "sheath"]
    if sheath:
        return max(sheath)
    bundle = [p.start for p in placed if p.segment.what == "core"]
    return min(bundle) if bundle else None


def _chains(
    cores: Sequence[SegmentRecord], spans: Sequence[tuple[float, float]]
) -> list[list[tuple[SegmentRecord, float, float]]]:
    """Core, sleeve, copper, terminal of one and the same core, each chain in its order."""
    chains: list[list[tuple[SegmentRecord, float, float]]] = []
    for segment, (start, stop) in zip(cores, spans, strict=True):
        new = not chains or abs(chains[-1][-1][2] - start) > _JOIN_MM
        if new or (segment.what == "core" and chains[-1][-1][0].what in ("copper", "terminal")):
            chains.append([])
        chains[-1].append((segment, start, stop))
    return chains


def _cut(placed: list[Placed], lanes: int, unit: str) -> Strip:
    """Leave out what lies far outside the first thing that the cable meets."""
    start, stop = min(p.start for p in placed), max(p.stop for p in placed)
    met = [p.start for p in placed if p.segment.what != "sheath"]
    first = min(met) if met else stop
    least = first - _OUTSIDE_MM
    cut = unit == "mm" and start < least
    if cut:
        placed = [replace(p, start=max(p.start, least)) for p in placed if p.stop > least]
        start = least
    return Strip(tuple(placed), lanes, start, stop, unit, cut)


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
    """Without places in mm: in the order read; every core begins anew, from 0."""
    spans: list[tuple[float, float]] = []
    at = 0.0
    for segment, length in zip(reading, lengths, strict=True):
        if segment.what == "core" and segment.colour is not None:
            at = 0.0
        spans.append((at, at + length))
        at += length
    return spans
