"""How far each subject has come: the rows of the start page, worst first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from audit.checklist.models import HOLD_POINTS, STATES, HoldPoint, Item
from audit.record.record import JobState
from audit.record.types import Progress, SignOffStatus, Standing
from audit.review.desk import Basis, Subject


def stops_it(standing: Standing) -> bool:
    """Whether an item of weight stop stands in the way: a fault, or a question not yet settled."""
    if standing.item.weight != "stop":
        return False
    if standing.status != "decided":
        return standing.item.state != "clear" or standing.status != "undecided"
    return standing.finds_fault or standing.retake_outstanding


@dataclass(frozen=True)
class Row:
    """One subject on the start page.

    Parameters
    ----------
    subject : Subject
    hidden : bool
        It is judged blind first: its states are not shown yet.
    counts : mapping of str to int
        Items by the tool's state.
    stops : tuple of Standing
        What stops it here.
    left : int
        Items without a decision that counts.
    retakes : int
        Photos asked for that have not come.
    """

    subject: Subject
    hidden: bool
    counts: Mapping[str, int]
    stops: tuple[Standing, ...]
    left: int
    retakes: int

    @property
    def badness(self) -> tuple[int, int, int, int, int]:
        """Sort key, worst first."""
        flagged = sum(s.item.state == "flag" for s in self.stops)
        return (
            -flagged,
            -len(self.stops),
            -self.counts["flag"],
            -self.counts["unsure"],
            -self.left,
        )


@dataclass(frozen=True)
class Point:
    """One hold point on the start page.

    Parameters
    ----------
    hold_point : str
    progress : Progress
    stops : tuple of Standing
        Faults and open questions of weight stop, worst first; without those of hidden fittings.
    sign_off : SignOffStatus
    """

    hold_point: HoldPoint
    progress: Progress
    stops: tuple[Standing, ...]
    sign_off: SignOffStatus

    @property
    def left(self) -> int:
        """Items without a decision that counts."""
        return self.progress.items - self.progress.decided


@dataclass(frozen=True)
class Overview:
    """The start page.

    Parameters
    ----------
    points : tuple of Point
    fittings, others : tuple of Row
        Worst first; `others` are rooms, circuits and the job.
    """

    points: tuple[Point, ...]
    fittings: tuple[Row, ...]
    others: tuple[Row, ...]

    @property
    def to_judge(self) -> tuple[Row, ...]:
        """Fittings that wait for the second look."""
        return tuple(r for r in self.fittings if r.hidden)


def overview(basis: Basis, state: JobState) -> Overview:
    """Arrange how a job stands.

    Parameters
    ----------
    basis : Basis
    state : JobState
        Of the same evidence.
    """
    rows = [_row(subject, state) for subject in basis.subjects.values()]
    fittings = sorted((r for r in rows if r.subject.kind == "fitting"), key=lambda r: r.badness)
    others = sorted((r for r in rows if r.subject.kind != "fitting"), key=lambda r: r.badness)
    points = [_point(p, state) for p in HOLD_POINTS]
    return Overview(tuple(p for p in points if p.progress.items), tuple(fittings), tuple(others))


def _row(subject: Subject, state: JobState) -> Row:
    standings = [state.standings[i.id] for i in subject.items]
    counts = Counter(i.state for i in subject.items)
    hidden = subject.kind == "fitting" and state.blind.hides(subject.id)
    return Row(
        subject,
        hidden,
        {s: 0 if hidden else counts.get(s, 0) for s in STATES},
        () if hidden else tuple(s for s in standings if stops_it(s)),
        sum(s.status != "decided" for s in standings),
        sum(s.retake_outstanding for s in standings),
    )


def hidden(item: Item, state: JobState) -> bool:
    """Whether an item's state must not be shown yet."""
    return item.subject.kind == "fitting" and state.blind.hides(item.subject.id)


def _point(hold_point: HoldPoint, state: JobState) -> Point:
    stops = [s for s in state.at(hold_point) if stops_it(s) and not hidden(s.item, state)]
    return Point(
        hold_point,
        state.progress(hold_point),
        tuple(_worst_first(stops)),
        state.sign_off(hold_point),
    )


def _worst_first(standings: Sequence[Standing]) -> list[Standing]:
    order = {"flag": 0, "unsure": 1, "missing": 2, "clear": 3}
    return sorted(standings, key=lambda s: order[s.item.state])
