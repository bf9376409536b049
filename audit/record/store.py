"""The store: `record.sqlite` in the job folder, append-only, one writer at a time.

SQLite in WAL mode with full synchronisation; triggers refuse change, deletion
and replacement. They guard against mistakes: the chain and the seal are the
evidence.
"""

from __future__ import annotations

import sqlite3
import threading
import time
import uuid
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

from audit import __version__
from audit.errors import LidoffError, RecordError, ResourceError, Where
from audit.record.canonical import sha256
from audit.record.entries import START, Draft, Entry, next_entry, place, utc_text
from audit.record.errors import DecisionError, broken
from audit.record.seal import NAME as SEAL
from audit.record.seal import Seal, read_seal, write_seal

FILE = "record.sqlite"
BUSY_S = 30.0
"""How long a writer waits for another one."""
APPLICATION_ID = 0x4C69_6466
USER_VERSION = 1

_SCHEMA = """
CREATE TABLE entry(
  seq INTEGER PRIMARY KEY CHECK (seq > 0),
  hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64),
  key TEXT UNIQUE,
  body BLOB NOT NULL
) STRICT;
CREATE TRIGGER entry_is_next BEFORE INSERT ON entry
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM entry)
  OR EXISTS (SELECT 1 FROM entry WHERE hash = NEW.hash OR (NEW.key IS NOT NULL AND key = NEW.key))
BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END;
CREATE TRIGGER entry_stays BEFORE UPDATE ON entry
BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END;
CREATE TRIGGER entry_is_kept BEFORE DELETE ON entry
BEGIN SELECT RAISE(ABORT, 'the record is append-only'); END;
"""


def utc_now() -> datetime:
    """The clock."""
    return datetime.now(UTC)


class Store:
    """Entries of one job's record.

    Parameters
    ----------
    root : pathlib.Path
        The job folder.
    clock : callable
        Gives the present moment with its zone.
    """

    def __init__(self, root: Path, clock: Callable[[], datetime] = utc_now) -> None:
        self.root = root
        self.path = root / FILE
        self._clock = clock
        self._lock = threading.RLock()
        self._entries: list[Entry] = []

    @property
    def exists(self) -> bool:
        """Whether a record was ever begun here."""
        return self.path.exists()

    def entries(self) -> tuple[Entry, ...]:
        """All entries, as they are on the disk now.

        Raises
        ------
        RecordError
            Naming the first entry that does not hold.
        """
        with self._lock, self._connection() as db:
            self._catch_up(db)
            return tuple(self._entries)

    def append(self, build: Callable[[tuple[Entry, ...]], Draft | Entry]) -> Entry:
        """Append one entry, decided on while nobody else can write.

        Parameters
        ----------
        build : callable
            Gets all entries there are; gives the draft to append, or an entry
            that is there already, when there is nothing to write. What it
            raises leaves the record as it was.

        Returns
        -------
        Entry
            On the disk, and covered by the seal.

        Raises
        ------
        RecordError
            When the record is damaged.
        ResourceError
            When the disk is full or another writer holds the record too long.
        """
        with self._lock, self._connection() as db:
            with _writing(db):
                self._catch_up(db)
                found = build(tuple(self._entries))
                if isinstance(found, Entry):
                    return found
                entry = self._insert(db, found)
            self._entries.append(entry)
            self._seal(db)
            return entry

    def _insert(self, db: sqlite3.Connection, draft: Draft) -> Entry:
        last = self._entries[-1] if self._entries else None
        seq, prev = (1, START) if last is None else (last.seq + 1, last.hash)
        try:
            entry = place(draft, seq, prev, utc_text(self._clock()))
        except ValueError as exc:
            raise DecisionError(f"this can't be recorded ({exc})") from exc
        db.execute(
            "INSERT INTO entry(seq, hash, key, body) VALUES (?, ?, ?, ?)",
            (entry.seq, entry.hash, entry.key, entry.body),
        )
        return entry

    def _catch_up(self, db: sqlite3.Connection) -> None:
        """Read what others wrote since."""
        last = self._entries[-1] if self._entries else None
        rows = db.execute(
            "SELECT seq, hash, body FROM entry WHERE seq > ? ORDER BY seq",
            (last.seq if last else 0,),
        )
        for seq, stored, body in rows:
            if not isinstance(body, bytes):  # a damaged database gives numbers, texts, nulls
                raise broken(last.seq + 1 if last else 1, "the database is damaged there")
            last = next_entry(body, last)
            if (seq, stored) != (last.seq, last.hash):
                raise broken(last.seq, "its row in the database says otherwise")
            self._entries.append(last)

    def open(self, job: str) -> None:
        """Begin the record where there is none, and bring the seal up after a crash.

        Parameters
        ----------
        job : str
            The job's name, for the first entry.

        Raises
        ------
        RecordError
            When the record is damaged, not ours, or its seal was taken away.
        """
        _refuse_links(self.root)
        with self._lock, self._connection() as db:
            _write_ahead(db, self.path)
            with _writing(db):
                if not _tables(db):
                    self._begin(db, job)
                self._catch_up(db)
                if not self._entries:
                    raise broken(None, "the record holds no entry")
                seal = read_seal(self.root)
                if seal is None and len(self._entries) > 1:
                    # The first entry is sealed before another is appended, so no crash leaves
                    # this: sealing it anew would hide that the last entries were taken away.
                    raise broken(None, "the seal is missing", SEAL)
                sealed = check_seal(seal, self._entries)
                if sealed and not self._file_matches():
                    raise broken(None, "the file was changed by something else than lidoff")
            if not sealed:
                self._seal(db)

    def _begin(self, db: sqlite3.Connection, job: str) -> None:
        if read_seal(self.root) is not None:
            raise broken(None, "the record is gone, its seal is still there")
        for statement in _SCHEMA.split(";\nCREATE"):
            db.execute(
                statement if statement.lstrip().startswith("CREATE") else "CREATE" + statement
            )
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        db.execute(f"PRAGMA user_version = {USER_VERSION}")
        opened = {
            "record": uuid.uuid4().hex,
            "job": job,
            "tool": {"name": "lidoff", "version": __version__},
        }
        self._insert(db, Draft("opened", opened))

    def _file_matches(self) -> bool:
        seal = read_seal(self.root)
        return seal is not None and sha256(self.path.read_bytes()) == seal.file_sha256

    def _seal(self, db: sqlite3.Connection) -> None:
        """Bring all entries into the one file and write its hash down."""
        db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
        with _writing(db):
            wal = self.path.with_name(f"{FILE}-wal")
            if wal.exists() and wal.stat().st_size:
                return  # somebody wrote in between, and seals for both of us
            seq, head = db.execute(
                "SELECT seq, hash FROM entry ORDER BY seq DESC LIMIT 1"
            ).fetchone()
            write_seal(self.root, Seal(seq, head, sha256(self.path.read_bytes())))

    @contextmanager
    def _connection(self) -> Iterator[sqlite3.Connection]:
        try:
            with closing(sqlite3.connect(self.path, timeout=BUSY_S, isolation_level=None)) as db:
                db.execute("PRAGMA recursive_triggers = ON")
                db.execute("PRAGMA synchronous = FULL")
                db.execute("PRAGMA trusted_schema = OFF")
                yield db
        except sqlite3.OperationalError as exc:
            raise _cannot_use(self.path, exc) from exc
        except (sqlite3.Error, UnicodeError, OverflowError) as exc:
            raise broken(None, f"the database is damaged ({exc})") from exc


def check_seal(seal: Seal | None, entries: list[Entry]) -> bool:
    """Hold the entries against the seal.

    Returns
    -------
    bool
        Whether the seal reaches to the last entry.

    Raises
    ------
    RecordError
        When entries that the seal covers are gone or others.
    """
    if seal is None:
        return False
    if seal.seq > len(entries):
        raise broken(len(entries) + 1, f"it is gone: record.seal knows {seal.seq} entries")
    if entries[seal.seq - 1].hash != seal.head:
        raise broken(seal.seq, "it is not the entry that record.seal speaks of")
    return seal.seq == len(entries)


@contextmanager
def _writing(db: sqlite3.Connection) -> Iterator[None]:
    """One transaction that nobody else writes in."""
    db.execute("BEGIN IMMEDIATE")
    try:
        yield
        db.execute("COMMIT")
    except BaseException:
        if db.in_transaction:
            db.execute("ROLLBACK")
        raise


def _tables(db: sqlite3.Connection) -> bool:
    return db.execute("SELECT 1 FROM sqlite_schema WHERE name = 'entry'").fetchone() is not None


def _refuse_links(root: Path) -> None:
    if (root / FILE).is_symlink():
        raise RecordError("the record is a link", Where(FILE), "put the file itself in its place")


def _write_ahead(db: sqlite3.Connection, path: Path) -> None:
    """Put the database in WAL mode; two that begin at once wait for each other."""
    for _ in range(100):
        try:
            mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
            break
        except sqlite3.OperationalError as exc:  # the busy timeout does not hold for this one
            if "locked" not in str(exc):
                raise
            time.sleep(0.05)
    else:
        mode = "locked"
    if mode != "wal":
        raise ResourceError(
            f"the record can't be kept safely here ({mode})",
            Where(path.name),
            "put the job on a disk of this computer",
        )


_BUSY = ("locked", "busy", "full", "readonly", "unable to open", "disk i/o")


def _cannot_use(path: Path, exc: sqlite3.OperationalError) -> LidoffError:
    said = str(exc)
    if not any(word in said.lower() for word in _BUSY):
        return broken(None, f"the database is damaged ({said})")
    step = "see whether the disk is full and the job's folder may be written to, then retry"
    if "locked" in said or "busy" in said:
        step = "close what else has the job open, then retry"
    return ResourceError(f"the record can't be used ({said})", Where(path.name), step)
