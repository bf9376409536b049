"""What an audit keeps between runs. SHA-256 of "abc": FIPS 180-4 (example, from memory)."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from audit.batch.atomic import write_bytes, writing
from audit.batch.cache import LookCache, file_sha256, tool_fingerprint
from audit.batch.executor import LocalProcesses
from audit.batch.photos import LookTask, failed, look_all
from audit.settings import Settings
from tests.batch import fakes


@pytest.fixture
def task(tmp_path: Path) -> LookTask:
    photo = tmp_path / "F01-inside.jpg"
    photo.write_bytes(b"abc")
    return LookTask(path=photo, name="F01-inside.jpg")


def test_hash_is_the_published_one(task: LookTask, tmp_path: Path) -> None:
    assert (
        file_sha256(task.path) == "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
    )
    assert file_sha256(tmp_path) is None
    assert file_sha256(tmp_path / "absent") is None


def test_kept_record_comes_back_under_the_new_name(task: LookTask, tmp_path: Path) -> None:
    cache = LookCache(tmp_path / "kept", "1")
    assert cache.get(task) is None
    cache.put(task, fakes.look(task))
    again = cache.get(replace(task, name="other.jpg"))
    assert again is not None
    assert again.photo == "other.jpg"
    assert again.sha256 == file_sha256(task.path)


def test_everything_that_decides_is_in_the_key(task: LookTask, tmp_path: Path) -> None:
    cache = LookCache(tmp_path / "kept", "1")
    cache.put(task, fakes.look(task))
    assert cache.get(replace(task, settings=Settings(core_limit_mm=1.0))) is None
    assert cache.get(replace(task, marks=({"kind": "grip"},))) is None  # type: ignore[arg-type]
    assert cache.get(replace(task, declared={"cables": 2})) is None  # type: ignore[arg-type]
    assert LookCache(tmp_path / "kept", "2").get(task) is None
    task.path.write_bytes(b"abd")
    assert cache.get(task) is None
    assert tool_fingerprint() == tool_fingerprint()


def test_damaged_record_counts_as_absent(task: LookTask, tmp_path: Path) -> None:
    cache = LookCache(tmp_path / "kept", "1")
    cache.put(task, fakes.look(task))
    [kept] = (tmp_path / "kept").iterdir()
    kept.write_bytes(kept.read_bytes()[:-5])
    assert cache.get(task) is None


def test_record_without_a_hash_is_not_kept(task: LookTask, tmp_path: Path) -> None:
    cache = LookCache(tmp_path / "kept", "1")
    cache.put(task, failed(task.name, "gone"))
    assert not (tmp_path / "kept").exists()


def test_second_run_reads_only_what_is_new(task: LookTask, tmp_path: Path) -> None:
    cache = LookCache(tmp_path / "kept")
    first = list(look_all([task], LocalProcesses(1), work=fakes.look, cache=cache))
    (tmp_path / "new.jpg").write_bytes(b"new")
    tasks = [task, LookTask(path=tmp_path / "new.jpg", name="new.jpg")]
    second = dict(look_all(tasks, LocalProcesses(1), work=fakes.look, cache=cache))
    assert (tmp_path / "read.log").read_text().split() == ["F01-inside.jpg", "new.jpg"]
    assert second[0].kept and not second[1].kept
    assert second[0].record == first[0][1].record


def test_failing_write_leaves_the_old_file_and_no_litter(tmp_path: Path) -> None:
    path = tmp_path / "a.json"
    write_bytes(path, b"old")
    with pytest.raises(RuntimeError), writing(path) as out:
        out.write(b"ne")
        raise RuntimeError
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.json"]
