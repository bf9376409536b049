"""How every item of a job stands by its record."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from audit.checklist.models import HOLD_POINTS, HoldPoint, Item
from audit.record.evidence import JobEvidence
from audit.record.fold import Fold
from audit.record.types import Decided, Progress, Standing, Status


@dataclass(frozen=True)
class RecordState:
    """What is decided of the job as its checklist is now.

    Parameters
    ----------
    job : JobEvidence
    standings : mapping of str to Standing
        By item id, in the checklist's order.
    gone : tuple of Decided
        Decisions on items that the checklist no longer has.
    seq : int
        Number of the record's last entry.
    """

    job: JobEvidence
    standings: Mapping[str, Standing] = field(repr=False)
    gone: tuple[Decided, ...] = field(repr=False)
    seq: int

    def progress(self, hold_point: HoldPoint | None = None) -> Progress:
        """How far decisions have come, for one hold point or for all."""
        return self._progress[hold_point]

    @cached_property
    def _progress(self) -> Mapping[HoldPoint | None, Progress]:
        points: tuple[HoldPoint | None, ...] = (None, *HOLD_POINTS)
        return {p: progress(self.at(p)) for p in points}

    def at(self, hold_point: HoldPoint | None) -> list[Standing]:
        """Standings of the items that belong to one hold point, or of all."""
        return [
            s
            for s in self.standings.values()
            if hold_point is None or s.item.hold_point == hold_point
        ]

    def of_fitting(self, label: str) -> list[Standing]:
        """Standings of one fitting's items."""
        return [
            s
            for s in self.standings.values()
            if s.item.subject.kind == "fitting" and s.item.subject.id == label
        ]

    @property
    def conflicts(self) -> list[Standing]:
        """Items that two copies decided differently."""
        return [s for s in self.standings.values() if s.status == "conflict"]


def standings(fold: Fold, job: JobEvidence) -> RecordState:
    """Work out how every item stands.

    Parameters
    ----------
    fold : Fold
    job : JobEvidence
    """
    found = {item.id: standing(fold, item, job.digests[item.id]) for item in job.checklist.items}
    gone = [
        decided
        for item in fold.items()
        if item not in found
        for side in fold.sides(item)
        for decided in side
    ]
    return RecordState(job, found, tuple(gone), fold.seq)


def standing(fold: Fold, item: Item, digest: str) -> Standing:
    """How one item stands.

    Parameters
    ----------
    fold : Fold
    item : Item
    digest : str
        Of the item as it is now.
    """
    heads = fold.heads(item.id)
    sides = fold.sides(item.id)
    status, decision, shown = _status(fold, heads, sides, digest)
    return Standing(
        item=item,
        digest=digest,
        status=status,
        decision=decision,
        sides=shown,
        token=heads,
        shown_to=fold.shown_to(item.id, digest),
    )


def _status(
    fold: Fold, heads: Sequence[str], sides: Sequence[tuple[Decided, ...]], digest: str
) -> tuple[Status, Decided | None, tuple[Decided, ...]]:
    said = {frozenset(_content(d) for d in side) for side in sides}
    if len(said) > 1 or any(len(side) > 1 for side in said):
        return "conflict", None, _both(fold, heads, sides)
    decided = [d for side in sides for d in side]
    if not decided:
        return "undecided", None, ()
    first = min(decided, key=lambda d: (d.at, d.id))
    return ("decided" if first.item_digest == digest else "again"), first, ()


def _both(
    fold: Fold, heads: Sequence[str], sides: Sequence[tuple[Decided, ...]]
) -> tuple[Decided, ...]:
    """Both sides of a conflict, oldest first; where one took a decision back, that one."""
    found: dict[tuple[str, bool], Decided] = {}
    for head, side in zip(heads, sides, strict=True):
        shown = side or ((fold.taken_back(head),) if fold.is_undo(head) else ())
        for decided in shown:
            found[decided.id, decided.taken_back] = decided
    return tuple(sorted(found.values(), key=lambda d: (d.at, d.id)))


def _content(decided: Decided) -> tuple[object, ...]:
    """What two decisions must share to be no conflict: the same word on the same item."""
    return (decided.decision, decided.item_digest)


def progress(found: Sequence[Standing]) -> Progress:
    """Count standings.

    Parameters
    ----------
    found : sequence of Standing
    """

    def ids(status: Status) -> tuple[str, ...]:
        return tuple(s.item.id for s in found if s.status == status)

    return Progress(
        items=len(found),
        decided=len(ids("decided")),
        to_decide=ids("undecided"),
        again=ids("again"),
        conflicts=ids("conflict"),
        standing_stops=tuple(s.item.id for s in found if s.item.weight == "stop" and s.finds_fault),
        retakes=tuple(s.item.id for s in found if s.retake_outstanding),
        left_open=tuple(s.item.id for s in found if s.left_open),
    )
