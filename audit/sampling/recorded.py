"""Spot checks in the record: announced with all that decides the draw, then drawn, then drawn again by anyone.

The announcement (`pick-frame`) is on the disk before the draw (`pick`) is made. It
decides the draw wholly, so a draw that was cut short is finished by the next call, and
a draw that nobody liked stays where it is.
"""

from __future__ import annotations

import uuid
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from audit import __version__
from audit.errors import RecordError, UsageError, Where
from audit.record.entries import Draft, Entry
from audit.record.errors import broken
from audit.record.fold import Fold
from audit.record.payloads import PickData, PickFrameData, check_name, checked
from audit.record.record import Record
from audit.sampling.draw import METHOD, Share, Unit, draw, frame_sha256, labels_of

SeedFrom = Literal["given", "drawn"]


@dataclass(frozen=True)
class Announcement:
    """What is announced.

    Parameters
    ----------
    frame : tuple of Unit
        Fittings that could be drawn.
    by_what : tuple of str
        What strata are made of.
    size : int
        How many are drawn.
    lot : int
        Fittings in the lot; more than the frame where a draw is widened.
    lot_words : str
    asked : dict
        What led to the size.
    checks : list of dict
        Id and weight of each check it is about.
    seed : str
    seed_from : {'given', 'drawn'}
    widens : str or None
        Hash of the entry that announced the draw it widens.
    """

    frame: tuple[Unit, ...]
    by_what: tuple[str, ...]
    size: int
    lot: int
    lot_words: str
    asked: dict[str, Any]
    checks: list[dict[str, Any]]
    seed: str
    seed_from: SeedFrom
    widens: str | None = None


@dataclass(frozen=True)
class Drawn:
    """One draw as the record has it.

    Parameters
    ----------
    number : int
        From 1, in the order of announcement.
    entry : Entry
        The announcement.
    data : PickFrameData
    picked : tuple of str or None
        None where it was not finished.
    seq : int
        Number of the entry of this record that the announcement is or came in with.
    """

    number: int
    seq: int
    entry: Entry
    data: PickFrameData
    picked: tuple[str, ...] | None

    @property
    def shares(self) -> tuple[Share, ...]:
        """The draw made again, stratum by stratum."""
        return draw(units(self.data), self.data.size, self.data.seed)

    @property
    def stop_checks(self) -> bool:
        """Whether a check of weight stop is among those it is about."""
        return any(c.weight == "stop" for c in self.data.checks)


def units(data: PickFrameData) -> tuple[Unit, ...]:
    """The frame of an announcement."""
    return tuple(Unit(u.fitting, tuple(u.stratum)) for u in data.frame)


def announce(record: Record, what: Announcement, by: str | None) -> Entry:
    """Record what decides a draw, before it is made.

    Raises
    ------
    DecisionError
        When the name or the seed can't be recorded; nothing is written.
    """
    if by is not None:
        check_name(by)
    data = {
        "method": METHOD,
        "seed": what.seed,
        "seed_from": what.seed_from,
        "frame": [{"fitting": u.label, "stratum": list(u.stratum)} for u in what.frame],
        "frame_sha256": frame_sha256(what.frame),
        "strata_by": list(what.by_what),
        "size": what.size,
        "lot": what.lot,
        "lot_words": what.lot_words,
        "asked": what.asked,
        "checks": what.checks,
        "tool": {"name": "lidoff", "version": __version__},
        "widens": what.widens,
    }
    checked(PickFrameData, data)
    return record.store.append(lambda _: Draft("pick-frame", data, by, str(uuid.uuid4())))


def finish(record: Record) -> list[Entry]:
    """Draw what was announced and not drawn yet; usually one, after a crash one more."""
    entries: list[Entry] = []
    for drawn in draws(record.fold()):
        if drawn.picked is None:
            _refuse_other_method(drawn)
            data = {"announced": drawn.entry.hash, "picked": labels_of(drawn.shares)}
            checked(PickData, data)
            draft = Draft("pick", data, drawn.entry.by, f"pick:{drawn.entry.hash}")
            entries.append(record.store.append(_once(draft)))
    return entries


def _once(draft: Draft) -> Any:
    def build(entries: tuple[Entry, ...]) -> Draft | Entry:
        return next((e for e in entries if e.key == draft.key), draft)

    return build


def _refuse_other_method(drawn: Drawn) -> None:
    if drawn.data.method != METHOD:
        raise UsageError(
            f"draw {drawn.number} uses a method that this version does not know",
            next_step="use the version that its entry names",
        )


def draws(fold: Fold) -> tuple[Drawn, ...]:
    """Every draw that was ever announced, in order."""
    found = []
    for number, (entry, data) in enumerate(fold.pick_frames.values(), start=1):
        pick = fold.picks.get(entry.hash)
        labels = tuple(pick.picked) if pick else None
        found.append(Drawn(number, fold.seen[entry.hash], entry, data, labels))
    return tuple(found)


def chosen(found: Sequence[Drawn], number: int | None) -> Drawn:
    """The draw of that number, else the last one.

    Raises
    ------
    UsageError
        When there is none.
    """
    if not found:
        raise UsageError("nothing was drawn yet", next_step="draw with: lidoff pick DIR")
    if number is None:
        return found[-1]
    if not 1 <= number <= len(found):
        raise UsageError(
            f"there is no draw {number}", next_step=f"give a number from 1 to {len(found)}"
        )
    return found[number - 1]


def family(found: Sequence[Drawn], drawn: Drawn) -> tuple[Drawn, ...]:
    """A draw with those it widens and those that widen it, first one first."""
    by_hash = {d.entry.hash: d for d in found}

    def root(d: Drawn) -> str:
        while d.data.widens is not None and d.data.widens in by_hash:
            d = by_hash[d.data.widens]
        return d.entry.hash

    mine = root(drawn)
    return tuple(d for d in found if root(d) == mine)


def replay(fold: Fold, file: str = "record.sqlite") -> list[RecordError]:
    """Draw everything again, and name each draw that is not what its seed and frame give.

    Parameters
    ----------
    fold : Fold
    file : str
        How messages name the source.
    """
    problems: list[RecordError] = []
    for drawn in draws(fold):
        seq = drawn.seq
        if frame_sha256(units(drawn.data)) != drawn.data.frame_sha256:
            problems.append(broken(seq, "its frame is not the one it was hashed as", file))
        elif drawn.data.method != METHOD:
            where = Where(file)
            problems.append(
                RecordError(
                    f"entry {seq}: draw {drawn.number} uses a method that this version does not know",
                    where,
                    "check it with the version that the entry names",
                )
            )
        elif drawn.picked is not None and sorted(drawn.picked) != labels_of(drawn.shares):
            problems.append(
                broken(seq, "the fittings drawn are not those that its seed and frame give", file)
            )
    return problems
