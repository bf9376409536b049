"""Run the installed command as a person would, in a process of its own."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Ran:
    """What came of one run."""

    code: int
    out: str
    err: str

    @property
    def lines(self) -> list[str]:
        """Lines on stderr."""
        return self.err.splitlines()


def mere_mortal() -> tuple[str, ...]:
    """What to put before a command so that permissions hold for it, root or not (Linux)."""
    if os.geteuid() != 0:
        return ()
    without = "-dac_override,-dac_read_search"
    return ("setpriv", f"--bounding-set={without}", f"--inh-caps={without}")


def lidoff(
    *args: str | Path,
    cwd: Path | None = None,
    timeout: float = 60,
    before: tuple[str, ...] = (),
    **env: str,
) -> Ran:
    """Run `lidoff ARGS`, in `cwd`, with `before` put before the command."""
    done = subprocess.run(
        [*before, sys.executable, "-m", "audit", *map(str, args)],
        capture_output=True, timeout=timeout, cwd=cwd, env={**os.environ, **env}, check=False,
    )  # fmt: skip
    out = done.stdout.decode("utf-8", "replace")
    err = done.stderr.decode("utf-8", "replace")
    return Ran(done.returncode, out, err)


def clean(ran: Ran) -> None:
    """No traceback, no line without our name before it, nothing that drives a terminal."""
    for stream in (ran.out, ran.err):
        assert "Traceback" not in stream, stream
        assert "\x1b" not in stream
        assert all(c.isprintable() or c == "\n" for c in stream), repr(stream)
    assert all(line.startswith("lidoff: ") for line in ran.lines), ran.err


def snapshot(folder: Path) -> dict[str, str]:
    """Every file and link of a folder with its content, to see that nothing was harmed."""
    found: dict[str, str] = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if path.is_symlink():
            found[name] = f"-> {path.readlink()}"
        elif path.is_file():
            found[name] = hashlib.sha256(path.read_bytes()).hexdigest()
        else:
            found[name] = "folder"
    return found
