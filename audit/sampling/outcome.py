"""What a spot check proves once people have decided, and what to do next."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from audit.checklist.models import WEIGHTS
from audit.record.state import RecordState
from audit.record.types import Finds, Standing
from audit.sampling.limits import ONE_SIDED, upper_count, upper_share
from audit.sampling.looks import Look
from audit.sampling.recorded import Drawn
from audit.sampling.sizes import first_n, least_chance, next_size

GroupName = Literal["weight stop", "all checks"]


@dataclass(frozen=True)
class Group:
    """What was found of one group of checks among the fittings drawn.

    Parameters
    ----------
    name : {'weight stop', 'all checks'}
    lot : int
        Fittings in the lot.
    faulty, without, undecided : tuple of str
        Labels of the fittings drawn: a person holds that a fault is there; a person holds of
        every item that none is; the rest.
    """

    name: GroupName
    lot: int
    faulty: tuple[str, ...]
    without: tuple[str, ...]
    undecided: tuple[str, ...]

    @property
    def n(self) -> int:
        """Fittings drawn."""
        return len(self.faulty) + len(self.without) + len(self.undecided)

    @property
    def worst(self) -> int:
        """Faulty fittings if every undecided one were faulty: the limits rest on this."""
        return len(self.faulty) + len(self.undecided)

    @property
    def most_in_lot(self) -> int:
        """Exact upper limit on the faulty fittings in the lot, one-sided, 95 %, simple draw."""
        return upper_count(self.worst, self.n, self.lot)

    @property
    def most_share(self) -> float:
        """Clopper-Pearson upper limit on the share of such work that is faulty, one-sided, 95 %."""
        return upper_share(self.worst, self.n)


@dataclass(frozen=True)
class Outcome:
    """What a draw and its widenings show.

    Parameters
    ----------
    draws : tuple of Drawn
        First one first.
    groups : tuple of Group
    whatever : int or None
        With nothing faulty and nothing undecided: the most faulty fittings in the lot that
        could have been missed with a chance above 5 %, wherever they lie among the strata.
    not_asked : tuple of str
        Drawn fittings of which the checklist asks none of the checks.
    waiting : tuple of str
        Items that are undecided, stop first.
    """

    draws: tuple[Drawn, ...]
    groups: tuple[Group, ...]
    whatever: int | None
    not_asked: tuple[str, ...]
    waiting: tuple[str, ...]

    @property
    def lot(self) -> int:
        """Fittings in the lot."""
        return self.draws[0].data.lot

    @property
    def picked(self) -> tuple[str, ...]:
        """Fittings drawn, all draws together."""
        return picked(self.draws)

    @property
    def open(self) -> bool:
        """Whether a fault was found or something is undecided."""
        return any(g.faulty or g.undecided for g in self.groups)


def picked(draws: Sequence[Drawn]) -> tuple[str, ...]:
    """Fittings of several draws together, in the order of labels."""
    return tuple(sorted({label for d in draws for label in d.picked or ()}))


def outcome(draws: Sequence[Drawn], state: RecordState, looks: Iterable[Look]) -> Outcome:
    """Work out what a draw and its widenings show.

    A fault counts when a person holds it to be there now, or held so at any look since the
    draw was announced: that it was put right since does not unmake the finding. A fitting
    counts as without fault only when a person holds so of every item asked.

    Parameters
    ----------
    draws : sequence of Drawn
        Of one family, first one first.
    state : RecordState
        How the items of the job stand.
    looks : iterable of Look
        Of the whole record.
    """
    first = draws[0]
    held = {x.item for x in looks if x.seq > first.seq and x.finds == "fault"}
    checks = {c.id for c in first.data.checks}
    labels = picked(draws)
    asked = {
        label: [s for s in state.of_fitting(label) if s.item.check in checks] for label in labels
    }
    groups = [_group("all checks", asked, held, first.data.lot)]
    if first.stop_checks:
        # A fitting of which nothing weighs stop now still has to be decided wholly: a
        # weight may change with the next photo.
        stops = {
            k: [s for s in v if s.item.weight == "stop"]
            or [s for s in v if finding(s, held) != "fault"]
            for k, v in asked.items()
        }
        groups.insert(0, _group("weight stop", stops, held, first.data.lot))
    whole = groups[-1]
    settled = not (whole.faulty or whole.undecided) and len(draws) == 1
    return Outcome(
        draws=tuple(draws),
        groups=tuple(groups),
        whatever=_whatever(first) if settled else None,
        not_asked=tuple(k for k, v in asked.items() if not v),
        waiting=_waiting([s for v in asked.values() for s in v], held),
    )


def _waiting(asked: Sequence[Standing], held: set[str]) -> tuple[str, ...]:
    undecided = [s.item for s in asked if finding(s, held) is None]
    return tuple(i.id for i in sorted(undecided, key=lambda i: WEIGHTS.index(i.weight)))


def finding(standing: Standing, held: set[str]) -> Finds | None:
    """What counts of one item: a fault held now or since the draw, none held, or undecided."""
    if standing.finds_fault or standing.item.id in held:
        return "fault"
    if standing.status != "decided" or standing.decision is None:
        return None
    choice = standing.decision.decision
    if choice.choice == "agree":
        return "no fault" if standing.item.state == "clear" else None
    return getattr(choice, "finds", None)


def _group(
    name: GroupName, asked: Mapping[str, Sequence[Standing]], held: set[str], lot: int
) -> Group:
    by_finding: dict[Finds | None, list[str]] = {"fault": [], "no fault": [], None: []}
    for label, standings in asked.items():
        found = {finding(s, held) for s in standings}
        worst: Finds | None = None
        if "fault" in found:
            worst = "fault"
        elif found == {"no fault"}:
            worst = "no fault"
        by_finding[worst].append(label)
    return Group(
        name,
        lot,
        tuple(by_finding["fault"]),
        tuple(by_finding["no fault"]),
        tuple(by_finding[None]),
    )


def _whatever(drawn: Drawn) -> int:
    """Most faulty fittings that a draw without any may have missed with a chance above 5 %."""
    sizes = [s.size for s in drawn.shares]
    taken = [len(s.labels) for s in drawn.shares]
    rest = sum(sizes) - sum(taken)
    # As more are faulty, missing them all gets less likely: the first that is seen surely enough.
    return first_n(lambda d: least_chance(sizes, taken, d), rest + 1, ONE_SIDED) - 1


@dataclass(frozen=True)
class NextStep:
    """What to do next.

    Parameters
    ----------
    size : int
        Fittings to have looked at in all; what was drawn already counts in.
    words : str
    """

    size: int
    words: str


def next_step(found: Outcome) -> NextStep:
    """What to do next after a look.

    A fault of weight `stop`: look at every fitting of the lot. Another fault: widen to the
    next sample size of the series. Both are ours (common practice, no source).
    """
    n, lot = len(found.picked), found.lot
    stops = next((g for g in found.groups if g.name == "weight stop"), None)
    whole = found.groups[-1]
    if n == lot:
        words = "Every fitting of the lot was drawn"
        if whole.undecided:
            return NextStep(n, f"{words}: decide those that are undecided.")
        return NextStep(n, f"{words} and decided: nothing is left to chance.")
    if stops is not None and stops.faulty:
        words = (
            f"A fault of weight stop was found: look at every one of the {lot} fittings of the lot, "
            f"{lot - n} more (lidoff pick DIR --widen)."
        )
        return NextStep(lot, words)
    if whole.undecided:
        then = "; a fault was found, so more will be drawn then" if whole.faulty else ""
        return NextStep(
            n, f"Decide those that are undecided: until then the limits are wide{then}."
        )
    if whole.faulty:
        size = next_size(n, lot)
        return NextStep(size, _widen_words(whole, size, lot, n))
    return NextStep(
        n, "Nothing more is asked for by this draw. What was not drawn was not looked at."
    )


def _widen_words(whole: Group, size: int, lot: int, n: int) -> str:
    many = "every fitting of the lot" if size == lot else f"{size} fittings in all"
    then = upper_count(len(whole.faulty), size, lot)
    return (
        f"A fault was found: widen to {many}, {size - n} more (lidoff pick DIR --widen). If no "
        f"further one is found there, no more than {then} of the {lot} are faulty (exact). Look for "
        "the same fault wherever the same hand worked that day."
    )
