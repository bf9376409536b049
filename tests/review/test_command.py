"""`lidoff review` as it is called: serves, ends by Ctrl-C, and tells what is wrong in one line."""

from __future__ import annotations

import os
import re
import signal
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

CALL = (sys.executable, "-m", "audit", "review")


def test_it_serves_and_ends_by_ctrl_c(job: Path) -> None:
    environment = {**os.environ, "PYTHONUNBUFFERED": "1"}
    process = subprocess.Popen(
        [*CALL, str(job), "--no-browser"], stderr=subprocess.PIPE, text=True, env=environment
    )
    try:
        assert process.stderr is not None
        line = process.stderr.readline()
        found = re.search(r"http://127\.0\.0\.1:\d+/", line)
        assert found, line
        with urllib.request.urlopen(found[0], timeout=30) as answer:
            assert b"Who is reviewing" in answer.read()
            assert "Python" not in answer.headers.get("Server", "")
        time.sleep(0.2)
        process.send_signal(signal.SIGINT)
        _, rest = process.communicate(timeout=30)
    finally:
        process.kill()
    assert process.returncode == 0
    assert "everything decided is in the record" in rest
    assert "Traceback" not in rest


@pytest.mark.parametrize(
    ("spoil", "said", "code"),
    [
        (lambda root: (root / "out" / "checklist.json").unlink(), "lidoff audit", 3),
        (lambda root: (root / "out" / "checklist.json").write_text("{"), "no checklist", 3),
        (lambda root: (root / "record.sqlite").write_bytes(b"x" * 4096), "record", 4),
    ],
    ids=["no checklist", "damaged checklist", "damaged record"],
)
def test_what_is_wrong_is_told_in_one_line(job: Path, spoil, said: str, code: int) -> None:  # type: ignore[no-untyped-def]
    spoil(job)
    done = subprocess.run(
        [*CALL, str(job), "--no-browser"], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == code
    assert len(done.stderr.splitlines()) == 1
    assert said in done.stderr
    assert not done.stdout
