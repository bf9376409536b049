"""Does the record hold: chain, seal, signatures, checklist, photos, declared facts."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import ValidationError

from audit.checklist.models import Checklist
from audit.errors import JobError, RecordError, Where
from audit.job.files import find_photos
from audit.record.canonical import canonical
from audit.record.entries import Entry, next_entry, read_entry
from audit.record.errors import broken
from audit.record.evidence import (
    CHECKLIST,
    JobEvidence,
    fact_hashes,
    hash_file,
    parse_checklist,
    photo_path,
    read_checklist_bytes,
)
from audit.record.fold import Fold
from audit.record.payloads import ChecklistData
from audit.record.reading import RawRecord, Row, read_raw
from audit.record.signoff import sign_off_problem, statuses
from audit.record.state import standings


@dataclass(frozen=True)
class Signed:
    """One sign-off whose signature holds."""

    seq: int
    hold_point: str
    by: str
    at: str
    public_key: str


@dataclass
class Verified:
    """What verifying found.

    Attributes
    ----------
    entries : list of Entry
        Those that hold, from the first on.
    problems : list of RecordError
        What does not hold; the first names the first entry that does not.
    notes : list of str
        What is worth knowing and no damage.
    signed : list of Signed
    photos : int
        Photos that are those of the record.
    pack_key : str or None
        Public key that a pack as a whole is signed with.
    fold : Fold
    """

    entries: list[Entry] = field(default_factory=list)
    problems: list[RecordError] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    signed: list[Signed] = field(default_factory=list)
    photos: int = 0
    pack_key: str | None = None
    fold: Fold = field(default_factory=Fold)

    @property
    def holds(self) -> bool:
        """Whether nothing was found."""
        return not self.problems


def verify_job(root: Path, *, key: str | None = None) -> Verified:
    """Hold a job folder against its record. Nothing is written.

    Parameters
    ----------
    root : pathlib.Path
    key : str, optional
        Public key that every sign-off must be signed with.
    """
    found = Verified()
    try:
        raw = read_raw(root)
    except RecordError as problem:
        found.problems.append(problem)
        return found
    verify_entries(found, raw.rows, key=key)
    if not found.problems:
        found.problems += raw.problems or _against_seal(raw, found)
    if found.entries and found.fold.checklist is not None:
        found.problems += _against_disk(root, found)
    elif not found.problems:
        found.notes.append("no checklist is in the record yet")
    found.problems += signed_with(found, key, "record.sqlite")
    if found.holds and found.signed:
        tell_stale(found, read_checklist_bytes(root))
    return found


def signed_with(found: Verified, key: str | None, file: str) -> list[RecordError]:
    """Where a key is asked for, something has to be signed with it: a sign-off can be cut off."""
    if key is None or found.problems or found.signed or found.pack_key == key:
        return []
    return [RecordError("nothing in it is signed with the key that was given", Where(file))]


def verify_entries(
    found: Verified,
    rows: Iterable[Row],
    *,
    key: str | None = None,
    file: str = "record.sqlite",
) -> None:
    """Read entries in order up to the first that does not hold.

    Parameters
    ----------
    found : Verified
        Takes what is found.
    rows : iterable of Row
        May raise RecordError where one can't be read.
    key : str, optional
    file : str
        How messages name the source.
    """
    try:
        for row in rows:
            entry = next_entry(row.body, found.entries[-1] if found.entries else None, file)
            if (row.seq, row.hash, row.key) != (entry.seq, entry.hash, entry.key):
                raise broken(entry.seq, "it is not the one that was written", file)
            found.fold.feed(entry)
            found.signed += _signatures(entry, key, file)
            found.entries.append(entry)
    except RecordError as problem:
        problem.where = Where(file)
        found.problems.append(problem)


def _signatures(entry: Entry, key: str | None, file: str) -> Iterator[Signed]:
    """Sign-offs in one entry, those that a merge brought in included."""
    for inner in with_merged(entry):
        if inner.kind != "sign-off":
            continue
        try:
            problem = sign_off_problem(inner)
        except (ValidationError, ValueError) as exc:
            raise broken(entry.seq, "it does not say what a sign-off says", file) from exc
        if problem:
            raise broken(entry.seq, problem, file)
        public = str(inner.data["public_key"])
        if key is not None and public != key:
            raise broken(entry.seq, "it is signed with another key than the one given", file)
        yield Signed(entry.seq, str(inner.data["hold_point"]), inner.by or "", inner.at, public)


def with_merged(entry: Entry) -> Iterator[Entry]:
    """An entry, and those that it brought in where it is a merge."""
    yield entry
    if entry.kind == "merge":
        for body in entry.data["entries"]:
            yield from with_merged(read_entry(canonical(body)))


def _against_seal(raw: RawRecord, found: Verified) -> Iterator[RecordError]:
    count = len(found.entries)
    if not count:
        yield broken(1, "the record holds no entry")
        return
    seal = raw.seal
    if seal is None:
        yield broken(None, "the seal is missing", "record.seal")
        return
    if seal.seq > count:
        yield broken(count + 1, f"it is gone: record.seal knows {seal.seq} entries")
    elif found.entries[seal.seq - 1].hash != seal.head:
        yield broken(seal.seq, "it is not the entry that record.seal speaks of")
    elif seal.seq < count or not raw.at_rest:
        found.notes.append(
            f"the last writer did not finish: entries after {seal.seq} hold, and are not sealed yet"
        )
    elif seal.file_sha256 != raw.file_sha256:
        yield broken(
            None,
            f"all {count} entries hold, but the file is not the one that record.seal speaks of: "
            "one of the two was changed",
        )


def _against_disk(root: Path, found: Verified) -> Iterator[RecordError]:
    latest = found.fold.checklist
    assert latest is not None

    def hash_of(path: Path) -> str | None:
        try:
            return hash_file(path)
        except OSError:
            return None

    known = {photo_path(root, p.file) for p in latest.photos}
    added = [p.path for p in find_photos(root).photos if root / p.path not in known]
    if added:
        found.notes.append(f"{len(added)} photos were added since: {', '.join(added[:5])}")
    yield from against_files(
        found,
        checklist=hash_of(root / CHECKLIST),
        photo=lambda name: hash_of(photo_path(root, name)),
        facts=fact_hashes(root),
    )


def against_files(
    found: Verified,
    *,
    checklist: str | None,
    photo: Callable[[str], str | None],
    facts: Mapping[str, str] | None,
) -> Iterator[RecordError]:
    """Hold checklist, photos and facts against the entry that speaks of them.

    Parameters
    ----------
    found : Verified
        Counts the photos that hold.
    checklist : str or None
        SHA-256 of the checklist's file, None when it is not there.
    photo : callable
        SHA-256 of a photo by the name the record gives it, or None.
    facts : mapping, optional
        SHA-256 of the files of declared facts by name; None: not looked at.
    """
    latest, seq = found.fold.checklist, found.fold.checklist_seq
    assert latest is not None
    if checklist != latest.checklist_sha256:
        yield _gone_or_changed(seq, CHECKLIST, checklist)
    for said in latest.photos:
        now = photo(said.file)
        if now != said.sha256:
            yield _gone_or_changed(seq, f"photos/{said.file}", now)
        else:
            found.photos += 1
    if facts is None:
        return
    then = {f.file: f.sha256 for f in latest.facts}
    for name in sorted({*then, *facts}):
        now = facts.get(name)
        if now != then.get(name):
            yield _gone_or_changed(seq, name, now)


def tell_stale(found: Verified, checklist: bytes) -> None:
    """Note sign-offs that hold as signatures, but whose job changed since.

    Parameters
    ----------
    found : Verified
        Takes the notes.
    checklist : bytes
        The checklist's file, which is the one of the record.
    """
    latest = found.fold.checklist
    assert latest is not None
    try:
        parsed = parse_checklist(checklist)
    except JobError:
        found.notes.append("the checklist is one of another version; sign-offs were not compared")
        return
    job = recorded_evidence(latest, parsed)
    for status in statuses(found.fold, standings(found.fold, job)).values():
        if status.state == "stale":
            more = f" and {len(status.reasons) - 3} more" if len(status.reasons) > 3 else ""
            why = ", ".join(status.reasons[:3])
            found.notes.append(f"the sign-off of {status.hold_point} is stale: {why}{more}")


def recorded_evidence(latest: ChecklistData, checklist: Checklist) -> JobEvidence:
    """What a job's decisions rest on, as its record tells it; nothing is read from the disk.

    Parameters
    ----------
    latest : ChecklistData
        Of the record's last `checklist` entry.
    checklist : Checklist
        The one that the entry speaks of.
    """
    return JobEvidence(
        root=Path(),
        checklist=checklist,
        checklist_sha256=latest.checklist_sha256,
        photos={p.file: p.sha256 for p in latest.photos},
        facts={f.file: f.sha256 or "" for f in latest.facts},
        rules_sha256=latest.rules_sha256,
        tool=latest.tool,
    )


def _gone_or_changed(seq: int, file: str, now: str | None) -> RecordError:
    what = "is gone" if now is None else "is not the one it speaks of"
    problem = broken(seq, f"{file} {what}", file)
    problem.next_step = "put the file back as it was, or, if it was changed on purpose, run lidoff audit and review again"
    return problem
