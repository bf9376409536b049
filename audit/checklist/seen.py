"""What photos showed of each fitting: for the rules, which hold it against declared facts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from audit.checklist.merge import SeenPhoto
from audit.checklist.models import LinkedBy
from audit.measure.contract import CpcRecord, LookRecord
from audit.rules.types import ColourSeen, CpcSeen, FittingSeen, PhotoRef


@dataclass(frozen=True)
class LinkedPhoto:
    """One photo of the job with what was read from it.

    Parameters
    ----------
    file : str
        Path in the job's `photos/`.
    record : LookRecord
    fitting : str or None
        Label of the fitting it shows.
    view : str or None
    linked_by : str
        name, card, entry, run or none.
    notes : tuple of str
        What a person should know of the linking.
    cables_in_picture : int or None
        Cables that a person counts in it.
    taken : str or None
        Capture time as the phone wrote it.
    duplicate : bool
        The same picture is there under another name; it counts once.
    sure : bool
        Whether the link to the fitting is known, not a guess that a person has to confirm.
    """

    file: str
    record: LookRecord
    fitting: str | None = None
    view: str | None = None
    linked_by: LinkedBy = "none"
    notes: tuple[str, ...] = ()
    cables_in_picture: int | None = None
    taken: str | None = None
    duplicate: bool = False
    sure: bool = True

    @property
    def seen(self) -> SeenPhoto:
        """The part that merging needs."""
        return SeenPhoto(self.record, self.view, self.cables_in_picture, self.sure)


def usable(record: LookRecord) -> bool:
    """Whether a photo could be judged."""
    return record.outcome == "read" and record.usable is not False


def sheathed(record: LookRecord) -> int:
    """Cables whose sheath was read; loose cores without one may belong to any of them."""
    return sum(
        c.sheath != "unknown" or any(s.what == "sheath" for s in c.reading)
        for c in record.cables
        if not c.one_look
    )


def plain_cpcs(record: LookRecord) -> list[CpcRecord]:
    """What is seen of the CPCs of cables that both looks saw: what one look saw is no fact."""
    once = {c.id for c in record.cables if c.one_look}
    return [c for c in record.cpc if c.cable not in once]


def fitting_seen(label: str, photos: Sequence[LinkedPhoto]) -> FittingSeen:
    """Gather what the photos of one fitting showed.

    Parameters
    ----------
    label : str
    photos : sequence of LinkedPhoto
        Those of this fitting.

    Returns
    -------
    FittingSeen
        `earth_terminal` is True where a bare or green-and-yellow core was seen to
        enter a terminal, else None: not seeing one proves nothing.
    """
    good = [p for p in photos if usable(p.record)]
    most = max(good, key=lambda p: sheathed(p.record), default=None)
    cables = sheathed(most.record) if most else 0
    ends = [(p, e) for p in good for e in p.record.ends]
    return FittingSeen(
        fitting=label,
        views=frozenset(p.view for p in good if p.view),
        cpc=tuple(
            CpcSeen(c.seen, PhotoRef(p.file, c.box_px)) for p in good for c in plain_cpcs(p.record)
        ),
        colours=tuple(
            ColourSeen(e.colour, PhotoRef(p.file, e.box_px))
            for p, e in ends
            if e.colour != "unknown"
        ),
        cables=cables or None,
        cables_ref=PhotoRef(most.file) if most and cables else None,
        earth_terminal=True if any(_earths(e.colour, e.ends_at) for _, e in ends) else None,
        refused=tuple(p.file for p in photos if not usable(p.record)),
    )


def _earths(colour: str, ends_at: str) -> bool:
    return colour in ("bare", "green-and-yellow") and ends_at == "terminal"
