"""Answers about spots that look like a fault and of which nothing else is said (`audit.sight.spots`)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from audit.measure.boxes import box_round, same_place
from audit.measure.contract import Box, CheckId, FindingRecord
from audit.measure.declared import Declared
from audit.sight.spots import BARE, COPPER, CUT, GRIP, LATE, WALL, Spot
from audit.sight.types import F64, Readings

CHECK_OF: Mapping[str, CheckId] = MappingProxyType(
    {
        COPPER: "copper-beyond-terminal",
        WALL: "core-outside-enclosure",
        GRIP: "core-outside-grip",
        CUT: "cpc-cut-short",
        BARE: "cpc-unsleeved",
        LATE: "cpc-unsleeved",
    }
)
_LOOKS_LIKE: Mapping[str, str] = MappingProxyType(
    {
        COPPER: "bare copper beyond a terminal",
        WALL: "cores outside the enclosure",
        GRIP: "cores outside the grip",
        CUT: "a CPC that was cut short, or is bare before its sleeve",
        BARE: "a CPC without sleeving",
        LATE: "a CPC that is bare between its sheath and its sleeve",
    }
)


@dataclass(frozen=True)
class Shown:
    """A spot of which something may be said: its number among all, and its box, px of the full photo."""

    number: int
    spot: Spot
    box: Box


def shown_of(
    spots: Sequence[Spot],
    declared: Declared,
    readings: Readings,
    full: float,
    size: tuple[int, int],
) -> list[Shown]:
    """The spots whose question is one for the photo, and at which no person has marked a thing.

    Parameters
    ----------
    spots : sequence of Spot
        Of each kind the likeliest first.
    declared : Declared
    readings : Readings
    full : float
        px of the full photo for one px of the analysis picture.
    size : (width, height)
        Of the full photo, px.

    Returns
    -------
    list of Shown
        A spot's number is the same whatever is marked or declared.
    """
    return [
        Shown(n, spot, box_round(spot.box.reshape(2, 2), 0.0, full, size))
        for n, spot in enumerate(spots, 1)
        if _asked(spot.kind, declared) and not _marked(spot, readings)
    ]


def spot_findings(
    shown: Sequence[Shown], told: Sequence[FindingRecord], px_per_mm: float | None
) -> list[FindingRecord]:
    """Spots at which nothing is said of their kind of fault yet, as answers in doubt.

    Parameters
    ----------
    shown : sequence of Shown
    told : sequence of FindingRecord
        What is said already.
    px_per_mm : float or None
        Of the full photo at the work.

    Returns
    -------
    list of FindingRecord
        All `unsure`, of `p1`, `p2` and so on, by the spots' numbers.
    """
    found: list[FindingRecord] = []
    for s in shown:
        if not any(_said(s.spot.kind, s.box, f, px_per_mm) for f in (*told, *found)):
            first = all(f.check != CHECK_OF[s.spot.kind] for f in found)
            found.append(_finding(s, s.spot.more if first else 0))
    return found


def _finding(shown: Shown, more: int) -> FindingRecord:
    kind = shown.spot.kind
    return FindingRecord(
        check=CHECK_OF[kind], of=f"p{shown.number}", state="unsure", box_px=shown.box,
        score=_score(shown.spot), why=_why(kind, more),
    )  # fmt: skip


LATE_ODDS = 0.02
"""By how much the odds of a sleeve that begins late are less where work is looked at than in the photos that its trees learned from, where
most begin late. By likelihood on 62 such spots of the photos of docs/adr/0020, of which 9 were true."""


def _score(spot: Spot) -> float:
    """How likely the fault is in ordinary work: shifted to its share there (Saerens, Latinne and Decaestecker 2002)."""
    p = spot.probability
    if spot.kind == LATE:
        odds = LATE_ODDS * p / max(1 - p, 1e-6)
        p = odds / (1 + odds)
    return round(p, 4)


DOUBTED_FROM = 0.1
"""How likely a fault must be at a spot for what was read to be clear there to be in doubt."""


def doubted(
    told: Sequence[FindingRecord], shown: Sequence[Shown], px_per_mm: float | None
) -> list[FindingRecord]:
    """The answers, those that are clear in doubt where a spot looks like the fault; parameters as for `spot_findings`."""
    likely = [s for s in shown if s.spot.probability >= DOUBTED_FROM]
    out = []
    for finding in told:
        against = [
            (s.spot.probability, s.spot.kind, _score(s.spot))
            for s in likely
            if _speaks_against(s.spot.kind, s.box, s.spot.probability, finding, px_per_mm)
        ]
        if against:
            _, kind, share = max(against)
            why = f"what was read is sound, but this place looks like {_LOOKS_LIKE[kind]}: see for yourself"
            score = max(finding.score, share)
            finding = finding.model_copy(update={"state": "unsure", "why": why, "score": score})
        out.append(finding)
    return out


WITHIN_FROM = 0.5
"""The same for what is shown along a whole CPC, in whose box a spot may be another cable's."""


def _speaks_against(
    kind: str, box: Box, probability: float, finding: FindingRecord, px_per_mm: float | None
) -> bool:
    clear = finding.state == "clear" and finding.check == CHECK_OF[kind]
    if not clear or finding.box_px is None:
        return False
    if same_place(box, finding.box_px, px_per_mm):
        return True
    return kind in _OF_CPC and probability >= WITHIN_FROM and _within(box, finding.box_px)


_OF_CPC = (CUT, BARE, LATE)
_ONE_FAULT = (COPPER, WALL, GRIP)
"""Kinds of which a spot whose middle lies in the box of a flag of the same kind is taken for what is flagged. Of spots that do no
more than touch one two of 174 were another fault (cross-validation, 407 of the photos that `further.toml` tells of), of the
CPC's eleven of 84."""


def _said(kind: str, box: Box, told: FindingRecord, px_per_mm: float | None) -> bool:
    """Whether an answer speaks of what a spot shows, taken for a fault of this kind."""
    if told.box_px is None:
        return False
    if told.check == CHECK_OF[kind]:
        if same_place(box, told.box_px, px_per_mm):
            return True
        # Where no length was measured the box is of all that a cable shows, and may cover the next one's entry.
        measured = kind in _ONE_FAULT and told.value_mm is not None
        return measured and told.state == "flag" and _within(box, told.box_px)
    # A bare CPC is copper: where one is flagged, copper is no news.
    return (
        kind == COPPER
        and told.check == CHECK_OF[BARE]
        and told.state == "flag"
        and _within(box, told.box_px)
    )


def _within(box: Box, other: Box) -> bool:
    """Whether a box has its middle in another."""
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    return other[0] <= x <= other[2] and other[1] <= y <= other[3]


def _why(kind: str, more: int) -> str:
    why = f"this spot looks like {_LOOKS_LIKE[kind]}, and nothing that was read speaks of it: see for yourself"
    return f"{why}; spots like it that are not marked: {more}" if more else why


def _asked(kind: str, declared: Declared) -> bool:
    """Whether the question is one for this photo, by what is declared of it."""
    if kind in _OF_CPC:
        return declared.cpc_expected is not False
    return kind == COPPER or not declared.factory_lead


_BY_CABLE, _BY_END = 1.0, 4.0
"""How near to a marked cable a spot is of that cable, widths of it; and to a marked end, widths of the core."""


def _marked(spot: Spot, readings: Readings) -> bool:
    """Whether the cable or the end that the spot lies by is one that a person has marked."""
    at = (spot.box[:2] + spot.box[2:]) / 2
    near = []
    if spot.kind == COPPER:
        for t in readings.tips:
            away = _away(np.concatenate([t.path[-1:], t.copper_path]), at)
            near.append((away / (_BY_END * t.width), t.evidence is None))
    else:
        near = [
            (_away(c.axis, at) / (_BY_CABLE * c.width), c.evidence is None) for c in readings.cables
        ]
    away, marked = min(near, default=(np.inf, False))
    return marked and away <= 1


def _away(path: F64, at: F64) -> float:
    return float(np.hypot(*(path - at).T).min())
