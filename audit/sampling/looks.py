"""What people held of each item, look by look, from the entries of a record."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from audit.record.entries import Entry
from audit.record.payloads import DecisionData, UndoData
from audit.record.types import Finds
from audit.record.verify import with_merged


@dataclass(frozen=True)
class Look:
    """What one person held of an item as it was then.

    Parameters
    ----------
    item : str
    item_digest : str
        Of the item at that time; another photo or fact gives another digest.
    finds : {'fault', 'no fault'} or None
        None where it was left open or another photo was asked for.
    by : str
    at : str
        UTC, ISO 8601.
    seq : int
        Number of the entry of this record that it is or came in with.
    tool_state : str
    """

    item: str
    item_digest: str
    finds: Finds | None
    by: str
    at: str
    seq: int
    tool_state: str


def looks(entries: Iterable[Entry], until: int | None = None) -> list[Look]:
    """Every look that was not taken back, in the order of decisions.

    Of several decisions on an item while it stayed the same, the last one is the look:
    a correction. When the item changed in between (a new photo after the fault was put
    right), both count.

    Parameters
    ----------
    entries : iterable of Entry
        The record, checked.
    until : int, optional
        Number of the last entry to heed.
    """
    found: dict[str, Look] = {}
    for outer in entries:
        if until is not None and outer.seq > until:
            break
        for entry in with_merged(outer):
            if entry.kind == "decision":
                found.setdefault(entry.hash, _look(entry, outer.seq))
            elif entry.kind == "undo":
                found.pop(UndoData.model_validate(entry.data).of, None)
    last = {(look.item, look.item_digest): look for look in found.values()}
    return list(last.values())


def _look(entry: Entry, seq: int) -> Look:
    data = DecisionData.model_validate(entry.data)
    finds: Finds | None = data.finds
    if data.choice == "agree":
        said: dict[str, Finds] = {"flag": "fault", "clear": "no fault"}
        finds = said.get(data.tool_state)
    elif data.choice == "retake":
        finds = None
    return Look(data.item, data.item_digest, finds, entry.by or "", entry.at, seq, data.tool_state)
