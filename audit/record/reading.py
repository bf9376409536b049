"""Read a record's file without touching it: as evidence, not as a database in use."""

from __future__ import annotations

import sqlite3
import tempfile
import time
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

from audit.errors import RecordError, Where
from audit.record.canonical import sha256
from audit.record.errors import broken
from audit.record.seal import Seal, read_seal
from audit.record.store import FILE

_TRIES = 20
_WAL_FLAGS = slice(18, 20)


@dataclass(frozen=True)
class Row:
    """One row as it is stored."""

    seq: object
    hash: object
    key: object
    body: bytes


@dataclass(frozen=True)
class RawRecord:
    """What lies on the disk.

    Parameters
    ----------
    rows : tuple of Row
        As far as the database could be read.
    seal : Seal or None
    at_rest : bool
        No write-ahead log is left over from a crash or a writer at work.
    file_sha256 : str
        Of `record.sqlite`.
    problems : tuple of RecordError
        A damaged seal, or a database that could not be read to its end.
    """

    rows: tuple[Row, ...]
    seal: Seal | None
    at_rest: bool
    file_sha256: str
    problems: tuple[RecordError, ...]


def read_raw(root: Path) -> RawRecord:
    """Read the record of a job folder; waits a moment for a writer at work.

    Raises
    ------
    RecordError
        When there is no record.
    """
    found = _read(root)
    for _ in range(_TRIES):
        if found.at_rest and found.seal and found.seal.file_sha256 == found.file_sha256:
            break
        time.sleep(0.03)
        before, found = found, _read(root)
        if (before.file_sha256, before.seal) == (found.file_sha256, found.seal):
            break
    return found


def _read(root: Path) -> RawRecord:
    path = root / FILE
    problems: list[RecordError] = []
    seal = None
    try:
        seal = read_seal(root)
    except RecordError as exc:
        problems.append(exc)
    try:
        wal = path.with_name(f"{FILE}-wal")
        log = wal.read_bytes() if wal.exists() else b""
        data = path.read_bytes()
    except FileNotFoundError as exc:
        if seal is not None:
            raise broken(None, "the record is gone, its seal is still there") from exc
        raise RecordError(
            "there is no record yet", Where(FILE), f"begin it with: lidoff review {root.name}"
        ) from exc
    except OSError as exc:
        raise broken(None, f"it can't be read ({exc.strerror})") from exc
    rows, problem = _rows_beside_log(data, log) if log else _rows(data)
    problems += [problem] if problem else []
    return RawRecord(tuple(rows), seal, not log, sha256(data), tuple(problems))


def _rows(data: bytes) -> tuple[list[Row], RecordError | None]:
    """Rows of a database at rest, read in memory."""
    copy = bytearray(data)
    copy[_WAL_FLAGS] = b"\x01\x01"  # in memory there is no write-ahead log
    try:
        with closing(sqlite3.connect(":memory:")) as db:
            db.deserialize(bytes(copy))
            return _select(db)
    except (sqlite3.Error, UnicodeError, OverflowError) as exc:
        return [], broken(None, f"the database is damaged ({exc})")


def _rows_beside_log(data: bytes, log: bytes) -> tuple[list[Row], RecordError | None]:
    """Rows of a database with its write-ahead log, read from a copy."""
    with tempfile.TemporaryDirectory(prefix="lidoff-") as folder:
        copy = Path(folder) / FILE
        copy.write_bytes(data)
        copy.with_name(f"{FILE}-wal").write_bytes(log)
        try:
            with closing(sqlite3.connect(copy)) as db:
                return _select(db)
        except (sqlite3.Error, UnicodeError, OverflowError) as exc:
            return [], broken(None, f"the database is damaged ({exc})")


def _select(db: sqlite3.Connection) -> tuple[list[Row], RecordError | None]:
    """All rows; on damage those before it."""
    db.execute("PRAGMA trusted_schema = OFF")
    db.text_factory = bytes  # a damaged text must not stop the reading of others
    rows: list[Row] = []
    try:
        for seq, stored, key, body in db.execute(
            "SELECT seq, hash, key, body FROM entry ORDER BY seq"
        ):
            if not isinstance(body, bytes):  # a damaged database gives numbers and nulls
                raise TypeError("no bytes")
            rows.append(Row(seq, _text(stored), _text(key), body))
    except (sqlite3.Error, TypeError, ValueError, OverflowError) as exc:
        return rows, broken(len(rows) + 1, f"the database is damaged there ({exc})")
    return rows, None


def _text(value: object) -> object:
    return value.decode("utf-8", "replace") if isinstance(value, bytes) else value
