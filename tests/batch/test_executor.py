"""Worker processes: order, death, orphans. Behaviour of processes by POSIX; no outside figures."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from audit.batch.executor import Died, LocalProcesses, worker_count
from audit.batch.photos import LookTask, in_order, look_all
from tests.batch import fakes

ROOT = Path(__file__).resolve().parents[2]


def tasks_for(folder: Path, *names: str) -> list[LookTask]:
    for name in names:
        (folder / name).write_bytes(name.encode())
    return [LookTask(path=folder / name, name=name) for name in names]


def test_every_task_comes_back_once() -> None:
    results = dict(LocalProcesses(2).run(fakes.square, range(9)))
    assert results == {n: n * n for n in range(9)}


def test_no_tasks_start_no_process() -> None:
    assert list(LocalProcesses(2).run(fakes.square, [])) == []


def test_worker_that_dies_costs_only_its_own_photo(tmp_path: Path) -> None:
    tasks = tasks_for(tmp_path, "a.jpg", "kill-always.jpg", "b.jpg", "kill-once.jpg", "c.jpg")
    looked = list(in_order(look_all(tasks, LocalProcesses(2), work=fakes.look), len(tasks)))
    assert [x.record.photo for x in looked] == [t.name for t in tasks]
    assert [x.record.outcome for x in looked] == ["read", "failed", "read", "read", "read"]
    assert [x.died for x in looked] == [False, True, False, False, False]
    assert "died twice" in looked[1].record.reasons[0]


def test_workers_have_one_opencv_thread_and_are_not_this_process(tmp_path: Path) -> None:
    [(_, looked)] = look_all(tasks_for(tmp_path, "a.jpg"), LocalProcesses(1), work=fakes.look)
    extra = looked.record.model_extra
    assert extra is not None
    assert extra["threads"] == 1
    assert extra["worker"] != os.getpid()


def test_worker_that_hangs_costs_only_its_own_task() -> None:
    with LocalProcesses(2, patience_s=10) as executor:
        results = dict(executor.run(fakes.maybe_hang, [1, 0, 2, 3]))
    assert isinstance(results.pop(1), Died)
    assert results == {0: 1, 2: 2, 3: 3}


def test_worker_that_dies_between_two_stages_is_replaced() -> None:
    with LocalProcesses(1) as executor:
        [(_, pid)] = executor.run(fakes.own_pid, [None])
        os.kill(pid, signal.SIGKILL)
        time.sleep(0.5)
        assert dict(executor.run(fakes.square, [3])) == {0: 9}


def test_workers_stay_from_one_stage_to_the_next_and_end_with_the_executor() -> None:
    with LocalProcesses(1) as executor:
        [(_, first)] = executor.run(fakes.own_pid, [None])
        [(_, second)] = executor.run(fakes.own_pid, [None])
        assert first == second
    with pytest.raises(ProcessLookupError):
        os.kill(first, 0)


def test_error_in_work_is_raised_here() -> None:
    with pytest.raises(TypeError):
        list(LocalProcesses(1).run(fakes.square, ["text"]))


def test_died_is_told_apart_from_results() -> None:
    assert Died("x") == Died("x")
    assert worker_count(3) == 3
    assert worker_count(0) >= 1


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_workers_leave_when_the_parent_is_killed_outright(tmp_path: Path) -> None:
    script = (
        "from pathlib import Path\n"
        "from audit.batch.executor import LocalProcesses\n"
        "from tests.batch.fakes import wait_long\n"
        "if __name__ == '__main__':\n"
        f"    list(LocalProcesses(2).run(wait_long, [Path({str(tmp_path)!r})] * 2))\n"
    )
    (tmp_path / "run.py").write_text(script)
    parent = subprocess.Popen(
        [sys.executable, str(tmp_path / "run.py")], env=os.environ | {"PYTHONPATH": str(ROOT)}
    )
    until = time.monotonic() + 120
    while len(list(tmp_path.glob("*.pid"))) < 2 and time.monotonic() < until:
        time.sleep(0.05)
    pids = [int(p.stem) for p in tmp_path.glob("*.pid")]
    assert len(pids) == 2
    parent.send_signal(signal.SIGKILL)
    parent.wait()
    while any(Path(f"/proc/{pid}").exists() for pid in pids) and time.monotonic() < until:
        time.sleep(0.05)
    assert not [pid for pid in pids if Path(f"/proc/{pid}").exists()]
