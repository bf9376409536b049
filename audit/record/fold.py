"""Entries folded into what counts now: a register for each item that keeps both sides.

Every decision and every undo names what its maker saw. It takes the place of
just that; what it did not see stays beside it. One copy of a record therefore
has one decision an item, and two copies brought together have two where both
decided: a conflict that only a further decision, which saw both, can end.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from pydantic import ValidationError

from audit.record.canonical import canonical
from audit.record.entries import Entry, read_entry
from audit.record.errors import broken
from audit.record.payloads import (
    ChecklistData,
    DecisionData,
    DrawData,
    JudgementData,
    PickData,
    PickFrameData,
    ShownData,
    UndoData,
)
from audit.record.types import Decided


@dataclass(frozen=True, slots=True)
class _Node:
    """A decision (`decided`) or an undo (`of`), and what it saw."""

    saw: tuple[str, ...]
    decided: Decided | None = None
    of: str | None = None


@dataclass(frozen=True, slots=True)
class Judgement:
    """One blind judgement."""

    item: str
    item_digest: str
    judged: str
    tool_state: str
    by: str


@dataclass
class Fold:
    """What the entries say together; entries are fed in order, each once.

    Attributes
    ----------
    seq : int
        Number of the last entry.
    seen : dict of str to int
        Hash of each entry that is known, brought in by a merge or not, and the
        number of the local entry that it is or came in with.
    keys : dict of str to str
        Hash of the entry by the key of the act.
    checklist : ChecklistData or None
        The latest; `checklist_seq` is its entry's number.
    draws, judgements, marks, sign_offs
        In order.
    pick_frames : dict of str to (Entry, PickFrameData)
        Spot checks that were announced, by the hash of their entry, in order.
    picks : dict of str to PickData
        Those that were drawn, by the hash of the entry that announced them.
    """

    seq: int = 0
    seen: dict[str, int] = field(default_factory=dict)
    checklist: ChecklistData | None = None
    checklist_seq: int = 0
    draws: list[DrawData] = field(default_factory=list)
    judgements: list[Judgement] = field(default_factory=list)
    marks: list[tuple[Entry, dict[str, Any]]] = field(default_factory=list)
    sign_offs: list[Entry] = field(default_factory=list)
    pick_frames: dict[str, tuple[Entry, PickFrameData]] = field(default_factory=dict)
    picks: dict[str, PickData] = field(default_factory=dict)
    _nodes: dict[str, _Node] = field(default_factory=dict)
    _heads: dict[str, tuple[str, ...]] = field(default_factory=dict)
    _shown: dict[tuple[str, str], set[str]] = field(default_factory=dict)
    _decided_before: set[str] = field(default_factory=set)

    def feed(self, entry: Entry) -> None:
        """Take one entry of this record.

        Raises
        ------
        RecordError
            When it carries what its kind can't carry.
        """
        try:
            self._take(entry, entry.seq, None)
        except (ValidationError, ValueError, KeyError, TypeError) as exc:
            raise broken(entry.seq, f"it does not say what a {entry.kind} says") from exc
        self.seq = entry.seq

    def take_merged(self, entry: Entry, seq: int) -> None:
        """Take one entry that a merge with number `seq` brings in.

        Raises
        ------
        ValueError, KeyError
            When it does not say what its kind says.
        """
        self._take(entry, seq, seq)

    def _take(self, entry: Entry, seq: int, merged: int | None) -> None:
        if entry.hash in self.seen:
            return
        self.seen[entry.hash] = seq
        match entry.kind:
            case "checklist" if merged is None:
                self.checklist = ChecklistData.model_validate(entry.data)
                self.checklist_seq = seq
            case "shown":
                shown = ShownData.model_validate(entry.data)
                self._shown.setdefault((shown.item, shown.item_digest), set()).add(entry.by or "")
            case "decision":
                self._decide(entry, merged)
            case "undo":
                undo = UndoData.model_validate(entry.data)
                if self._nodes[undo.of].decided is None:
                    raise ValueError("an undo of an undo")
                self._put(undo.item, entry.hash, _Node(tuple(undo.saw), of=undo.of))
            case "mark":
                self.marks.append((entry, entry.data))
            case "blind-draw":
                self.draws.append(DrawData.model_validate(entry.data))
            case "blind-judgement":
                said = JudgementData.model_validate(entry.data)
                self.judgements.append(
                    Judgement(
                        said.item, said.item_digest, said.judged, said.tool_state, entry.by or ""
                    )
                )
            case "pick-frame":
                self.pick_frames[entry.hash] = (entry, PickFrameData.model_validate(entry.data))
            case "pick":
                pick = PickData.model_validate(entry.data)
                if pick.announced not in self.pick_frames:
                    raise ValueError("a draw that was not announced")
                # Two copies may each have finished one that was cut short.
                self.picks.setdefault(pick.announced, pick)
            case "sign-off":
                self.sign_offs.append(entry)
            case "merge":
                for body in entry.data["entries"]:
                    self._take(read_entry(canonical(body)), seq, seq)

    def _decide(self, entry: Entry, merged: int | None) -> None:
        data = DecisionData.model_validate(entry.data)
        decided = Decided(
            id=entry.hash,
            seq=None if merged else entry.seq,
            item=data.item,
            item_digest=data.item_digest,
            decision=data.decision(),
            by=entry.by or "",
            at=entry.at,
            tool_state=data.tool_state,
            merged_by=merged,
        )
        self._decided_before.add(data.item)
        self._put(data.item, entry.hash, _Node(tuple(data.saw), decided=decided))

    def _put(self, item: str, identity: str, node: _Node) -> None:
        missing = [s for s in node.saw if s not in self._nodes]
        if missing:
            raise ValueError("it saw a decision that is not in the record")
        self._nodes[identity] = node
        kept = tuple(h for h in self._heads.get(item, ()) if h not in node.saw)
        self._heads[item] = (*kept, identity)

    def heads(self, item: str) -> tuple[str, ...]:
        """What a new decision on an item has to have seen: hashes of entries."""
        return self._heads.get(item, ())

    def sides(self, item: str) -> tuple[tuple[Decided, ...], ...]:
        """For each head, what counts by it: nothing (empty), one decision, or both of a conflict."""
        return tuple(self._counts(h) for h in self.heads(item))

    def _counts(self, identity: str) -> tuple[Decided, ...]:
        node = self._nodes[identity]
        if node.decided is not None:
            return (node.decided,)
        assert node.of is not None
        before = self._nodes[node.of].saw
        found = {d.id: d for head in before for d in self._counts(head)}
        return tuple(found.values())

    def taken_back(self, identity: str) -> Decided:
        """The decision that an undo took back, marked so."""
        node = self._nodes[identity]
        assert node.of is not None
        decided = self._nodes[node.of].decided
        assert decided is not None
        return replace(decided, taken_back=True)

    def is_undo(self, identity: str) -> bool:
        """Whether a head is an undo."""
        return self._nodes[identity].of is not None

    def shown_to(self, item: str, item_digest: str) -> frozenset[str]:
        """Who had an item, as it was then, open with its photo on screen."""
        return frozenset(self._shown.get((item, item_digest), ()))

    def ever_decided(self, item: str) -> bool:
        """Whether the item was ever decided, taken back or not."""
        return item in self._decided_before

    def items(self) -> Mapping[str, tuple[str, ...]]:
        """Heads of every item that was ever decided."""
        return self._heads
