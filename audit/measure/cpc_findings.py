"""The questions of a cable's protective conductor (CPC): does it run on, is it sleeved."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from audit.measure.boxes import box_round, part_of
from audit.measure.contract import Box, CpcRecord, FindingRecord, Length
from audit.measure.lengths import PixelLength, to_mm
from audit.measure.scale import WorkScale
from audit.measure.verdicts import (
    CLEAR_AT,
    CUT,
    cut_probability,
    fault_probability,
    flag_from,
    looks_of,
)
from audit.sight.types import CableReading, Readings, Tip

_CLEAR, _DOUBT, _DOUBT_BARE, _FLAGGED_CUT, _FLAGGED_BARE = 0.01, 0.03, 0.1, 0.5, 0.8
"""Shares of such findings that were faults on the photos that the trees are fitted on: the scores."""
_CPC = ("green-and-yellow", "bare")
_LEAST_LOOSE_MM = 5.0
"""A bare conductor that belongs to no cable is told of from this length on, mm."""

_BARE_MM, _PLAINLY_BARE_MM = 15.0, 28.0
"""A bare conductor of the first length on that runs to a terminal is flagged, one of the second that
starts at the sheath wherever it ends, mm. Of 73 of 15 mm or more on the photos that the trees are fitted
on, 33 of the 41 so flagged were an unsleeved CPC, 6 of the others (the rest: copper of other cores, wood)."""
_ADOPTED_MM = 5.0
"""A bare conductor that comes to light so near a cable's cores, and of no other, is its CPC, mm."""


_BEFORE_EDGE, _BEHIND_EDGE = 0.3, 1.0
"""How far before and behind the sheath's end is shown where no CPC is made out, widths of the cable: of 103
CPCs that were cut short or flush (the photos that the trees are fitted on) 60 lie at such a place, 52 at the edge alone;
of 37 in photos that no forest saw, 30 and 26."""


def _length(path: np.ndarray) -> float:
    return float(np.hypot(*np.diff(path, axis=0).T).sum())


def _round(tips: list[Tip], full: float, size: tuple[int, int], copper: bool = True) -> Box:
    """Box round the whole run of a CPC, of which other cores may hide parts."""
    paths = [np.concatenate([t.path, t.copper_path]) if copper else t.path for t in tips]
    return box_round(np.concatenate(paths), tips[0].width / 2, full, size)


def _edge_box(
    cable: CableReading, tips: list[Tip], full: float, size: tuple[int, int]
) -> Box | None:
    """Where a CPC would come out, and the stump of a cut one lie: from before the sheath's end on along the
    cores, or where the cores are first seen."""
    if cable.edge is not None:
        at, width = cable.edge.at, cable.width
        path = part_of(cable, at - _BEFORE_EDGE * width, at + _BEHIND_EDGE * width)
        return box_round(path, width / 2, full, size)
    starts = [t.path[:1] for t in tips]
    if not starts:
        return None
    return box_round(np.concatenate(starts), cable.width / 2, full, size)


def adopted(readings: Readings, scale: WorkScale, full: float) -> dict[str, list[Tip]]:
    """Bare conductors that cross under the cores of a cable, by the cable's id.

    A bare CPC is thin and lies lowest: where its first run is hidden, it comes to
    light further on, as a conductor of no cable. It is given to the nearest cable
    of which no sleeved CPC is seen.
    """
    out: dict[str, list[Tip]] = {}
    mm = scale.px_per_mm / full if scale.px_per_mm else None
    cables = [c for c in readings.cables if c.cpc not in ("sleeved", "cut_short")]
    if mm is None or not cables:
        return out
    for t in readings.tips:
        if t.cable is not None or t.colour != "bare" or _length(t.path) < _LEAST_LOOSE_MM * mm:
            continue
        away = [float(np.hypot(*(c.axis - t.path[0]).T).min()) for c in cables]
        if min(away) < _ADOPTED_MM * mm:
            out.setdefault(cables[int(np.argmin(away))].id, []).append(t)
    return out


def cpc_findings(
    cable: CableReading,
    tips: list[Tip],
    scale: WorkScale,
    full: float,
    size: tuple[int, int],
    cpc_expected: bool | None,
    loose: Sequence[Tip] = (),
) -> tuple[CpcRecord, list[FindingRecord]]:
    """What is seen of one cable's CPC, and the two questions about it.

    Parameters
    ----------
    cable : CableReading
    tips : list of Tip
        The cable's own ends.
    scale : WorkScale
    full : float
        px of the full photo for one px of the analysis picture.
    size : (width, height)
        Of the full photo, px.
    cpc_expected : bool or None
        Whether the cable is declared to have one.
    loose : sequence of Tip
        Bare conductors that are taken for further runs of its CPC (`adopted`).
    """
    own = sorted((t for t in tips if t.colour in _CPC), key=lambda t: -_length(t.path))
    where = _round(own, full, size) if own else _edge_box(cable, tips, full, size)
    seen = cable.cpc
    findings = _cut_findings(cable, own, where, full, size, bool(cpc_expected))
    # Rules take what is recorded as a fact; so rarely right a reading is none.
    doubted = seen == "none_comes_out" and findings[0].state == "unsure" and cpc_expected
    recorded = "not_seen" if seen == "cut_short" or doubted else seen
    record = CpcRecord(cable=cable.id, seen=recorded, box_px=where)
    # A CPC runs with the other cores of its cable: where it is not made out, their run is shown.
    run = _round(tips, full, size) if tips else where
    if seen == "sleeved" or (seen == "bare" and not loose):
        findings.append(_unsleeved(cable, own, scale, full, size, run))
    elif loose:
        findings.append(_crosses_under(cable, [*own, *loose], scale, full, size))
    elif seen in ("not_seen", "none_comes_out"):
        _, _, why = _read_end(cable, own, bool(cpc_expected))
        findings.append(cpc_finding("cpc-unsleeved", cable.id, "unsure", run, _DOUBT, why))
    return record, findings


def _cut_findings(
    cable: CableReading,
    own: list[Tip],
    where: Box | None,
    full: float,
    size: tuple[int, int],
    expected: bool,
) -> list[FindingRecord]:
    """Whether a cable's CPC runs on; `own` are the pieces of CPC that are seen of it, longest first."""
    state, score, why = _read_end(cable, own, expected)
    if cable.evidence is not None and (told := cut_probability(cable.evidence)) is not None:
        flagged = expected and told >= flag_from(CUT, looks_of(cable.evidence))
        state, why = _weighed_cut(state, why, told, flagged)
        score = round(told, 4)
    findings = [cpc_finding("cpc-cut-short", cable.id, state, where, score, why)]
    if state == "unsure" and own and cable.edge is not None:
        # What is seen may be a neighbour's piece: the place where this one's must come out is shown too.
        begin = _edge_box(cable, own, full, size)
        findings.append(cpc_finding("cpc-cut-short", cable.id, "unsure", begin, score, _BEGIN))
    return findings


def _read_end(cable: CableReading, own: list[Tip], expected: bool) -> tuple[str, float, str]:
    """State, score and reason by what is read alone."""
    if cable.cpc == "cut_short":
        # Of 26 such readings (photos the trees are fitted on) 2 were of a CPC that was cut: most go on
        # under another core.
        return "unsure", _DOUBT_BARE, _SEEMS_TO_END
    if cable.cpc == "none_comes_out":
        if expected:
            return "flag", _FLAGGED_CUT, _NONE_COMES_OUT
        return "unsure", _DOUBT, _NONE_COMES_OUT
    if cable.cpc in ("sleeved", "bare"):
        if not _plainly_seen(cable, own):
            return "unsure", _DOUBT, "too little of the CPC is seen to tell"
        if any(t.ends_at == "terminal" and _long(t) for t in own):
            return "clear", _CLEAR, "the CPC runs to a terminal"
        return "unsure", _DOUBT, "where the CPC ends is not seen"
    return "unsure", _DOUBT, "the CPC is not seen"


_SEEMS_TO_END = "a piece of CPC seems to end in the open, or goes on where it is not seen; a photo of its end, without moving anything, would settle it"
_NONE_COMES_OUT = "the sheath's end is in view and the other cores come out of it, but no CPC: the usual fault is a CPC cut flush with the sheath"


_BEGIN = "where this cable's CPC comes out of its sheath: the piece that is seen farther on may be another cable's"


def _weighed_cut(state: str, why: str, told: float, flagged: bool) -> tuple[str, str]:
    """State and reason of a CPC's end once its cable's evidence was weighed."""
    if state == "clear" and told > CLEAR_AT[CUT]:
        return (
            "unsure",
            "a CPC seems to run to a terminal, but the rest of what is seen does not rule out that it is another cable's; a photo that shows it from the sheath to its terminal would settle it",
        )
    if flagged:
        return "flag", f"this cable's CPC is likely cut short or cut flush with the sheath: {why}"
    if state == "flag":
        return (
            "unsure",
            f"{why}; but the rest of what is seen does not bear that out, another core may lie over it",
        )
    return state, why


def _unsleeved(
    cable: CableReading,
    own: list[Tip],
    scale: WorkScale,
    full: float,
    size: tuple[int, int],
    run: Box | None,
) -> FindingRecord:
    bare = [t for t in own if t.colour == "bare"]
    if bare:
        box = _round(bare, full, size, copper=False)
        px = sum(_length(t.path) for t in bare) * full
        value = None if scale.px_per_mm is None else px / scale.px_per_mm
        why = "a bare conductor runs from the sheath with no green-and-yellow sleeving"
        if not _plainly_bare(bare, value, at_sheath=True):
            # A short one that is not seen to run on may be the stump of a CPC that was cut, or a
            # part of a longer one: the run of the cable's cores is shown. Before a sleeve it is neither.
            before = cable.cpc == "sleeved"
            at = box if before else run
            one = cpc_finding("cpc-unsleeved", cable.id, "unsure", at, _DOUBT_BARE, why, value)
            length = _stretch(px, 0.0, scale) if before else None
            u95 = None if length is None else round(length.u95, 2)
            return one.model_copy(update={"u95_mm": u95})
        return cpc_finding("cpc-unsleeved", cable.id, "flag", box, _FLAGGED_BARE, why, value)
    if not _plainly_seen(cable, own):
        why = "too little of the CPC is seen to tell"
        return cpc_finding("cpc-unsleeved", cable.id, "unsure", run, _DOUBT, why)
    late = _begins_late(cable, own, scale, full, size)
    if late is not None:
        return late
    if cable.edge is None or not cable.edge_seen:
        why = (
            "green-and-yellow is seen along the CPC, but not the sheath's end, where it must begin"
        )
        return cpc_finding("cpc-unsleeved", cable.id, "unsure", run, _DOUBT, why)
    where = _round(own, full, size)
    told = _CLEAR
    if cable.evidence is not None:
        told = round(fault_probability("cpc-unsleeved", cable.evidence), 4)
        if told > CLEAR_AT["cpc-unsleeved"]:
            why = "green-and-yellow is seen along a CPC, but the rest of what is seen does not rule out that this cable's own is bare; a photo that shows it from the sheath to its terminal would settle it"
            return cpc_finding("cpc-unsleeved", cable.id, "unsure", run, told, why)
    why = "green-and-yellow is seen along the CPC"
    return cpc_finding("cpc-unsleeved", cable.id, "clear", where, told, why)


_SHRED_WIDTHS, _LATE_WIDTHS = 1.5, 1.0
"""Length below which a piece is no sleeve; and where no scale is told, how late a sleeve may begin: widths of the core."""
_LATE_MM, _LATE_SD_MM, _LATE = 2.0, 0.9, 0.3
"""A sleeve that is first seen so far behind the sheath's end is in doubt; standard uncertainty of that length; and the share of
such answers that were a fault: of 48 (the photos of docs/adr/0020) 14. Of the first 112 CPCs called clear before 23 began later, 8 of
them faults, and no other was one."""


def _begins_late(
    cable: CableReading, own: Sequence[Tip], scale: WorkScale, full: float, size: tuple[int, int]
) -> FindingRecord | None:
    """Doubt where green-and-yellow is first seen some way behind the sheath's end: what comes before may be bare."""
    # A shred of some other thing that lies by the sheath's end is no sleeve.
    seen = [t for t in own if t.colour_score > 0.5 and _length(t.path) > _SHRED_WIDTHS * t.width]
    if cable.edge is None or not seen:
        return None
    ends = np.stack([t.path[k] for t in seen for k in (0, -1)])
    feet = np.stack([_nearest(cable.edge.points, e) for e in ends])
    away = np.hypot(*(ends - feet).T)
    first = int(away.argmin())
    width = seen[first // 2].width
    box = box_round(np.stack([feet[first], ends[first]]), width / 2, full, size)
    why = "green-and-yellow is first seen {} behind the sheath's end: see whether the CPC is bare before it"
    length = _stretch(away[first] * full, cable.edge.sd * full, scale)
    if length is None:
        if away[first] <= _LATE_WIDTHS * width:
            return None
        far = "some way (without a scale it is not told how far)"
        return cpc_finding("cpc-unsleeved", cable.id, "unsure", box, _LATE, why.format(far))
    if length.value <= _LATE_MM:
        return None
    far = f"{length.value:.1f} ± {length.u95:.1f} mm"
    late = cpc_finding(
        "cpc-unsleeved", cable.id, "unsure", box, _LATE, why.format(far), length.value
    )
    return late.model_copy(update={"u95_mm": round(length.u95, 2)})


def _stretch(px: float, sd: float, scale: WorkScale) -> Length | None:
    """A stretch of CPC by the sheath's end, of which one end is known within `sd`, px of the full photo."""
    if scale.px_per_mm is None or scale.u95_rel is None:
        return None
    each = float(np.hypot(sd, _LATE_SD_MM * scale.px_per_mm) / np.sqrt(2))
    return to_mm(PixelLength(px, each, each), scale.px_per_mm, scale.u95_rel)


def _nearest(line: np.ndarray, point: np.ndarray) -> np.ndarray:
    """The point of a straight line's stretch, (2, 2), that is nearest to another."""
    a, b = line[0], line[-1]
    share = np.clip((point - a) @ (b - a) / max(float((b - a) @ (b - a)), 1e-9), 0, 1)
    return np.asarray(a + share * (b - a))


def _plainly_bare(bare: Sequence[Tip], value: float | None, at_sheath: bool) -> bool:
    if value is None:
        return False
    runs_on = any(t.ends_at == "terminal" for t in bare)
    return value >= (_BARE_MM if runs_on else _PLAINLY_BARE_MM) and (runs_on or at_sheath)


def _crosses_under(
    cable: CableReading, bare: list[Tip], scale: WorkScale, full: float, size: tuple[int, int]
) -> FindingRecord:
    """A bare CPC of which runs are seen, further in than the sheath's end or with other cores over it."""
    paths = [t.path for t in bare] + ([] if cable.edge is None else [cable.edge.points])
    box = box_round(np.concatenate(paths), bare[0].width / 2, full, size)
    px = sum(_length(t.path) for t in bare) * full
    value = None if scale.px_per_mm is None else px / scale.px_per_mm
    at_sheath = any(t.cable == cable.id for t in bare)
    if not _plainly_bare(bare, value, at_sheath):
        why = "some of a bare conductor is seen that may be this cable's CPC; a photo from another side, without moving anything, would settle it"
        return cpc_finding("cpc-unsleeved", cable.id, "unsure", box, _DOUBT_BARE, why, value)
    why = "a bare conductor runs under this cable's cores with no green-and-yellow sleeving; its length is what is seen of it"
    return cpc_finding("cpc-unsleeved", cable.id, "flag", box, _FLAGGED_BARE, why, value)


_PLAIN_WIDTHS = 4.0


def _plainly_seen(cable: CableReading, own: list[Tip]) -> bool:
    """Whether a CPC was read plainly enough for clear: noise and shadows give short lone stumps."""
    return any(map(_long, own)) and len(cable.cores) >= 2


def _long(tip: Tip) -> bool:
    return _length(tip.path) > _PLAIN_WIDTHS * tip.width and tip.colour_score > 0.5


def cpc_finding(
    check: str,
    of: str,
    state: str,
    box: Box | None,
    score: float,
    why: str,
    value: float | None = None,
) -> FindingRecord:
    """One answer about a CPC."""
    return FindingRecord(
        check=check,
        of=of,
        state=state,
        box_px=box,
        value_mm=None if value is None else round(value, 1),
        score=score,
        why=why,
    )
