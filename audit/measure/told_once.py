"""Each cable is told of once: a reading may hold two whose sheaths end at one place.

A strand of sheath that the map tore apart, or cores that spread beyond it, are often put together to two cables. The
cable beside another lies a whole width away, so two that end nearer than that are one, if not each has a line and a
neutral of its own. Told of twice, its fault would be flagged twice, and its doubts be asked twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from audit.measure.contract import CABLE_CHECKS
from audit.measure.two_looks import place_of
from audit.measure.verdicts import (
    CABLE,
    FLAG_AT,
    fault_probability,
    real_probability,
)
from audit.sight.readings import cpc_of
from audit.sight.types import CableReading, Readings, Tip

TWINS = 0.7
"""Two cables of one reading are one when their sheaths end less than this apart, in widths (the mean of both): of
two beside each other the middles lie a width apart. Chosen on the photos and on sample_images/bench/tune as below:
with .6 fewer are put together, and of the widths of the wider a bundle would take in each of its cables."""
_LIVE = ("brown", "red", "blue", "black", "grey")
"""Colours of cores that are no CPC."""


def told_once(readings: Readings) -> Readings:
    """A reading in which no cable is told of twice, its cables numbered anew.

    Of those whose sheaths end within `TWINS` of each other one stays: first one that would be flagged, then one that
    was seen in the looks together, then that which is likeliest to be there, and to have a fault. By cross-validation
    (407 of the photos that `further.toml` tells of) of 33 false flags at the grip 17 were of cables told of twice, of
    22 at the wall 15.

    Parameters
    ----------
    readings : Readings
        Of one look, or of several put together by `audit.measure.two_looks.both`, before marks.

    Returns
    -------
    Readings
        All ends; those of a cable that does not stay belong to the one that does, and its CPC is what all of them
        show. Ends that one look alone has seen belong to no cable that more have seen: they would change
        what is said of it.

    Raises
    ------
    ModelsError
        When a stored forest is missing or damaged.
    """
    kept: list[CableReading] = []
    same: dict[str, str] = {}
    own = {c.id: [t for t in readings.tips if t.cable == c.id] for c in readings.cables}
    for cable in sorted(readings.cables, key=_rank):
        twin = next((k for k in kept if _one(k, cable, own)), cable)
        if twin is cable:
            kept.append(cable)
        same[cable.id] = twin.id
    stay = {c.id for c in kept}
    order = [c.id for c in readings.cables if c.id in stay]
    names = {c: f"c{order.index(twin) + 1}" for c, twin in same.items()}
    shown = _named(readings, names, stay)
    # How other looks read a cable that does not stay is how they read its twin, if they did not see that as well.
    again = (_named(r, names, stay) for r in readings.again)
    cpcs = {names[c.id]: _cpc(c, same, readings) for c in kept}
    cables = (replace(c, cpc=cpcs[c.id]) for c in shown.cables)
    return replace(shown, cables=tuple(cables), again=tuple(again))


def apart(one: CableReading, other: CableReading) -> float:
    """Distance between the places where the sheaths of two cables end, in widths (the mean of both)."""
    away = float(np.hypot(*(place_of(one) - place_of(other))))
    return 2 * away / (one.width + other.width)


def _one(kept: CableReading, cable: CableReading, own: Mapping[str, Sequence[Tip]]) -> bool:
    """Whether two cables of a reading are one."""
    if apart(kept, cable) > TWINS:
        return False
    live = [{t.colour for t in own[c.id] if t.colour in _LIVE} for c in (kept, cable)]
    return min(map(len, live)) < 2


def _rank(cable: CableReading) -> tuple[bool, bool, float]:
    if cable.evidence is None:
        return False, cable.once, -2.0
    told = {check: fault_probability(check, cable.evidence) for check in CABLE_CHECKS}
    flagged = any(p >= FLAG_AT[check] for check, p in told.items())
    sure = real_probability(CABLE, cable.evidence)
    return not flagged, cable.once, -(sure + max(told.values()))


def _cpc(kept: CableReading, same: Mapping[str, str], readings: Readings) -> str:
    """What is seen of a cable's CPC, by its own ends and those of the cables that it stands for."""
    mine = [c for c in readings.cables if same[c.id] == kept.id]
    if len(mine) == 1:
        return kept.cpc
    ends = [t for t in readings.tips if any(_stays(t, c, kept) for c in mine)]
    spare = any(c.cpc != "none_comes_out" for c in mine)
    return cpc_of(ends, kept.edge_seen, spare)


def _stays(tip: Tip, owner: CableReading, kept: CableReading) -> bool:
    """Whether an end of one cable is one of that which stands for it, too."""
    return tip.cable == owner.id and (not tip.once or kept.once or owner.id == kept.id)


def _named(readings: Readings, names: Mapping[str, str], stay: set[str]) -> Readings:
    """A reading by the new names; where two cables have one name, that which stays, or the first."""
    cables: dict[str, CableReading] = {}
    for cable in sorted(readings.cables, key=lambda c: c.id not in stay):
        cables.setdefault(names[cable.id], cable)
    ordered = sorted(cables.items(), key=lambda item: int(item[0][1:]))
    once = {names[c.id]: c.once for c in readings.cables if c.id in stay}

    def named(tip: Tip) -> Tip:
        owner = tip.cable or ""
        alone = tip.once and owner not in stay and not once.get(names.get(owner, ""), False)
        return replace(tip, cable=None if alone else names.get(owner))

    return Readings(
        tuple(replace(c, id=name) for name, c in ordered), tuple(map(named, readings.tips))
    )
