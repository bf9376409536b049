"""The questions of a cable's protective conductor (CPC): does it run on, is it sleeved."""

from __future__ import annotations

import numpy as np

from audit.measure.cable_findings import box_round
from audit.measure.contract import Box, CpcRecord, FindingRecord
from audit.measure.scale import WorkScale
from audit.sight.types import CableReading, Tip

_CLEAR, _DOUBT, _DOUBT_BARE, _FLAGGED_CUT, _FLAGGED_BARE = 0.01, 0.03, 0.1, 0.5, 0.6
"""Shares of such findings that were faults on sample_images/bench/tune, 449 findings: the scores."""
_CPC = ("green-and-yellow", "bare")
_LEAST_LOOSE_MM = 5.0
"""A bare conductor that belongs to no cable is told of from this length on, mm."""

_PLAINLY_BARE_MM = 20.0
"""A bare conductor so long is flagged wherever it ends, mm (sample_images/bench/tune)."""


def _length(path: np.ndarray) -> float:
    return float(np.hypot(*np.diff(path, axis=0).T).sum())


def _round(tips: list[Tip], full: float, size: tuple[int, int], copper: bool = True) -> Box:
    """Box round the whole run of a CPC, of which other cores may hide parts."""
    paths = [np.concatenate([t.path, t.copper_path]) if copper else t.path for t in tips]
    return box_round(np.concatenate(paths), tips[0].width / 2, full, size)


def _edge_box(
    cable: CableReading, tips: list[Tip], full: float, size: tuple[int, int]
) -> Box | None:
    """Where a CPC would come out: the end of the sheath, or where the cores are first seen."""
    if cable.edge is not None and cable.edge_seen:
        return box_round(cable.edge.points, cable.width / 4, full, size)
    starts = [t.path[:1] for t in tips] + ([] if cable.edge is None else [cable.edge.points])
    if not starts:
        return None
    return box_round(np.concatenate(starts), cable.width / 3, full, size)


def cpc_findings(
    cable: CableReading,
    tips: list[Tip],
    scale: WorkScale,
    full: float,
    size: tuple[int, int],
    cpc_expected: bool | None,
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
    """
    own = sorted((t for t in tips if t.colour in _CPC), key=lambda t: -_length(t.path))
    where = _round(own, full, size) if own else _edge_box(cable, tips, full, size)
    seen = cable.cpc
    record = CpcRecord(cable=cable.id, seen=seen, box_px=where)
    state, score, why = "unsure", _DOUBT, "the CPC is not seen"
    if seen == "cut_short":
        state, score, why = "flag", _FLAGGED_CUT, "the CPC ends in the open"
    elif seen == "none_comes_out":
        if cpc_expected:
            state, score = "flag", _FLAGGED_CUT
        why = "the sheath's end is in view and the other cores come out of it, but no CPC: the usual fault is a CPC cut flush with the sheath"
    elif seen in ("sleeved", "bare"):
        if not _plainly_seen(cable, own):
            why = "too little of the CPC is seen to tell"
        elif any(t.ends_at == "terminal" for t in own):
            state, score, why = "clear", _CLEAR, "the CPC runs to a terminal"
        else:
            why = "where the CPC ends is not seen"
    findings = [cpc_finding("cpc-cut-short", cable.id, state, where, score, why)]
    # A CPC runs with the other cores of its cable: where it is not made out, their run is shown.
    run = _round(tips, full, size) if tips else where
    if seen in ("sleeved", "bare"):
        findings.append(_unsleeved(cable, own, scale, full, size, run))
    elif seen in ("not_seen", "none_comes_out"):
        findings.append(cpc_finding("cpc-unsleeved", cable.id, "unsure", run, _DOUBT, why))
    return record, findings


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
        runs_on = any(t.ends_at == "terminal" for t in bare)
        if not runs_on and (value is None or value < _PLAINLY_BARE_MM):
            # A short one that is not seen to run on may be the stump of a CPC that was cut, or a
            # part of a longer one: the run of the cable's cores is shown.
            return cpc_finding("cpc-unsleeved", cable.id, "unsure", run, _DOUBT_BARE, why, value)
        return cpc_finding("cpc-unsleeved", cable.id, "flag", box, _FLAGGED_BARE, why, value)
    if not _plainly_seen(cable, own):
        why = "too little of the CPC is seen to tell"
        return cpc_finding("cpc-unsleeved", cable.id, "unsure", run, _DOUBT, why)
    where = _round(own, full, size)
    return cpc_finding(
        "cpc-unsleeved", cable.id, "clear", where, _CLEAR, "green-and-yellow is seen along the CPC"
    )


_PLAIN_WIDTHS = 4.0


def _plainly_seen(cable: CableReading, own: list[Tip]) -> bool:
    """Whether a CPC was read plainly enough for clear: noise and shadows give short lone stumps."""
    long = any(_length(t.path) > _PLAIN_WIDTHS * t.width and t.colour_score > 0.5 for t in own)
    return long and len(cable.cores) >= 2


def loose_bare(
    tip: Tip, name: str, scale: WorkScale, full: float, size: tuple[int, int]
) -> FindingRecord | None:
    """A bare conductor of which no cable is known; None for any other end and for a short one."""
    if tip.cable is not None or tip.colour not in ("bare", "unknown"):
        return None
    path = tip.path if tip.colour == "bare" else tip.copper_path
    least = _LEAST_LOOSE_MM * scale.px_per_mm / full if scale.px_per_mm else 2.0 * tip.width
    if _length(path) < least:
        return None
    why = "a bare conductor is seen, but not which cable it belongs to; a photo that shows it from the sheath to its terminal would settle it"
    box = box_round(path, tip.width / 2, full, size)
    return cpc_finding("cpc-unsleeved", name, "unsure", box, _DOUBT, why)


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
