"""What two looks say of one cable, put together: where they mean one place its middle is shown, else both places."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from audit.measure.boxes import centre_distance, same_place
from audit.measure.cable_findings import cable_finding
from audit.measure.contract import Box, CheckId, FindingRecord
from audit.measure.cpc_findings import adopted, cpc_findings
from audit.measure.declared import Declared
from audit.measure.scale import WorkScale
from audit.measure.two_looks import ELSEWHERE
from audit.settings import Settings
from audit.sight.types import Readings


def second_says(
    cable: str,
    again: Readings,
    checks: Sequence[CheckId],
    scale: WorkScale,
    full: float,
    size: tuple[int, int],
    settings: Settings,
    declared: Declared,
) -> list[FindingRecord]:
    """What the second look by itself would say of a cable's entry and CPC.

    Parameters
    ----------
    cable : str
        Its name in the first look.
    again : Readings
        How the second look read the cables that the first saw too, by the first's names.
    checks : sequence of str
        Those asked of an entry.
    scale : WorkScale
    full : float
        px of the full photo for one px of the analysis picture.
    size : (width, height)
        Of the full photo, px.
    settings : Settings
    declared : Declared

    Returns
    -------
    list of FindingRecord
        Empty where the second look did not see the cable.
    """
    found: list[FindingRecord] = []
    loose = adopted(again, scale, full).get(cable, ())
    lead = bool(declared.factory_lead)
    for other in again.cables:
        if other.id == cable:
            tips = [t for t in again.tips if t.cable == cable]
            found += [
                cable_finding(other, check, scale, full, size, settings, lead, tips)
                for check in checks
            ]
            found += cpc_findings(other, tips, scale, full, size, declared.cpc_expected, loose)[1]
    return found


def midway(
    mine: Sequence[FindingRecord], theirs: Sequence[FindingRecord], px_per_mm: float | None
) -> list[FindingRecord]:
    """Answers of the first look, shown midway to where the second look means the same place.

    Asked for one other look after another, the last counts half. Each look misplaces a sheath's end or a grip a
    little, seldom by the same. What is clear stays where it was seen.
    """
    return [
        f if f.state == "clear" else f.model_copy(update={"box_px": _middle(f, theirs, px_per_mm)})
        for f in mine
    ]


def _middle(
    mine: FindingRecord, theirs: Sequence[FindingRecord], px_per_mm: float | None
) -> Box | None:
    box = mine.box_px
    if box is None:
        return None
    boxes = [f.box_px for f in theirs if f.check == mine.check and f.box_px]
    near = min(boxes, key=lambda b: centre_distance(b, box), default=None)
    if near is None or not same_place(near, box, px_per_mm):
        return box
    x0, y0, x1, y1 = (round(float(v), 1) for v in np.mean([box, near], 0))
    return (x0, y0, x1, y1)


def elsewhere(
    told: Sequence[FindingRecord], theirs: Sequence[FindingRecord], px_per_mm: float | None
) -> list[FindingRecord]:
    """What the second look says of a cable's CPC where the first says nothing of any: a CPC is easily taken
    for a neighbour's, and which one is taken changes from look to look."""
    return [
        f.model_copy(update={"state": "unsure", "why": ELSEWHERE})
        for f in theirs
        if f.box_px is not None
        and not any(
            f.check == t.check and t.box_px and same_place(f.box_px, t.box_px, px_per_mm)
            for t in told
        )
    ]
