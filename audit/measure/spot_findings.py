"""Answers about spots that look like a fault and of which nothing else is said (`audit.sight.spots`)."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from types import MappingProxyType

import numpy as np

from audit.measure.boxes import same_place
from audit.measure.contract import Box, CheckId, FindingRecord
from audit.measure.declared import Declared
from audit.sight.spots import BARE, COPPER, CUT, GRIP, WALL, Spot
from audit.sight.types import Readings

CHECK_OF: Mapping[str, CheckId] = MappingProxyType(
    {
        COPPER: "copper-beyond-terminal",
        WALL: "core-outside-enclosure",
        GRIP: "core-outside-grip",
        CUT: "cpc-cut-short",
        BARE: "cpc-unsleeved",
    }
)
_LOOKS_LIKE: Mapping[str, str] = MappingProxyType(
    {
        COPPER: "bare copper beyond a terminal",
        WALL: "cores outside the enclosure",
        GRIP: "cores outside the grip",
        CUT: "a CPC that was cut short",
        BARE: "a CPC without sleeving",
    }
)


def spot_findings(
    spots: Sequence[Spot],
    told: Sequence[FindingRecord],
    readings: Readings,
    declared: Declared,
    px_per_mm: float | None,
    full: float,
    size: tuple[int, int],
) -> list[FindingRecord]:
    """Spots at which nothing is said of their kind of fault yet, as answers in doubt.

    Parameters
    ----------
    spots : sequence of Spot
        Of each kind the likeliest first.
    told : sequence of FindingRecord
        What is said already.
    readings : Readings
        What a person has marked in it beats a spot.
    declared : Declared
    px_per_mm : float or None
        Of the full photo at the work.
    full : float
        px of the full photo for one px of the analysis picture.
    size : (width, height)
        Of the full photo, px.

    Returns
    -------
    list of FindingRecord
        All `unsure`, of `p1`, `p2` and so on.
    """
    found: list[FindingRecord] = []
    for spot in spots:
        check = CHECK_OF[spot.kind]
        box = _box(spot, full, size)
        if not _asked(spot.kind, declared) or _marked(spot, readings):
            continue
        if any(_said(spot.kind, box, f, px_per_mm) for f in (*told, *found)):
            continue
        found.append(
            FindingRecord(
                check=check, of=f"p{len(found) + 1}", state="unsure", box_px=box,
                score=round(spot.probability, 4), why=_why(spot.kind),
            )
        )  # fmt: skip
    return found


def _said(kind: str, box: Box, told: FindingRecord, px_per_mm: float | None) -> bool:
    """Whether an answer speaks of what the spot shows."""
    if told.box_px is None:
        return False
    if told.check == CHECK_OF[kind]:
        return same_place(box, told.box_px, px_per_mm)
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


def _why(kind: str) -> str:
    return f"this spot looks like {_LOOKS_LIKE[kind]}, but no {_THING[kind]} could be followed to it: see for yourself"


_THING = {COPPER: "core", WALL: "cable", GRIP: "cable", CUT: "cable", BARE: "cable"}


def _asked(kind: str, declared: Declared) -> bool:
    """Whether the question is one for this photo, by what is declared of it."""
    if kind in (CUT, BARE):
        return declared.cpc_expected is not False
    return kind == COPPER or not declared.factory_lead


def _marked(spot: Spot, readings: Readings) -> bool:
    """Whether a person has marked the cable or the end that lies nearest."""
    at = (spot.box[:2] + spot.box[2:]) / 2
    if spot.kind == COPPER:
        ends = [(float(np.hypot(*(t.path[-1] - at))), t.evidence) for t in readings.tips]
    else:
        ends = [(float(np.hypot(*(c.axis - at).T).min()), c.evidence) for c in readings.cables]
    return bool(ends) and min(ends, key=lambda e: e[0])[1] is None


def _box(spot: Spot, full: float, size: tuple[int, int]) -> Box:
    """The spot's box in px of the full photo, within it."""
    sides = np.clip((spot.box + 0.5) * full, 0, [*size, *size])
    x0, y0, x1, y1 = (round(float(v), 1) for v in sides)
    return (x0, y0, x1, y1)
