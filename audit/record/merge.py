"""Take in what was decided on a copy of the job; what differs is left for a person."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from audit.errors import Where
from audit.record.canonical import canonical, parse
from audit.record.entries import Draft, Entry, read_entry
from audit.record.errors import DecisionError
from audit.record.evidence import JobEvidence
from audit.record.fold import Fold
from audit.record.payloads import check_name
from audit.record.record import Record
from audit.record.types import Standing

_OWN = ("opened", "checklist", "merge")
"""Kinds that speak of one copy alone; what a merge brought in is taken singly."""


@dataclass(frozen=True)
class Merged:
    """What a merge did.

    Parameters
    ----------
    entry : Entry or None
        None when there was nothing new.
    taken : int
        Entries that were new here.
    decisions : int
        Decisions among them, taken back or not.
    conflicts : tuple of Standing
        Items that stand differently now in the two copies; none was settled.
    """

    entry: Entry | None
    taken: int
    decisions: int
    conflicts: tuple[Standing, ...]


def merge(
    record: Record, job: JobEvidence, theirs: Sequence[Entry], *, name: str, by: str | None = None
) -> Merged:
    """Take the entries of another copy of the same record in.

    Parameters
    ----------
    record : Record
    job : JobEvidence
    theirs : sequence of Entry
        The whole other record, checked.
    name : str
        Where it came from, for the record.
    by : str, optional
        Who merges.

    Raises
    ------
    DecisionError
        When it is the record of another job.
    """
    if by is not None:
        check_name(by)
    taken: list[Entry] = []

    def build(entries: tuple[Entry, ...]) -> Draft | Entry:
        common = _common(entries, theirs, name)
        fold = Fold()
        for entry in entries:
            fold.feed(entry)
        taken.clear()
        taken.extend(new_entries(fold, theirs[common:]))
        if not taken:
            return entries[-1]
        data = _data(theirs, common, taken, name)
        _try(fold, taken, name)
        return Draft("merge", data, by)

    entry = record.store.append(build)
    state = record.state(job)
    return Merged(
        entry=entry if taken else None,
        taken=len(taken),
        decisions=sum(e.kind == "decision" for e in taken),
        conflicts=tuple(state.conflicts),
    )


def _common(ours: Sequence[Entry], theirs: Sequence[Entry], name: str) -> int:
    """How many entries the two share from the beginning."""
    if not theirs or ours[0].hash != theirs[0].hash:
        raise DecisionError(
            "this is the record of another job, not of a copy of this one",
            Where(name),
            "merge packs of copies of this job's folder only",
        )
    pairs = zip(ours, theirs, strict=False)
    return next(
        (n for n, (a, b) in enumerate(pairs) if a.hash != b.hash), min(len(ours), len(theirs))
    )


def new_entries(fold: Fold, tail: Sequence[Entry]) -> Iterator[Entry]:
    """Entries of a tail that are not known here, each once, those of their merges singly.

    Parameters
    ----------
    fold : Fold
    tail : sequence of Entry
    """
    given: set[str] = set()
    for entry in _singly(tail):
        if entry.hash not in fold.seen and entry.hash not in given:
            given.add(entry.hash)
            yield entry


def _singly(entries: Sequence[Entry]) -> Iterator[Entry]:
    for entry in entries:
        if entry.kind == "merge":
            yield from _singly([read_entry(canonical(b)) for b in entry.data["entries"]])
        elif entry.kind not in _OWN:
            yield entry


def _data(
    theirs: Sequence[Entry], common: int, taken: Sequence[Entry], name: str
) -> dict[str, Any]:
    last = theirs[-1]
    return {
        "from": {"name": name, "entries": last.seq, "head": last.hash, "common": common},
        "entries": [parse(e.body) for e in taken],
    }


def _try(fold: Fold, taken: Sequence[Entry], name: str) -> None:
    """See that the entries can be taken in, before anything is written."""
    try:
        for entry in taken:
            fold.take_merged(entry, fold.seq + 1)
    except (ValueError, KeyError, TypeError) as exc:
        raise DecisionError(
            "its entries do not fit to this record", Where(name), "ask for the pack again"
        ) from exc
