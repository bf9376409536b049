"""From what is asked to how many fittings are drawn, and why so many."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from audit.errors import UsageError
from audit.sampling.draw import Unit, chance_whatever, smallest_shared_n
from audit.sampling.plans import Plan, Severity, plan, verified
from audit.sampling.sizes import chance_of_seeing, smallest_n
from audit.sampling.switching import Lot, Scheme, Standing, follow

ZERO_WHY = (
    "For faults of weight stop the acceptance number is 0, whatever the plan says: what can hurt "
    "somebody does not belong under an AQL, and one such fault is one too many."
)


@dataclass(frozen=True)
class Sized:
    """How many to draw.

    Parameters
    ----------
    n : int
    words : tuple of str
        Why so many, a sentence each.
    asked : dict
        JSON values that the record keeps: everything that led to n.
    """

    n: int
    words: tuple[str, ...]
    asked: dict[str, Any] = field(repr=False)


def by_chance(frame: Sequence[Unit], bad: int, confidence: float, seed: str) -> Sized:
    """Enough to see one of so many bad fittings with this confidence, wherever they lie.

    Parameters
    ----------
    frame : sequence of Unit
        All fittings of the lot.
    bad : int
        Bad fittings that must not all be overlooked.
    confidence : float
        Above 0, below 1.
    seed : str
        Settles equal remainders between strata.

    Raises
    ------
    UsageError
        When a figure is out of its range.
    """
    lot = len(frame)
    simple = smallest_n(lot, bad, confidence)
    n = smallest_shared_n(frame, bad, confidence, seed, simple)
    least = chance_whatever(frame, n, bad, seed)
    words = [
        f"Asked: if {bad} or more of these {lot} are bad, see at least one with a chance of "
        f"{confidence * 100:.4g} % or more.",
        f"A simple draw needs {simple}: the chance is {chance_of_seeing(lot, bad, simple) * 100:.1f} % "
        "(hypergeometric).",
    ]
    if n > simple:
        words.append(
            f"Shared out among the strata it needs {n}, so that the chance holds wherever the bad "
            f"ones lie: {least * 100:.1f} % at least. Fewer strata need fewer (--strata room, or none)."
        )
    elif n < lot:
        words.append(
            f"Shared out among the strata it is {least * 100:.1f} % at least, wherever they lie."
        )
    if n == lot:
        words.append("That is the whole lot: look at all of it.")
    asked = {
        "by": "chance",
        "if_bad": bad,
        "confidence": confidence,
        "simple_n": simple,
        "least_chance": least,
    }
    return Sized(n, tuple(words), asked)


def by_plan(
    lot: int,
    scheme: Scheme,
    severity: Severity | None = None,
    earlier: Sequence[Lot] = (),
    has_stop: bool = True,
) -> Sized:
    """The sample of an ISO 2859-1 single plan.

    Parameters
    ----------
    lot : int
        Fittings in the lot.
    scheme : Scheme
    severity : str, optional
        Chosen by hand; None follows the earlier lots.
    earlier : sequence of Lot
        Oldest first.
    has_stop : bool
        A check of weight stop is among those asked.

    Raises
    ------
    UsageError
        When AQL, lot or an earlier lot can't be.
    """
    standing = follow(earlier, scheme) if severity is None else Standing(severity, why="as chosen")
    if standing.severity == "reduced" and severity is not None and not scheme.reduced_agreed:
        raise UsageError(
            "reduced inspection is not taken by itself",
            next_step="add --reduced-agreed when whoever answers for the work agrees to it",
        )
    used = plan(lot, scheme.aql, standing.severity, scheme.level)
    if standing.stopped:
        return Sized(lot, (_stopped(standing),), _asked(used, scheme, standing, earlier))
    words = [*_plan_words(used, standing), *([ZERO_WHY] if has_stop else [])]
    words.append(f"Tables: {verified()}.")
    return Sized(used.n, tuple(words), _asked(used, scheme, standing, earlier))


def _stopped(standing: Standing) -> str:
    return (
        f"{standing.why[:1].upper()}{standing.why[1:]}: sampling is no longer enough. Look at "
        "every fitting, and find out why before sampling begins again."
    )


def _plan_words(used: Plan, standing: Standing) -> list[str]:
    words = [
        f"ISO 2859-1, single, {used.severity} inspection, level {used.level}, AQL {used.aql}: "
        f"a lot of {used.lot} has letter {used.letter} with n {used.table_n}, Ac {used.ac}, Re {used.re}.",
        f"Why {used.severity}: {standing.why}.",
    ]
    if used.everything:
        words.append("The plan's sample is not smaller than the lot: look at all of it.")
    if standing.reduced_possible:
        words.append(
            f"The switching score is {standing.score}: reduced inspection could follow, if the work "
            "is steady and whoever answers for it agrees (--reduced-agreed)."
        )
    return words


def _asked(
    used: Plan, scheme: Scheme, standing: Standing, earlier: Sequence[Lot]
) -> dict[str, Any]:
    return {
        "by": "plan",
        "standard": "ISO 2859-1",
        "aql": used.aql,
        "level": used.level,
        "severity": used.severity,
        "why": standing.why,
        "letter": used.letter,
        "table_n": used.table_n,
        "ac": used.ac,
        "re": used.re,
        "stopped": standing.stopped,
        "switching_score": standing.score,
        "reduced_agreed": scheme.reduced_agreed,
        "earlier": [[x.size, x.faulty, x.stops] for x in earlier],
    }
