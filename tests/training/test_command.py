"""`lidoff practice` as it is called: serves, ends by Ctrl-C, exports, tells errors in one line."""

from __future__ import annotations

import json
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.request
import uuid
from pathlib import Path

import pytest

from audit.record.types import Agree
from audit.review.desk import Desk
from tests.review.jobs import make_job

CHECKOUT = Path(__file__).resolve().parents[2]


def command(*args: object, home: Path) -> subprocess.Popen[str]:
    env = {**os.environ, "PYTHONPATH": str(CHECKOUT), "XDG_DATA_HOME": str(home)}
    return subprocess.Popen(
        [sys.executable, "-m", "audit", "practice", *map(str, args)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, env=env, cwd=home,
    )  # fmt: skip


def run(*args: object, home: Path) -> tuple[int, str, str]:
    process = command(*args, home=home)
    out, err = process.communicate(timeout=60)
    return process.returncode, out, err


def one_line(err: str) -> str:
    lines = err.splitlines()
    assert len(lines) == 1, err
    assert lines[0].startswith("lidoff: ")
    return lines[0]


def serve(*args: object, home: Path) -> tuple[subprocess.Popen[str], str]:
    process = command("--no-browser", *args, home=home)
    assert process.stderr is not None
    for line in process.stderr:
        if found := re.search(r"Practice: (http://127\.0\.0\.1:\d+/)", line):
            return process, found[1]
    raise AssertionError("it did not serve")


def end(process: subprocess.Popen[str]) -> tuple[int, str]:
    process.send_signal(signal.SIGINT)
    _, err = process.communicate(timeout=30)
    return process.returncode, err


def post(address: str, key: str) -> dict[str, str]:
    body = {"photo": key, "kind": "nothing", "marks": [], "key": uuid.uuid4().hex}
    sent = urllib.request.Request(
        f"{address}do/answer", json.dumps(body).encode(),
        {"Content-Type": "application/json", "Origin": address.rstrip("/")},
    )  # fmt: skip
    with urllib.request.urlopen(sent, timeout=10) as answer:
        return json.load(answer)


def test_serves_keeps_and_exports(folder: Path, tmp_path: Path) -> None:
    process, address = serve("--set", folder, "--trainee", "B. Trainee", home=tmp_path)
    with urllib.request.urlopen(address, timeout=10) as page:
        assert "B. Trainee" in page.read().decode()
    with urllib.request.urlopen(f"{address}next", timeout=10) as page:
        key = page.url.rsplit("/", 1)[1]
    assert post(address, key) == {"to": "/round/1"}
    code, err = end(process)
    assert (code, "every photo you judged" in err) == (0, True)
    assert (tmp_path / "lidoff" / "practice.sqlite").exists()
    for ending in ("csv", "json"):
        code, out, err = run("--export", tmp_path / f"r.{ending}", home=tmp_path)
        assert (code, out) == (0, "")
        assert "1 photo judged" in err
        assert "B. Trainee" in (tmp_path / f"r.{ending}").read_text(encoding="utf-8-sig")
    code, _, err = run("--export", tmp_path / "x.csv", "--trainee", "C", home=tmp_path)
    assert code == 2
    assert "no results of 'C'" in one_line(err)
    assert not (tmp_path / "x.csv").exists()


def test_a_port_that_is_taken(folder: Path, tmp_path: Path) -> None:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        port = held.getsockname()[1]
        code, _, err = run("--set", folder, "--port", port, "--no-browser", home=tmp_path)
    assert code == 5
    assert f"port {port} can't be used" in one_line(err)
    assert "--port" in err


def _truth_cut(folder: Path) -> None:
    path = folder / "clean.truth.json"
    path.write_bytes(path.read_bytes()[:40])


def _photo_gone(folder: Path) -> None:
    (folder / "clean.jpg").unlink()


@pytest.mark.parametrize(
    ("harm", "words"), [(_truth_cut, "clean.truth.json"), (_photo_gone, "clean.truth.json")]
)
def test_a_damaged_set(folder: Path, tmp_path: Path, harm, words: str) -> None:  # type: ignore[no-untyped-def]
    harm(folder)
    code, out, err = run("--set", folder, "--no-browser", home=tmp_path)
    assert (code, out) == (3, "")
    assert words in one_line(err)


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (["--set", "nowhere"], 2, "no such set"),
        (["--job", "nowhere", "--photo", "a.jpg"], 3, "checklist"),
        (["--photo", "a.jpg"], 2, "--job"),
        (["--set", ".", "--job", "."], 2, "two things"),
        (["--export", "results.xlsx"], 2, ".csv or .json"),
        (["--export", "results.csv"], 2, "no results yet"),
        (["--trainee", " "], 2, "no name for a trainee"),
        (["--trainee", "a\x07b"], 2, "no name for a trainee"),
    ],
)
def test_wrong_use(tmp_path: Path, args: list[str], code: int, words: str) -> None:
    started = time.monotonic()
    found, out, err = run(*args, "--no-browser", home=tmp_path)
    assert words in one_line(err)
    assert (found, out) == (code, "")
    assert time.monotonic() - started < 30


def test_a_jobs_chosen_photo_without_its_names(tmp_path: Path) -> None:
    root = make_job(tmp_path / "job", fittings=2)
    desk = Desk(root, 0.0)
    basis, _ = desk.adopted("C. Competent")
    grip = basis.evidence.items["core-outside-grip:F01"]
    by, photos = "C. Competent", ["F01-inside.jpg"]
    desk.record.shown(basis.evidence, grip.id, by=by, photos=photos, key=uuid.uuid4().hex)
    saw = desk.record.state(basis.evidence).standings[grip.id].token
    desk.record.decide(basis.evidence, grip.id, Agree(), by=by, saw=saw, key=uuid.uuid4().hex)
    code, _, err = run("--job", root, "--no-browser", home=tmp_path)
    assert code == 2
    assert "none is taken by itself" in one_line(err)
    process, address = serve("--job", root, "--photo", "F01-inside.jpg", home=tmp_path)
    with urllib.request.urlopen(f"{address}next", timeout=10) as page:
        look, key = page.read().decode(), page.url.rsplit("/", 1)[1]
    post(address, key)
    with urllib.request.urlopen(f"{address}round/1", timeout=10) as page:
        told = page.read().decode()
    assert "There was something to find: 1 fault missed." in told
    assert "what a competent person decided" in told
    for word in ("F01", "Two rooms", "Plot 3", "Apprentice", "C. Competent", "Bathroom"):
        assert word not in look
        assert word not in told
    assert end(process)[0] == 0
