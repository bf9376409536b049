"""One job on the desk: its checklist, its record, and what changed on the disk."""

from __future__ import annotations

import hashlib
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path

from audit.batch.outputs import OUT, settle
from audit.checklist.models import Checklist, Fitting, Item, PhotoEntry, Room, SubjectKind
from audit.job.read import load_job
from audit.record.evidence import (
    CHECKLIST,
    FACTS,
    DriftCache,
    JobEvidence,
    drift,
    load_evidence,
)
from audit.record.record import JobState, Record
from audit.review.pictures import PhotoDesk, photo_key
from audit.settings import Settings

_LOOK_AGAIN_S = 1.0
"""How long the files of a job are taken to be as they were."""
_HASH_AGAIN_S = 15.0
"""How often photos on the disk are held against the checklist, while somebody looks."""


def slug(kind: str, identity: str) -> str:
    """Name of a subject in addresses: 12 hex digits that no name can break out of."""
    text = f"{kind}\0{identity}".encode("utf-8", "surrogatepass")
    return hashlib.sha256(text).hexdigest()[:12]


def item_key(item: str) -> str:
    """Name of an item in addresses and anchors."""
    return "i" + hashlib.sha256(item.encode("utf-8", "surrogatepass")).hexdigest()[:12]


@dataclass(frozen=True)
class Subject:
    """What items are asked of: a fitting, a room, a circuit, or the job.

    Parameters
    ----------
    kind : str
    id : str
    items : tuple of Item
    fitting : Fitting or None
    room : Room or None
        The room itself, or the fitting's.
    photos : tuple of PhotoEntry
    """

    kind: SubjectKind
    id: str
    items: tuple[Item, ...] = field(repr=False)
    fitting: Fitting | None = None
    room: Room | None = None
    photos: tuple[PhotoEntry, ...] = ()

    @property
    def slug(self) -> str:
        """Its name in addresses."""
        return slug(self.kind, self.id)

    @property
    def title(self) -> str:
        """How a person calls it."""
        return "The job" if self.kind == "job" else f"{self.kind.capitalize()} {self.id}"


@dataclass(frozen=True)
class Basis:
    """A job's evidence, indexed for the pages.

    Parameters
    ----------
    evidence : JobEvidence
    """

    evidence: JobEvidence

    @property
    def checklist(self) -> Checklist:
        """The checklist."""
        return self.evidence.checklist

    @cached_property
    def subjects(self) -> Mapping[str, Subject]:
        """Subjects by slug, in the checklist's order: fittings, rooms, circuits, the job."""
        by_subject: dict[tuple[SubjectKind, str], list[Item]] = {}
        for item in self.checklist.items:
            by_subject.setdefault((item.subject.kind, item.subject.id), []).append(item)
        rooms = {r.name: r for r in self.checklist.rooms}
        photos = {p.file: p for p in self.checklist.photos}
        found: list[Subject] = []
        for f in self.checklist.fittings:
            items = tuple(by_subject.pop(("fitting", f.label), ()))
            shown = tuple(photos[name] for name in f.photos if name in photos)
            room = rooms.get(f.room) if f.room else None
            found.append(Subject("fitting", f.label, items, f, room, shown))
        for (kind, identity), several in by_subject.items():
            room = rooms.get(identity) if kind == "room" else None
            found.append(Subject(kind, identity, tuple(several), None, room))
        return {s.slug: s for s in found}

    @cached_property
    def items(self) -> Mapping[str, Item]:
        """Items by their key in addresses."""
        return {item_key(i.id): i for i in self.checklist.items}

    @cached_property
    def photos(self) -> Mapping[str, PhotoEntry]:
        """Photos by their key in addresses."""
        return {photo_key(p.file): p for p in self.checklist.photos}

    def subject_of(self, item: Item) -> Subject:
        """The subject that an item is asked of."""
        return self.subjects[slug(item.subject.kind, item.subject.id)]


class Desk:
    """What the pages work on; thread-safe.

    Parameters
    ----------
    root : pathlib.Path
        The job folder; it holds a checklist.
    share : float
        Of fittings that are judged before the tool's states are shown, 0 to 1.
    """

    def __init__(self, root: Path, share: float = 0.1) -> None:
        self.root = root
        self.share = share
        settle(root / OUT)
        self._lock = threading.RLock()
        self._basis: Basis | None = None
        self._stamp: tuple[object, ...] = ()
        self._looked = 0.0
        evidence = self.basis().evidence
        self.settings: Settings = load_job(root).settings
        self.record = Record.open(root, job=evidence.checklist.job.name)
        self.photos = PhotoDesk(root, self.settings)
        self._drift = DriftCache()
        self._changed: tuple[JobEvidence, tuple[str, ...]] | None = None
        self._hashing = threading.Lock()
        self._hashed = -_HASH_AGAIN_S

    def basis(self, *, fresh: bool = False) -> Basis:
        """The checklist as it is on the disk, read again when its files changed.

        Parameters
        ----------
        fresh : bool
            Look at the files now, not only once a second.

        Raises
        ------
        JobError
            When there is none, or it is damaged.
        """
        with self._lock:
            now = time.monotonic()
            if self._basis is not None and not fresh and now - self._looked < _LOOK_AGAIN_S:
                return self._basis
            stamp = tuple(_stamp(self.root / name) for name in (CHECKLIST, *FACTS))
            if self._basis is None or stamp != self._stamp:
                self._basis, self._stamp = Basis(load_evidence(self.root)), stamp
            self._looked = now
            return self._basis

    def changed(self) -> tuple[str, ...] | None:
        """What changed on the disk since the checklist was made, as far as is known now.

        The photos are hashed in the background, since many take seconds.

        Returns
        -------
        tuple of str or None
            None before the first round has ended.
        """
        evidence = self.basis().evidence
        if time.monotonic() - self._hashed >= _HASH_AGAIN_S and self._hashing.acquire(
            blocking=False
        ):
            threading.Thread(target=self._hash, args=(evidence,), daemon=True).start()
        known = self._changed
        return known[1] if known is not None and known[0] is evidence else None

    def _hash(self, evidence: JobEvidence) -> None:
        try:
            self._changed = (evidence, drift(evidence, self._drift))
            self._hashed = time.monotonic()
        finally:
            self._hashing.release()

    def adopted(self, by: str) -> tuple[Basis, JobState]:
        """The checklist, written down in the record as the one that is decided on, and its state."""
        basis = self.basis()
        self.record.adopt(basis.evidence, by=by)
        return basis, self.record.state(basis.evidence)

    def draw(self, by: str, key: str) -> None:
        """Draw the fittings of the second look, once for a job."""
        basis, state = self.adopted(by)
        if self.share > 0 and basis.checklist.fittings and state.blind.seed is None:
            self.record.draw_blind(basis.evidence, share=self.share, by=by, key=key)


def _stamp(path: Path) -> tuple[int, int, int] | None:
    try:
        info = path.stat()
    except OSError:
        return None
    return (info.st_size, info.st_mtime_ns, info.st_ino)
