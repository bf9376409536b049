"""The record as the rest of the program uses it."""

from __future__ import annotations

import threading
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from audit.checklist.models import HoldPoint
from audit.errors import Where
from audit.job.marks import Mark
from audit.record import blind, signoff
from audit.record.decisions import decision_draft, shown_draft, undo_draft
from audit.record.entries import Draft, Entry
from audit.record.errors import DecisionError, KeyReusedError
from audit.record.evidence import CHECKLIST, JobEvidence
from audit.record.fold import Fold
from audit.record.keys import Signer
from audit.record.payloads import ChecklistData, check_name, checked
from audit.record.state import RecordState, standings
from audit.record.store import Store, utc_now
from audit.record.types import Decision, Judged, SignOffStatus

Build = Callable[[Fold, Entry], Draft]
"""Makes an entry of what the entries say together, and of the last one."""


@dataclass(frozen=True)
class JobState(RecordState):
    """How a job stands: `RecordState`, with its sign-offs and blind look."""

    sign_offs: Mapping[HoldPoint, SignOffStatus]
    blind: blind.BlindState

    def sign_off(self, hold_point: HoldPoint) -> SignOffStatus:
        """The latest sign-off of a hold point."""
        return self.sign_offs[hold_point]


class Record:
    """One job's record; thread-safe, and safe beside other processes.

    Parameters
    ----------
    store : Store
    """

    def __init__(self, store: Store) -> None:
        self.store = store
        self._lock = threading.RLock()
        self._fold = Fold()
        self._state: tuple[int, JobState] | None = None

    @classmethod
    def open(
        cls, root: Path, *, job: str | None = None, clock: Callable[[], datetime] = utc_now
    ) -> Record:
        """Open the record of a job folder; it is begun where there is none.

        Parameters
        ----------
        root : pathlib.Path
        job : str, optional
            The job's name; else the folder's.
        clock : callable

        Raises
        ------
        RecordError
            When it is damaged.
        """
        store = Store(root, clock)
        store.open(job or root.resolve().name)
        return cls(store)

    def entries(self) -> tuple[Entry, ...]:
        """All entries."""
        return self.store.entries()

    def fold(self) -> Fold:
        """What the entries say together. Do not change it."""
        return self._fed(self.store.entries())

    def _fed(self, entries: Sequence[Entry]) -> Fold:
        with self._lock:
            for entry in entries[self._fold.seq :]:
                self._fold.feed(entry)
            return self._fold

    def state(self, job: JobEvidence) -> JobState:
        """How every item stands now.

        Parameters
        ----------
        job : JobEvidence
        """
        with self._lock:
            fold = self.fold()
            if self._state is not None and self._state[0] == fold.seq and self._state[1].job is job:
                return self._state[1]
            found = standings(fold, job)
            state = JobState(
                job=job,
                standings=found.standings,
                gone=found.gone,
                seq=found.seq,
                sign_offs=signoff.statuses(fold, found),
                blind=blind.state(fold, job),
            )
            self._state = (fold.seq, state)
            return state

    def adopt(self, job: JobEvidence, by: str | None = None) -> Entry | None:
        """Write down which checklist is decided on, when it is not the one known last.

        Returns
        -------
        Entry or None
            None when it is known already.

        Raises
        ------
        DecisionError
            When facts or photos changed while the checklist stayed as it was: it was not
            made from them.
        """
        data = job.record_data
        checked(ChecklistData, data)

        def build(entries: tuple[Entry, ...]) -> Draft | Entry:
            last = next((e for e in reversed(entries) if e.kind == "checklist"), None)
            return _adopted(last, data) or Draft("checklist", data, by)

        known = next((e for e in reversed(self.entries()) if e.kind == "checklist"), None)
        return None if _adopted(known, data) else self.store.append(build)

    def _append(self, key: str, build: Build) -> Entry:
        """Append what `build` makes of the present state, once for each key."""
        _check_key(key)

        def once(entries: tuple[Entry, ...]) -> Draft | Entry:
            with self._lock:
                fold = self._fed(entries)
                before = next((e for e in reversed(entries) if e.key == key), None)
                return before or build(fold, entries[-1])

        return self.store.append(once)

    def decide(
        self,
        job: JobEvidence,
        item: str,
        decision: Decision,
        *,
        by: str,
        saw: Sequence[str],
        key: str,
    ) -> Entry:
        """Record a decision on one item.

        Parameters
        ----------
        job : JobEvidence
            The checklist that was on screen.
        item : str
            Its id.
        decision : Agree, Overrule, Retake or SeenOnSite
        by : str
            Who decides.
        saw : sequence of str
            `token` of the standing that was on screen.
        key : str
            Made by the client once for this act.

        Returns
        -------
        Entry

        Raises
        ------
        ConflictError
            When the item stands otherwise than it did on screen.
        NotShownError
            When the item weighs `stop` and was not open with its photo on screen.
        DecisionError
            When something that the decision needs is missing.
        RecordError, ResourceError
            As `Store.append`.
        """
        entry = self._append(
            key, lambda fold, _: decision_draft(fold, job, item, decision, by, saw, key)
        )
        _same_act(entry, "decision", by, {"item": item, "choice": decision.choice})
        return entry

    def undo(self, job: JobEvidence, item: str, *, by: str, saw: Sequence[str], key: str) -> Entry:
        """Take the decision on an item back: a new entry; what it had replaced counts again.

        Raises
        ------
        ConflictError
            When the item stands otherwise than it did on screen.
        DecisionError
            When there is nothing to take back.
        """
        entry = self._append(key, lambda fold, _: undo_draft(fold, job, item, by, saw, key))
        _same_act(entry, "undo", by, {"item": item})
        return entry

    def shown(
        self, job: JobEvidence, item: str, *, by: str, photos: Sequence[str], key: str
    ) -> Entry:
        """Record that an item was opened with its photos on screen.

        Parameters
        ----------
        photos : sequence of str
            Photos that were on screen, as the checklist names them; of those that the
            item points at (or, where it points at none, that its fitting has) one or
            more has to be there.

        Raises
        ------
        DecisionError
            When none of the item's photos was on screen.
        """
        entry = self._append(key, lambda fold, _: shown_draft(job, item, by, photos, key))
        _same_act(entry, "shown", by, {"item": item})
        return entry

    def mark(
        self,
        job: JobEvidence,
        mark: Mark,
        *,
        by: str,
        key: str,
        result: Mapping[str, Any] | None = None,
    ) -> Entry:
        """Record that a person put a mark on a photo, and what was measured by it.

        Parameters
        ----------
        mark : Mark
            With the photo's hash.
        result : mapping, optional
            JSON values: what was measured before and after.

        Raises
        ------
        DecisionError
            When the mark is not on a photo of the job.
        """
        check_name(by)
        if not any(h == mark.sha256 for h in job.photos.values() if h):
            raise DecisionError("this mark is on no photo of the job", Where(mark.photo))
        data = {
            "schema": "lidoff.marks/1",
            "mark": mark.model_dump(mode="json"),
            "measured_by": "a person",
            "result": dict(result or {}),
        }
        entry = self._append(key, lambda fold, _: Draft("mark", data, by, key))
        _same_act(entry, "mark", by, {})
        return entry

    def draw_blind(
        self, job: JobEvidence, *, share: float, by: str, key: str, seed: str | None = None
    ) -> Entry:
        """Draw the fittings that are judged before the tool's states are shown.

        Parameters
        ----------
        share : float
            0 to 1, of the fittings; rounded up.
        seed : str, optional
            Else the hash of the record's last entry, which nobody chose.
        """
        return self._append(key, lambda fold, _: blind.draw_draft(fold, job, share, by, key, seed))

    def judge_blind(
        self, job: JobEvidence, item: str, judged: Judged, *, by: str, key: str
    ) -> Entry:
        """Record a judgement made before the tool's state was shown.

        Raises
        ------
        DecisionError
            When the item was not drawn, or its state was seen already.
        """
        entry = self._append(
            key, lambda fold, _: blind.judge_draft(fold, job, item, judged, by, key)
        )
        _same_act(entry, "blind-judgement", by, {"item": item, "judged": judged})
        return entry

    def sign_off(
        self,
        job: JobEvidence,
        hold_point: HoldPoint,
        *,
        by: str,
        statement: str,
        signer: Signer,
        key: str,
    ) -> Entry:
        """Sign a hold point off; all photos are read and hashed again first.

        Raises
        ------
        DecisionError
            Saying what stands in the way.
        """
        changed = signoff.in_the_way_on_disk(job)

        def build(fold: Fold, last: Entry) -> Draft:
            found = standings(fold, job)
            signoff.refuse(fold, found, hold_point, changed)
            said = signoff.Said(hold_point, by, statement, key)
            return signoff.draft(found, said, signer, last)

        entry = self._append(key, build)
        _same_act(entry, "sign-off", by, {"hold_point": hold_point})
        return entry


def _adopted(last: Entry | None, data: Mapping[str, Any]) -> Entry | None:
    """The entry that speaks of this checklist already; None where the last one does not."""
    if last is None or last.data["checklist_sha256"] != data["checklist_sha256"]:
        return None
    for what, key in (("declared facts", "facts"), ("photos", "photos")):
        if last.data[key] != data[key]:
            raise DecisionError(
                f"{what} changed since the checklist was made",
                Where(CHECKLIST),
                "run lidoff audit again",
            )
    return last


def _check_key(key: str) -> None:
    if not (8 <= len(key) <= 100 and key.isascii() and key.isprintable()):
        raise DecisionError(
            "the key of this act is none",
            next_step="send 8 to 100 printable characters, such as a UUID",
        )


def _same_act(entry: Entry, kind: str, by: str, fields: Mapping[str, object]) -> None:
    if (
        entry.kind != kind
        or entry.by != by
        or any(entry.data.get(k) != v for k, v in fields.items())
    ):
        raise KeyReusedError(
            f"the key {entry.key} belongs to entry {entry.seq}, which is another act",
            next_step="make a new key for each act",
        )
