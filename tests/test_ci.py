"""The gate on skipped tests lets through only what needs the renderer."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

GATE = Path(__file__).resolve().parent.parent / ".ci" / "skipped.py"


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ("def test_a(): pass", 0),
        ("import pytest\ndef test_a(): pass\ndef test_b(): pytest.skip('no chromium')", 1),
        ("import pytest\ndef test_a(): pass\ndef test_b(): pytest.skip('needs extra `render`')", 0),
        ("import pytest\npytest.importorskip('no_such_module')", 1),
        ("import pytest\n@pytest.mark.skip(reason='later')\ndef test_a(): pass", 1),
    ],
)
def test_gate(tmp_path: Path, body: str, code: int) -> None:
    (tmp_path / "test_it.py").write_text(body, encoding="utf-8")
    report = tmp_path / "junit.xml"
    run = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", f"--junitxml={report}"]
    subprocess.run([*run, "--rootdir", tmp_path, tmp_path], capture_output=True, check=False)
    assert subprocess.run([sys.executable, GATE, report], check=False).returncode == code
