"""Whole runs: N in are N out, killed runs resume, outputs are old or new."""

from __future__ import annotations

import json
import multiprocessing
import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from audit.batch.audit import Audited, Options, audit_job
from audit.batch.executor import LocalProcesses
from audit.batch.outputs import settle
from audit.errors import ExitCode
from tests.batch import fakes
from tests.batch.jobs import write_job

ROOT = Path(__file__).resolve().parents[2]
RUN = """
import sys
from pathlib import Path
from audit.batch.audit import Options, audit_job
from audit.batch.executor import LocalProcesses
from tests.batch import fakes
if __name__ == "__main__":
    audit_job(Path(sys.argv[1]), Options(work=fakes.look), executor=LocalProcesses(1))
"""


def run(folder: Path, workers: int = 1) -> Audited:
    return audit_job(folder, Options(work=fakes.look), executor=LocalProcesses(workers))


def wait_for_records(job: Path, count: int) -> None:
    """Wait until so many photos are read and kept; long, for machines with much else to do."""
    until = time.monotonic() + 120
    while len(list((job / "out" / ".cache").glob("*.json"))) < count:
        assert time.monotonic() < until
        time.sleep(0.02)


def test_every_photo_is_in_the_checklist_whatever_became_of_it(tmp_path: Path) -> None:
    names = ("F01-inside.jpg", "F02-kill-always-inside.jpg", "IMG_1.jpg", "F09-inside.jpg")
    job = write_job(tmp_path, photos=names)
    (job / "photos" / "F01-entry.jpg").write_bytes((job / "photos/F01-inside.jpg").read_bytes())
    audited = run(job, 2)
    photos = {p.file: p for p in audited.checklist.photos}
    assert set(photos) == {*names, "F01-entry.jpg"}
    assert photos["F02-kill-always-inside.jpg"].look.outcome == "failed"
    assert photos["F01-inside.jpg"].fitting == "F01"
    assert photos["IMG_1.jpg"].fitting is None
    assert "unknown label" in photos["F09-inside.jpg"].notes[0]
    assert any("the same picture as" in n for p in photos.values() for n in p.notes)
    assert audited.exit_code == ExitCode.RESOURCES
    assert audited.checklist.summary.photos == {"read": 4, "retake": 0, "failed": 1}
    page = audited.html_file.read_text()
    assert all(name in page for name in photos)


def test_second_run_takes_over_what_is_finished(tmp_path: Path) -> None:
    job = write_job(tmp_path, photos=("F01-inside.jpg", "F02-inside.jpg"))
    assert run(job).kept == 0
    again = run(job)
    assert again.kept == 2
    assert len((job / "read.log").read_text().split()) == 2


def test_copies_of_one_photo_are_drawn_once_and_shown_each(tmp_path: Path) -> None:
    names = tuple(f"F01-inside-{n}.jpg" for n in range(1, 7))
    job = write_job(tmp_path, photos=names)
    first = (job / "photos" / names[0]).read_bytes()
    for name in names[1:]:
        (job / "photos" / name).write_bytes(first)
    page = run(job, 2).html_file.read_text()
    assert page.count("<img") == len(names)
    assert len(list((job / "out" / ".cache").glob("*.jpg"))) == 1


def test_names_of_outputs_are_those_documented(tmp_path: Path) -> None:
    audited = run(write_job(tmp_path))
    assert audited.json_file == tmp_path.resolve() / "out" / "checklist.json"
    data = json.loads(audited.json_file.read_text())
    assert data["schema"] == "lidoff.checklist/1"
    assert data["confirmed"] is False


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_killed_at_any_moment_leaves_old_or_new(tmp_path: Path) -> None:
    photos = tuple(f"F{n:02d}-inside.jpg" for n in range(1, 4))
    job = write_job(tmp_path / "job", "one", 3, photos)
    run(job)
    fork = multiprocessing.get_context("fork")
    # Timed as it is killed: forked, and with facts that changed.
    write_job(job, "timed", 3)
    began = time.monotonic()
    timed = fork.Process(target=run, args=(job,))
    timed.start()
    timed.join()
    whole = time.monotonic() - began
    chance = random.Random(5)
    names, seen = {"timed"}, set()
    for kill in range(25):
        names.add(f"job {kill}")
        write_job(job, f"job {kill}", 3)
        # Forked, so that the kill falls into the work and not into seconds of imports.
        process = fork.Process(target=run, args=(job,))
        process.start()
        time.sleep(whole * 1.5 * chance.random())
        process.kill()
        process.join()
        settle(job / "out")
        data = json.loads((job / "out" / "checklist.json").read_text())
        page = (job / "out" / "checklist.html").read_text()
        assert page.rstrip().endswith("</html>")
        assert data["job"]["name"] in names
        assert f"<title>{data['job']['name']}:" in page
        seen.add(data["job"]["name"])
    assert len(seen) > 1, "no run got as far as writing: the kills came too early to tell anything"
    assert (job / "read.log").read_text().split() == list(photos)
    assert run(job).checklist.job.name == "job 24"
    litter = {p.name for p in (job / "out").iterdir()}
    assert litter == {"checklist.json", "checklist.html", ".cache", ".lock"}


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_killed_while_reading_goes_on_from_finished_photos(tmp_path: Path) -> None:
    photos = tuple(f"F{n:02d}-slow-inside.jpg" for n in range(1, 9))
    job = write_job(tmp_path / "job", fittings=8, photos=photos)
    script = tmp_path / "run.py"
    script.write_text(RUN)
    command = [sys.executable, str(script), str(job)]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    process = subprocess.Popen(command, env=environment, stderr=subprocess.DEVNULL)
    log = job / "read.log"
    wait_for_records(job, 2)
    process.send_signal(signal.SIGKILL)
    process.wait()
    assert not (job / "out" / "checklist.json").exists()
    audited = run(job)
    assert audited.kept >= 2
    # At most the one that was being kept when the kill came was read twice.
    assert len(log.read_text().split()) <= len(photos) + 1


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_interrupted_from_the_keyboard_workers_say_nothing_and_what_is_finished_is_kept(
    tmp_path: Path,
) -> None:
    photos = tuple(f"F{n:02d}-slow-inside.jpg" for n in range(1, 30))
    job = write_job(tmp_path / "job", fittings=29, photos=photos)
    script = tmp_path / "run.py"
    script.write_text(RUN)
    process = subprocess.Popen(
        [sys.executable, str(script), str(job)],
        env=os.environ | {"PYTHONPATH": str(ROOT)},
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    log = job / "read.log"
    wait_for_records(job, 1)
    os.killpg(process.pid, signal.SIGINT)  # as a terminal does: to the workers too
    _, told = process.communicate(timeout=120)
    assert told.count("KeyboardInterrupt") == 1, told
    assert "spawn_main" not in told
    assert len(log.read_text().split()) < len(photos)
    assert list((job / "out" / ".cache").glob("*.json"))
