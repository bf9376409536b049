"""The lot of a spot check: its fittings, their strata, and the checks it is about."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from audit.errors import JobError, UsageError, Where
from audit.job.explain import choose_from
from audit.job.facts import Fitting, JobFacts
from audit.job.sources import JOB_FILE
from audit.job.text import same_key
from audit.rules.catalogue import catalogue
from audit.rules.house import HouseRules
from audit.sampling.draw import Unit

STRATA: Mapping[str, Callable[[Fitting], str | None]] = {
    "room": lambda f: f.room,
    "cable": lambda f: f.cable,
    "kind": lambda f: f.model,
    "circuit": lambda f: f.circuit,
}
"""What fittings may be grouped by."""
DEFAULT_STRATA = ("room", "cable", "kind")
UNKNOWN = "not declared"
PAPERWORK = "paperwork"
"""Topic of checks about papers and photos: what is wrong there is no fault of the work."""


def strata_by(text: str) -> tuple[str, ...]:
    """What to group by, from words with commas between; `none` for no groups.

    Raises
    ------
    UsageError
        When a word is none of `STRATA`.
    """
    words = tuple(dict.fromkeys(w.strip() for w in text.split(",") if w.strip()))
    if words == ("none",):
        return ()
    if "none" in words:
        raise UsageError("--strata none stands alone", next_step="leave it out, or the others")
    for word in words:
        if word not in STRATA:
            raise UsageError(
                f"--strata {word!r} is nothing to group by",
                next_step=choose_from(word, [*STRATA, "none"]),
            )
    if not words:
        raise UsageError("--strata is empty", next_step="write none for no groups")
    return words


def fitter_of(fitting: Fitting, facts: JobFacts) -> str | None:
    """Who fitted it: its own `fitted_by`, else the job's `by`."""
    return fitting.fitted_by or facts.job.by


def fittings_of(facts: JobFacts, of_lot: str) -> list[Fitting]:
    """The fittings of a lot.

    Parameters
    ----------
    facts : JobFacts
    of_lot : str
        `all`, or `room:NAME`, `circuit:NAME`, `fitted-by:NAME`.

    Raises
    ------
    UsageError
        When it is none of these.
    JobError
        When no fitting belongs to it.
    """
    if same_key(of_lot) == "all":
        found = list(facts.fittings)
    else:
        kind, _, name = of_lot.partition(":")
        get: Mapping[str, Callable[[Fitting], str | None]] = {
            "room": lambda f: f.room,
            "circuit": lambda f: f.circuit,
            "fitted-by": lambda f: fitter_of(f, facts),
        }
        if kind.strip() not in get or not name.strip():
            raise UsageError(
                f"--of-lot {of_lot!r} names no lot",
                next_step="write all, room:NAME, circuit:NAME or fitted-by:NAME",
            )
        of = get[kind.strip()]
        found = [f for f in facts.fittings if same_key(of(f) or "") == same_key(name)]
    if not found:
        raise JobError(
            f"no fitting belongs to the lot {of_lot!r}",
            Where(JOB_FILE),
            "declare the fittings, or name another lot",
        )
    return found


def frame_of(fittings: Sequence[Fitting], by: Sequence[str]) -> tuple[Unit, ...]:
    """The frame: every fitting of the lot with its stratum."""
    return tuple(Unit(f.label, tuple(STRATA[b](f) or UNKNOWN for b in by)) for f in fittings)


def checks_of(
    house: HouseRules | None, wanted: Sequence[str], hold_point: str | None = None
) -> list[dict[str, Any]]:
    """The checks a spot check is about, with their weights.

    Parameters
    ----------
    house : HouseRules or None
        The firm's own rules: heavier weights and checks of its own.
    wanted : sequence of str
        Ids; empty for all that are asked of fittings, weigh more than `advise`, and are about
        the work, not its papers.
    hold_point : str, optional
        Only checks of this hold point, where none are wanted by name.

    Raises
    ------
    UsageError
        When there is no such check, or it is not asked of fittings.
    """
    own = {c.id: c for c, _ in house.rules} if house else {}
    known = {**catalogue(), **own}
    weights = {k: (house.weights.get(k, c.weight) if house else c.weight) for k, c in known.items()}
    for check in wanted:
        if check not in known or known[check].asks != "fitting":
            asked = [k for k, c in known.items() if c.asks == "fitting"]
            raise UsageError(
                f"--check {check!r} is no check asked of a fitting",
                next_step=choose_from(check, asked, "one of"),
            )
    chosen = list(dict.fromkeys(wanted)) or [
        k
        for k, c in known.items()
        if c.asks == "fitting"
        and weights[k].value != "advise"
        and c.topic != PAPERWORK
        and hold_point in (None, c.hold_point.value)
    ]
    return [{"id": k, "weight": weights[k].value} for k in chosen]
