"""The store: append-only, chained, sealed; two writers; what happens to a damaged one."""

from __future__ import annotations

import sqlite3
import threading
from contextlib import closing
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.errors import LidoffError, RecordError, ResourceError
from audit.record.canonical import canonical, parse, sha256
from audit.record.entries import START, Draft, chain, is_utc, place, read_entry, utc_text
from audit.record.record import Record
from audit.record.store import Store
from audit.record.verify import verify_job

DATA = st.dictionaries(
    st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
    st.integers(-1000, 1000) | st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    max_size=4,
)


def _chain(all_data: list[dict[str, object]]) -> list[bytes]:
    bodies, prev = [], START
    for n, data in enumerate(all_data):
        kind = "opened" if n == 0 else "mark"
        entry = place(Draft(kind, data), n + 1, prev, "2026-06-01T08:00:00.000Z")  # type: ignore[arg-type]
        bodies.append(entry.body)
        prev = entry.hash
    return bodies


@given(st.lists(DATA, min_size=2, max_size=6), st.data())
@settings(max_examples=60, deadline=None)
def test_any_change_of_a_chain_is_named(
    all_data: list[dict[str, object]], draw: st.DataObject
) -> None:
    bodies = _chain(all_data)
    assert [e.seq for e in chain(bodies)] == list(range(1, len(bodies) + 1))
    at = draw.draw(st.integers(0, len(bodies) - 2))
    kind = draw.draw(st.sampled_from(["change", "drop", "swap", "double"]))
    broken = list(bodies)
    if kind == "change":
        body = parse(broken[at])
        body["data"]["changed"] = "x" * 21
        broken[at] = canonical(body)
    elif kind == "drop":
        del broken[at]
    elif kind == "swap":
        broken[at], broken[at + 1] = broken[at + 1], broken[at]
    else:
        broken.insert(at, broken[at])
    with pytest.raises(RecordError) as told:
        chain(broken)
    number = int(told.value.what.split()[1].rstrip(":"))
    assert at + 1 <= number <= at + 2


@given(DATA)
@settings(max_examples=40, deadline=None)
def test_fields_of_a_later_version_are_kept(extra: dict[str, object]) -> None:
    body = parse(_chain([{}])[0])
    later = {**{f"x-{k}": v for k, v in extra.items()}, **body}
    entry = read_entry(canonical(later))
    assert parse(entry.body) == later
    assert entry.hash == sha256(canonical(later))


@pytest.mark.parametrize(
    ("field", "value"),
    [("at", "2026-06-01T08:00:00+01:00"), ("at", "2026-06-31T08:00:00Z"), ("seq", 0),
     ("seq", True), ("seq", "1"), ("prev", "0" * 63), ("data", []), ("schema", "lidoff.record/2")],
)  # fmt: skip
def test_what_is_no_entry_is_refused(field: str, value: object) -> None:
    body = {**parse(_chain([{}])[0]), field: value}
    with pytest.raises(ValueError, match=r"entry|UTC"):
        read_entry(canonical(body))


def test_times_are_utc() -> None:
    local = datetime(2026, 6, 1, 9, 0, tzinfo=timezone(timedelta(hours=1)))
    assert utc_text(local) == "2026-06-01T08:00:00.000Z"
    assert is_utc(utc_text(local))
    with pytest.raises(ValueError, match="zone"):
        utc_text(datetime(2026, 6, 1, 9, 0))


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = Store(tmp_path, lambda: datetime(2026, 6, 1, 8, tzinfo=UTC))
    store.open("a job")
    for n in range(3):
        store.append(lambda _, n=n: Draft("mark", {"n": n}, key=f"key-{n:04d}"))  # type: ignore[misc]
    return store


@pytest.mark.parametrize("recursive", ["ON", "OFF"])
@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET body = x'00' WHERE seq = 2",
        "UPDATE entry SET seq = 9 WHERE seq = 4",
        "DELETE FROM entry WHERE seq = 4",
        "DELETE FROM entry",
        "INSERT OR REPLACE INTO entry SELECT seq, hash, key, x'00' FROM entry WHERE seq = 2",
        "REPLACE INTO entry SELECT seq + 10, hash, key, body FROM entry WHERE seq = 2",
        "INSERT OR REPLACE INTO entry SELECT 5, printf('%064d', 1), key, body FROM entry WHERE seq = 2",
        "INSERT INTO entry SELECT 7, printf('%064d', 1), NULL, body FROM entry WHERE seq = 2",
    ],
)
def test_the_database_refuses_change(store: Store, statement: str, recursive: str) -> None:
    with closing(sqlite3.connect(store.path)) as db:
        db.execute(f"PRAGMA recursive_triggers = {recursive}")
        with pytest.raises(sqlite3.IntegrityError, match="append-only"):
            db.execute(statement)
    assert len(store.entries()) == 4
    assert verify_job(store.root).holds


def test_it_is_written_ahead_and_fully_synchronised(store: Store) -> None:
    with store._connection() as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert db.execute("PRAGMA synchronous").fetchone() == (2,)
        assert db.execute("PRAGMA recursive_triggers").fetchone() == (1,)


def test_what_build_raises_leaves_nothing(store: Store) -> None:
    def refuse(_: object) -> Draft:
        raise RecordError("no")

    with pytest.raises(RecordError, match="no"):
        store.append(refuse)
    with pytest.raises(LidoffError, match="recorded"):
        store.append(lambda _: Draft("mark", {"n": float("nan")}))
    assert len(store.entries()) == 4


def test_many_threads_and_two_stores_make_one_chain(store: Store) -> None:
    other = Store(store.root)
    other.open("a job")

    def work(mine: Store, name: str) -> None:
        for n in range(10):
            mine.append(lambda _, n=n: Draft("mark", {"by": name, "n": n}))  # type: ignore[misc]

    threads = [
        threading.Thread(target=work, args=(s, f"{t}"))
        for t, s in enumerate((store, store, other, other))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(store.entries()) == 44
    assert store.entries() == other.entries()
    assert verify_job(store.root).holds


def test_a_record_that_is_gone_is_not_begun_anew(store: Store) -> None:
    store.path.unlink()
    with pytest.raises(RecordError, match="gone"):
        Store(store.root).open("a job")
    assert not verify_job(store.root).holds


def test_last_entries_that_are_gone_are_missed(store: Store, tmp_path: Path) -> None:
    """A chain alone holds without its tail: the seal knows how long it was."""
    short = tmp_path / "short"
    short.mkdir()
    bodies = [e.body for e in store.entries()][:3]
    cut = Store(short)
    cut.open("a job")
    for path in short.iterdir():
        path.unlink()
    with closing(sqlite3.connect(store.path)) as source:
        script = source.execute("SELECT sql FROM sqlite_schema WHERE sql IS NOT NULL").fetchall()
    with closing(sqlite3.connect(short / "record.sqlite")) as db:
        for (sql,) in script:
            db.execute(sql)
        for body in bodies:
            entry = read_entry(body)
            db.execute(
                "INSERT INTO entry VALUES (?, ?, ?, ?)", (entry.seq, entry.hash, entry.key, body)
            )
        db.commit()
    (short / "record.seal").write_bytes((store.root / "record.seal").read_bytes())
    found = verify_job(short)
    assert "entry 4: it is gone" in found.problems[0].what
    with pytest.raises(RecordError, match="entry 4"):
        Record.open(short)


@pytest.mark.parametrize("content", [b"", b"no database", b"SQLite format 3\x00" + b"\x00" * 5000])
def test_another_file_in_its_place_is_told(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "record.sqlite").write_bytes(content)
    if content:
        with pytest.raises(LidoffError):
            Record.open(tmp_path)
    assert not verify_job(tmp_path).holds


def test_a_folder_that_is_gone_is_told(tmp_path: Path) -> None:
    with pytest.raises(ResourceError, match="can't be used") as caught:
        Record.open(tmp_path / "none")
    assert "disk is full and the job's folder may be written to" in caught.value.one_line()
