"""Results on the disk: append-only, once for each act, whole after a kill."""

from __future__ import annotations

import os
import signal
import sqlite3
import subprocess
import sys
import threading
import uuid
from pathlib import Path

import pytest

from audit.errors import JobError, ResourceError
from audit.training.answers import Answer, Sheet
from audit.training.scoring import Given, Mark, score
from audit.training.store import Results, Round, default_file
from tests.training.samples import COPPER, NOON, SIZE

SHEET = Sheet(
    basis="truth", size_px=SIZE, px_per_mm=8.0,
    answers=(Answer(check="copper-beyond-terminal", of="e1", box_px=COPPER, length_mm=4.5),),
)  # fmt: skip


def made(trainee: str = "A", title: str = "One", **more: object) -> Round:
    given = Given(
        kind="marks",
        marks=(Mark(at_px=(538, 302), check="copper-beyond-terminal", length_mm=4.0),),
    )
    fields: dict[str, object] = {
        "at": NOON, "trainee": trainee, "set": "s", "photo": "a" * 64, "title": title,
        "given": given, "sheet": SHEET, "score": score(SHEET, given), "seconds": 12.5,
        "counted": True, **more,
    }  # fmt: skip
    return Round(**fields)  # type: ignore[arg-type]


def test_what_was_kept_is_read_again(tmp_path: Path) -> None:
    path = tmp_path / "new" / "r.sqlite"
    first, second = made(), made("B", "Zwei: ü Ω <b>")
    results = Results(path)
    assert results.append(first, "key-1") == 1
    assert results.append(second, "key-2") == 2
    again = Results(path)
    assert again.rounds() == (first, second)
    assert again.rounds("B") == (second,)


def test_an_act_sent_twice_is_one_round(tmp_path: Path) -> None:
    results = Results(tmp_path / "r.sqlite")
    assert [results.append(made(), "key-1") for _ in range(3)] == [1, 1, 1]
    assert len(results.rounds()) == 1


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE round SET body = '{}'",
        "DELETE FROM round",
        "INSERT OR REPLACE INTO round(seq, key, body) VALUES (1, 'other', '{}')",
        "INSERT INTO round(seq, key, body) VALUES (9, 'other', '{}')",
        "INSERT INTO round(seq, key, body) VALUES (2, 'key-1', '{}')",
    ],
)
def test_nothing_is_changed_or_taken_away(tmp_path: Path, statement: str) -> None:
    path = tmp_path / "r.sqlite"
    Results(path).append(made(), "key-1")
    with sqlite3.connect(path) as db, pytest.raises(sqlite3.DatabaseError, match="append-only"):
        db.execute("PRAGMA recursive_triggers = ON")
        db.execute(statement)
    assert Results(path).rounds() == (made(),)


_WRITER = """
import sys
from pathlib import Path
from tests.training.test_store import made
from audit.training.store import Results
results = Results(Path(sys.argv[1]))
for n in range(10_000):
    results.append(made(title=f"{n}"), f"{sys.argv[2]}-{n}")
    print(n, flush=True)
"""


def test_a_kill_loses_nothing_that_was_answered(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    for turn in range(3):
        before = len(Results(path).rounds())
        writer = subprocess.Popen(
            [sys.executable, "-c", _WRITER, str(path), str(turn)],
            stdout=subprocess.PIPE, text=True, cwd=Path(__file__).resolve().parents[2],
        )  # fmt: skip
        assert writer.stdout is not None
        told = [writer.stdout.readline() for _ in range(20)]
        os.kill(writer.pid, signal.SIGKILL)
        told += writer.stdout.readlines()
        writer.wait()
        kept = len(Results(path).rounds()) - before
        whole = sum(line.endswith("\n") for line in told)
        assert whole <= kept <= whole + 1
    with sqlite3.connect(path) as db:
        assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_two_windows_at_once(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    several = [Results(path) for _ in range(4)]

    def write(results: Results) -> None:
        for _ in range(10):
            results.append(made(), uuid.uuid4().hex)

    threads = [threading.Thread(target=write, args=(r,)) for r in several]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert all(len(r.rounds()) == 40 for r in several)


def test_a_damaged_file_is_told_and_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    path.write_bytes(b"no database at all " * 100)
    with pytest.raises(JobError) as caught:
        Results(path)
    assert "damaged" in caught.value.one_line()
    assert path.read_bytes().startswith(b"no database")


def test_a_row_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    path = tmp_path / "r.sqlite"
    Results(path).append(made(), "key-1")
    with sqlite3.connect(path) as db:
        db.execute("INSERT INTO round(seq, key, body) VALUES (2, 'x', '{\"schema\": 1}')")
    with pytest.raises(JobError) as caught:
        Results(path)
    assert f"{path}:2" in caught.value.one_line()


def test_another_database_is_not_taken_for_results(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE entry(x)")
    with pytest.raises(JobError, match="no results of practice"):
        Results(path)


def test_a_place_that_cannot_be_written(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    with pytest.raises(ResourceError) as caught:
        Results(tmp_path / "file" / "r.sqlite")
    assert "--results" in caught.value.one_line()


def test_the_usual_place_is_the_users_own_data_folder(monkeypatch: pytest.MonkeyPatch) -> None:
    """XDG Base Directory Specification: $XDG_DATA_HOME, else ~/.local/share."""
    if sys.platform != "linux":
        pytest.skip("other systems have other places")
    monkeypatch.setenv("XDG_DATA_HOME", "/of/the/user")
    assert default_file() == Path("/of/the/user/lidoff/practice.sqlite")
