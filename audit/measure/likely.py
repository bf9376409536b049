"""Which cables and ends of a reading are told of: shadows, planks and printed edges give strands too.

Saying "can't tell" of things that are not there tires who reads it, and then it
is not read where it matters. A thing is passed over only when the trees that
weigh its evidence find both that it is hardly there and that no fault is.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from audit.measure.verdicts import (
    CABLE,
    END,
    NO_FAULT_BELOW,
    NO_FAULT_TOGETHER,
    REAL_BELOW,
    REAL_TOGETHER,
    cut_probability,
    fault_probability,
    real_probability,
)
from audit.sight.types import CableReading, Readings, Tip

_CABLE_CHECKS = ("core-outside-grip", "core-outside-enclosure")


def likely(readings: Readings) -> Readings:
    """A reading without what is hardly there, its cables numbered anew.

    This comes before marks, so that a mark's `c2` and `e5` are those a person was shown.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    Readings
        Ends of a cable that is passed over belong to no cable; the cores of one
        that is kept are kept, whatever is asked of their ends.

    Raises
    ------
    ModelsError
        When a stored forest is missing or damaged.
    """
    return _without(readings, _no_cable)


def likely_together(readings: Readings) -> Readings:
    """The same by what several looks say of a cable together, which tells more than each by itself.

    Parameters
    ----------
    readings : Readings
        Put together by `audit.measure.two_looks.both`.

    Returns
    -------
    Readings

    Raises
    ------
    ModelsError
        When a stored forest is missing or damaged.
    """
    return _without(readings, _no_cable_together)


def _without(readings: Readings, passed: Callable[[CableReading], bool]) -> Readings:
    kept = [c for c in readings.cables if not passed(c)]
    names = {c.id: f"c{k}" for k, c in enumerate(kept, 1)}
    shown = _named(readings, names)
    again = (_named(r, names) for r in readings.again)
    return replace(
        shown, tips=tuple(t for t in shown.tips if t.cable or not no_end(t)), again=tuple(again)
    )


def _named(readings: Readings, names: dict[str, str]) -> Readings:
    """Those cables of a reading that have a new name, and all ends."""
    cables = tuple(replace(c, id=names[c.id]) for c in readings.cables if c.id in names)
    tips = (replace(t, cable=names.get(t.cable or "")) for t in readings.tips)
    return Readings(cables, tuple(tips))


def _no_cable_together(cable: CableReading) -> bool:
    if cable.evidence is None or real_probability(CABLE, cable.evidence) > REAL_TOGETHER:
        return False
    faults = [
        fault_probability(check, cable.evidence) for check in (*_CABLE_CHECKS, "cpc-unsleeved")
    ]
    return max(*faults, cut_probability(cable.evidence) or 0.0) <= NO_FAULT_TOGETHER


def _no_cable(cable: CableReading) -> bool:
    if cable.evidence is None or real_probability(CABLE, cable.evidence) >= REAL_BELOW:
        return False
    return all(
        fault_probability(check, cable.evidence) <= NO_FAULT_BELOW[CABLE] for check in _CABLE_CHECKS
    )


def no_end(tip: Tip) -> bool:
    """Whether an end is hardly one, so that nothing is asked of its copper."""
    # A bare conductor is told of for the CPC's sake; its ends are not what the trees learned.
    if tip.evidence is None or tip.colour == "bare":
        return False
    if real_probability(END, tip.evidence) >= REAL_BELOW:
        return False
    return fault_probability("copper-beyond-terminal", tip.evidence) <= NO_FAULT_BELOW[END]
