"""Two looks at one photo, at two scales: what the second one alone has seen is told of as well, in doubt.

A cable or a core's end that is lost in one map is often found in another, made from the same picture at another
scale: which of them is lost is half chance. The first here is what is read of both maps joined
(`audit.sight.joint_map`), and each of the two looks is put beside it in turn. What both saw is told as the first look read it. What the second alone
saw becomes a cable or an end of its own: never clear, flagged only where it is very likely, else `unsure`, and a person
has to look.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np

from audit.measure.verdicts import CABLE, END, fault_probability, real_probability
from audit.sight.types import F64, CableReading, Readings, Tip

_Thing = TypeVar("_Thing", CableReading, Tip)

SAME_CABLE = 0.6
"""Two looks saw one cable when its sheath ends at places less than this apart, in widths of the cable: the cable
beside it lies a whole width away."""
SAME_END = 1.1
"""And one end of a core, in widths of the core (3 mm: what the benchmark takes for one place)."""
CABLE_FROM = 0.5
END_FROM, FAULT_FROM = 0.3, 0.1
"""What another look alone has seen is told of from this probability on that it is there; an end as well where
copper is as likely as `FAULT_FROM`. Chosen on 407 of the photos that `further.toml` tells of: with .3, .3 and .05 as many
faults were passed over, and 200 of 5300 answers more were unsure."""
ONCE = "seen in one look at this photo and not in what both looks show together: see for yourself whether it is there"
ELSEWHERE = "the looks at this photo do not agree which conductor is this cable's CPC: here is where one of them took it to be"


def both(first: Readings, second: Readings) -> Readings:
    """The first look's reading, and what the second alone has seen.

    Parameters
    ----------
    first, second : Readings
        Of one analysis picture, each without what is hardly there (`audit.measure.likely`), each cable once
        (`audit.measure.told_once`).

    Returns
    -------
    Readings
        The first's cables and ends, with the evidence of both looks and the second's reading (`others`) where both
        saw them; then those of
        the second that the first lacks, with `once` set. `again` is how the second read the first's cables.

    Raises
    ------
    ModelsError
        When a stored forest is missing or damaged.
    """
    names = _same(first.cables, second.cables)
    theirs = {names[c.id]: c for c in second.cables if c.id in names}
    cables = [_with(c, theirs.get(c.id)) for c in first.cables]
    for cable in second.cables:
        if cable.id in names or not _told_of(cable):
            continue
        names[cable.id] = f"c{len(cables) + 1}"
        cables.append(replace(cable, id=names[cable.id], once=True))
    alone = {c.id for c in cables if c.once}
    pairs = _ends(first.tips, second.tips)
    tips = [
        _with(t, second.tips[pairs[k]] if k in pairs else None) for k, t in enumerate(first.tips)
    ]
    for tip in second.tips:
        owner = names.get(tip.cable or "")
        if _seen(tip, first.tips):
            continue
        if owner in alone:
            tips.append(replace(tip, cable=owner, once=True))
        elif _end_told_of(tip):
            # Another look's end would change what the first says of its own cable.
            tips.append(replace(tip, cable=None, once=True))
    own = (replace(t, cable=names.get(t.cable or "")) for t in second.tips)
    again = Readings(
        tuple(replace(c, id=name) for name, c in theirs.items()),
        tuple(t for t in own if t.cable is None or t.cable in theirs),
    )
    return Readings(tuple(cables), tuple(tips), (*first.again, again))


def _with(mine: _Thing, theirs: _Thing | None) -> _Thing:
    """What one look read, with what the other read and the evidence of both."""
    if theirs is None or mine.evidence is None or theirs.evidence is None:
        return mine
    evidence = np.vstack([mine.evidence, theirs.evidence])
    return replace(mine, evidence=evidence, others=(*mine.others, theirs))


def _ends(first: Sequence[Tip], second: Sequence[Tip]) -> dict[int, int]:
    """Which end of the second look each of the first is, nearest first."""
    pairs = sorted(
        (_ends_apart(a, b), i, j) for i, a in enumerate(first) for j, b in enumerate(second)
    )
    same: dict[int, int] = {}
    for away, mine, theirs in pairs:
        if away <= SAME_END and mine not in same and theirs not in same.values():
            same[mine] = theirs
    return same


def place_of(cable: CableReading) -> F64:
    """Where the cable's sheath ends, or about where it would."""
    if cable.edge is not None:
        return np.asarray(cable.edge.points.mean(0), np.float64)
    return np.asarray(cable.axis[int(len(cable.axis) * 0.7)], np.float64)


def _same(first: Iterable[CableReading], second: Iterable[CableReading]) -> dict[str, str]:
    """Which cable of the first look each of the second is, nearest first."""
    pairs = [
        (float(np.hypot(*(place_of(a) - place_of(b)))) / max(a.width, b.width), a.id, b.id)
        for a in first
        for b in second
    ]
    same: dict[str, str] = {}
    for away, mine, theirs in sorted(pairs):
        if away <= SAME_CABLE and mine not in same.values() and theirs not in same:
            same[theirs] = mine
    return same


def _told_of(cable: CableReading) -> bool:
    return cable.evidence is None or real_probability(CABLE, cable.evidence) >= CABLE_FROM


def _end(tip: Tip) -> F64:
    return np.asarray(tip.copper_path.mean(0) if tip.copper_px > 0 else tip.path[-1], np.float64)


def _seen(tip: Tip, others: Iterable[Tip]) -> bool:
    return any(_ends_apart(tip, t) <= SAME_END for t in others)


def _ends_apart(one: Tip, other: Tip) -> float:
    """Distance between two ends, in widths of the wider core."""
    return float(np.hypot(*(_end(one) - _end(other)))) / max(one.width, other.width)


def _end_told_of(tip: Tip) -> bool:
    if tip.evidence is None or tip.colour == "bare":
        return False
    if real_probability(END, tip.evidence) >= END_FROM:
        return True
    return fault_probability("copper-beyond-terminal", tip.evidence) >= FAULT_FROM
