"""Results of practice: a file in the user's own data folder, append-only, outside of any job.

SQLite in WAL mode with full synchronisation: what was answered is on the disk
before the truth is shown. Triggers refuse change and deletion.
"""

from __future__ import annotations

import sqlite3
import threading
import time
from collections.abc import Iterator
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Literal

from platformdirs import user_data_path
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, ValidationError

from audit.errors import JobError, LidoffError, ResourceError, Where
from audit.training.answers import Sheet
from audit.training.scoring import Given, Score

BUSY_S = 20.0
APPLICATION_ID = 0x4C69_7072
_SCHEMA = """
CREATE TABLE round(
  seq INTEGER PRIMARY KEY CHECK (seq > 0),
  key TEXT NOT NULL UNIQUE,
  body TEXT NOT NULL
) STRICT;
CREATE TRIGGER round_is_next BEFORE INSERT ON round
WHEN NEW.seq IS NOT (SELECT coalesce(max(seq), 0) + 1 FROM round)
  OR EXISTS (SELECT 1 FROM round WHERE key = NEW.key)
BEGIN SELECT RAISE(ABORT, 'results are append-only'); END;
CREATE TRIGGER round_stays BEFORE UPDATE ON round
BEGIN SELECT RAISE(ABORT, 'results are append-only'); END;
CREATE TRIGGER round_is_kept BEFORE DELETE ON round
BEGIN SELECT RAISE(ABORT, 'results are append-only'); END;
"""
_STEP = "keep a copy of it, move it away, and practise on with a new one"


class Round(BaseModel):
    """One photo judged once: what was answered, what was right, and how it went."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    schema_: Literal["lidoff.practice-round/1"] = Field(
        "lidoff.practice-round/1", alias="schema", serialization_alias="schema"
    )
    at: AwareDatetime
    trainee: str
    set: str
    photo: str = Field(pattern="^[0-9a-f]{64}$", description="SHA-256 of the photo.")
    title: str
    given: Given
    sheet: Sheet
    score: Score
    seconds: float | None = Field(None, ge=0, description="Time taken; null when not timed.")
    counted: bool = Field(description="It was due; a photo looked at ahead of time counts nothing.")

    @property
    def moment(self) -> datetime:
        """When it was answered."""
        return self.at


def default_file() -> Path:
    """Where results are kept: the user's data folder, as the system has it."""
    return user_data_path("lidoff", appauthor=False) / "practice.sqlite"


class Results:
    """Rounds on the disk; thread-safe.

    Parameters
    ----------
    path : pathlib.Path
        Begun where there is none.

    Raises
    ------
    JobError
        When the file is damaged or something else.
    ResourceError
        When it can't be written.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.RLock()
        self._rounds: list[Round] = []
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as exc:
            raise ResourceError(
                f"results can't be kept here ({exc.strerror})", Where(path), "choose --results FILE"
            ) from exc
        with self._lock, self._connection() as db:
            _write_ahead(db)
            with _writing(db):
                self._begin(db)
                self._catch_up(db)

    def _begin(self, db: sqlite3.Connection) -> None:
        tables = {str(r[0]) for r in db.execute("SELECT name FROM sqlite_schema")}
        if not tables:
            for part in _SCHEMA.split(";\nCREATE"):
                db.execute(part if part.lstrip().startswith("CREATE") else "CREATE" + part)
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        elif db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
            raise JobError("these are no results of practice", Where(self.path), "choose another")

    def rounds(self, trainee: str | None = None) -> tuple[Round, ...]:
        """All rounds, oldest first; of one trainee where given."""
        with self._lock, self._connection() as db:
            self._catch_up(db)
            return tuple(r for r in self._rounds if trainee is None or r.trainee == trainee)

    def append(self, made: Round, key: str) -> int:
        """Keep one round; the same key again keeps nothing.

        Parameters
        ----------
        made : Round
        key : str
            Of the act: a request that is sent twice is one round.

        Returns
        -------
        int
            The round's number.
        """
        with self._lock, self._connection() as db:
            with _writing(db):
                self._catch_up(db)
                known = db.execute("SELECT seq FROM round WHERE key = ?", (key,)).fetchone()
                if known:
                    return int(known[0])
                seq = len(self._rounds) + 1
                body = made.model_dump_json(by_alias=True)
                db.execute("INSERT INTO round(seq, key, body) VALUES (?, ?, ?)", (seq, key, body))
            self._rounds.append(made)
            return seq

    def _catch_up(self, db: sqlite3.Connection) -> None:
        """Read what another window or process wrote since."""
        rows = db.execute(
            "SELECT seq, body FROM round WHERE seq > ? ORDER BY seq", (len(self._rounds),)
        )
        for seq, body in rows:
            if seq != len(self._rounds) + 1:
                raise JobError("a result is missing", Where(self.path, row=seq), _STEP)
            try:
                self._rounds.append(Round.model_validate_json(body))
            except (ValidationError, TypeError) as exc:
                raise JobError("a result can't be read", Where(self.path, row=seq), _STEP) from exc

    @contextmanager
    def _connection(self) -> Iterator[sqlite3.Connection]:
        try:
            with closing(sqlite3.connect(self.path, timeout=BUSY_S, isolation_level=None)) as db:
                db.execute("PRAGMA synchronous = FULL")
                db.execute("PRAGMA recursive_triggers = ON")
                db.execute("PRAGMA trusted_schema = OFF")
                yield db
        except sqlite3.Error as exc:
            raise _cannot_use(self.path, exc) from exc


def _cannot_use(path: Path, exc: sqlite3.Error) -> LidoffError:
    said = str(exc)
    busy = ("locked", "busy", "full", "readonly", "unable to open", "disk i/o")
    if isinstance(exc, sqlite3.OperationalError) and any(w in said.lower() for w in busy):
        return ResourceError(
            f"results can't be kept here ({said})", Where(path), "choose --results FILE"
        )
    return JobError(f"the results are damaged ({said})", Where(path), _STEP)


def _write_ahead(db: sqlite3.Connection) -> None:
    """Put the file in WAL mode; two that begin at once wait for each other."""
    for _ in range(100):
        try:
            db.execute("PRAGMA journal_mode = WAL").fetchone()
            return
        except sqlite3.OperationalError as exc:  # the busy timeout does not hold for this one
            if "locked" not in str(exc):
                raise
            time.sleep(0.05)


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


def utc_now() -> datetime:
    """The clock."""
    return datetime.now(UTC)
