"""Each cable is told of once: a reading may hold two whose sheaths end at one place.

A strand of sheath that the map tore apart, or cores that spread beyond it, are often put together to two cables. The
cable beside another lies a whole width away, so two that end nearer than that are one. Told of twice, its fault
would be flagged twice, and its doubts be asked twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from audit.measure.contract import CABLE_CHECKS
from audit.measure.two_looks import place_of
from audit.measure.verdicts import CABLE, fault_probability, real_probability
from audit.sight.types import CableReading, Readings

TWINS = 0.7
"""Two cables of one reading are one when their sheaths end less than this apart, in widths (the mean of both): of
two beside each other the middles lie a width apart. Chosen on the photos and on sample_images/bench/tune as below:
with .6 fewer are put together, and of the widths of the wider a bundle would take in each of its cables."""


def told_once(readings: Readings) -> Readings:
    """A reading in which no cable is told of twice, its cables numbered anew.

    Of those whose sheaths end within `TWINS` of each other one stays: one that was seen in the looks together before one
    that was not, then that which is likeliest to be there, and to have a fault. By cross-validation (407 of the
    photos that `further.toml` tells of) of 33 false flags at the grip 18 were of cables told of twice, of 22 at
    the wall 15.

    Parameters
    ----------
    readings : Readings
        Of one look, or of several put together by `audit.measure.two_looks.both`, before marks.

    Returns
    -------
    Readings
        All ends; those of a cable that does not stay belong to the one that does.

    Raises
    ------
    ModelsError
        When a stored forest is missing or damaged.
    """
    kept: list[CableReading] = []
    same: dict[str, str] = {}
    for cable in sorted(readings.cables, key=_rank):
        twin = next((k for k in kept if apart(cable, k) <= TWINS), cable)
        if twin is cable:
            kept.append(cable)
        same[cable.id] = twin.id
    stay = {c.id for c in kept}
    order = [c.id for c in readings.cables if c.id in stay]
    names = {c: f"c{order.index(twin) + 1}" for c, twin in same.items()}
    shown = _named(readings, names, stay)
    # How other looks read a cable that does not stay is how they read its twin, if they did not see that as well.
    again = (_named(r, names, stay) for r in readings.again)
    return replace(shown, again=tuple(again))


def apart(one: CableReading, other: CableReading) -> float:
    """Distance between the places where the sheaths of two cables end, in widths (the mean of both)."""
    away = float(np.hypot(*(place_of(one) - place_of(other))))
    return 2 * away / (one.width + other.width)


def _rank(cable: CableReading) -> tuple[bool, float]:
    if cable.evidence is None:
        return cable.once, -2.0
    faulty = max(fault_probability(check, cable.evidence) for check in CABLE_CHECKS)
    return cable.once, -(real_probability(CABLE, cable.evidence) + faulty)


def _named(readings: Readings, names: Mapping[str, str], stay: set[str]) -> Readings:
    """A reading by the new names; where two cables have one name, that which stays, or the first."""
    cables: dict[str, CableReading] = {}
    for cable in sorted(readings.cables, key=lambda c: c.id not in stay):
        cables.setdefault(names[cable.id], cable)
    ordered = sorted(cables.items(), key=lambda item: int(item[0][1:]))
    tips = (replace(t, cable=names.get(t.cable or "")) for t in readings.tips)
    return Readings(tuple(replace(c, id=name) for name, c in ordered), tuple(tips))
