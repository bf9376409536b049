"""Switching between normal, tightened and reduced inspection by the history of lots (ISO 2859-1, 9.3).

The rules as used here, from memory of the 1999 edition (`models/sampling/iso2859-1.toml` says what
was read and what was not):

- normal to tightened: 2 of 5 or fewer consecutive lots went over Ac
- tightened to normal: 5 consecutive lots stayed within Ac
- discontinue: 5 lots went over Ac while on tightened inspection
- normal to reduced: a switching score of 30 or more, steady work, and the agreement of whoever
  answers for it; never by itself
- reduced to normal: one lot went over Ac
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from audit.errors import UsageError
from audit.sampling.plans import Level, Plan, Severity, plan, tighter_aql

SCORE_FOR_REDUCED = 30
WINDOW = 5


@dataclass(frozen=True)
class Lot:
    """One earlier lot as it was first looked at.

    Parameters
    ----------
    size : int
        Fittings in it.
    faulty : int
        Faulty fittings in its sample.
    stops : int
        Those among them with a fault of weight stop: one is enough to go over.
    """

    size: int
    faulty: int
    stops: int = 0


@dataclass(frozen=True)
class Standing:
    """Where switching stands before the next lot.

    Parameters
    ----------
    severity : {'normal', 'tightened', 'reduced'}
    score : int
        Switching score, kept on normal inspection only.
    recent : tuple of bool
        On normal inspection: the last lots, at most five, True where one went over Ac.
    within : int
        On tightened inspection: lots in a row that stayed within Ac.
    over : int
        On tightened inspection: lots that went over Ac since it began.
    stopped : bool
        Five went over on tightened inspection: sampling is no longer enough.
    reduced_possible : bool
        The score allows reduced inspection, if whoever answers for the work agrees.
    why : str
        What led here last.
    """

    severity: Severity = "normal"
    score: int = 0
    recent: tuple[bool, ...] = ()
    within: int = 0
    over: int = 0
    stopped: bool = False
    reduced_possible: bool = False
    why: str = "normal inspection, as at the start"


@dataclass(frozen=True)
class Scheme:
    """What stays the same from lot to lot.

    Parameters
    ----------
    aql : str
    level : {'I', 'II', 'III'}
    reduced_agreed : bool
        Whoever answers for the work agreed to reduced inspection.
    """

    aql: str
    level: Level = "II"
    reduced_agreed: bool = False


def follow(lots: Sequence[Lot], scheme: Scheme) -> Standing:
    """Where switching stands after a series of lots, oldest first.

    Parameters
    ----------
    lots : sequence of Lot
    scheme : Scheme

    Raises
    ------
    UsageError
        When a lot had more faulty fittings in its sample than the sample held.
    """
    now = Standing()
    for number, lot in enumerate(lots, start=1):
        used = plan(lot.size, scheme.aql, now.severity, scheme.level)
        if not 0 <= lot.stops <= lot.faulty <= used.n:
            raise UsageError(
                f"earlier lot {number}: {lot.faulty} faulty, {lot.stops} of weight stop, "
                f"of a sample of {used.n} can't be",
                next_step="give each lot as SIZE:FAULTY:STOP, counted in its sample, oldest first",
            )
        if now.stopped:
            break
        now = _step(now, lot, used, scheme, number)
    return now


def _step(now: Standing, lot: Lot, used: Plan, scheme: Scheme, number: int) -> Standing:
    over = lot.faulty > used.ac or lot.stops > 0
    if now.severity == "normal":
        return _normal(now, lot, used, scheme, over, number)
    if now.severity == "tightened":
        return _tightened(now, over, number)
    if over:
        return Standing(why=f"lot {number} went over Ac on reduced inspection: back to normal")
    return now


def _normal(
    now: Standing, lot: Lot, used: Plan, scheme: Scheme, over: bool, number: int
) -> Standing:
    recent = (*now.recent, over)[-WINDOW:]
    if sum(recent) >= 2:
        return Standing(
            "tightened",
            why=f"2 of {len(recent)} consecutive lots went over Ac, the last lot {number}",
        )
    score = _score(now.score, lot, used, scheme, over)
    possible = score >= SCORE_FOR_REDUCED
    if possible and scheme.reduced_agreed:
        return Standing("reduced", why=f"switching score {score} after lot {number}, and agreed to")
    return replace(now, recent=recent, score=score, reduced_possible=possible)


def _score(score: int, lot: Lot, used: Plan, scheme: Scheme, over: bool) -> int:
    """Three more (Ac 2 and up, where the lot holds one AQL tighter too), two more, or back to nought."""
    if over:
        return 0
    if used.ac < 2:
        return score + 2
    step = tighter_aql(scheme.aql)
    if step is None:
        return 0
    tighter = plan(lot.size, step, "normal", scheme.level)
    return score + 3 if lot.faulty <= tighter.ac else 0


def _tightened(now: Standing, over: bool, number: int) -> Standing:
    if not over:
        if now.within + 1 >= WINDOW:
            return Standing(why=f"{WINDOW} lots in a row stayed within Ac, the last lot {number}")
        return replace(now, within=now.within + 1)
    count = now.over + 1
    if count >= WINDOW:
        why = f"{WINDOW} lots went over Ac on tightened inspection, the last lot {number}"
        return replace(now, within=0, over=count, stopped=True, why=why)
    return replace(now, within=0, over=count)
