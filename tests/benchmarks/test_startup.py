"""How long the command takes to say what it can do."""

from __future__ import annotations

import resource
import subprocess
import sys
from pathlib import Path

CHECKOUT = Path(__file__).resolve().parent.parent.parent
MAX_TIMES = 3.0
RUNS = 7


def _cpu_seconds(code: str) -> float:
    """Least processor time of several runs: what other processes do adds, never takes away.

    `os.times` counts in hundredths of a second, which is half of what bare Python takes.
    """
    least = float("inf")
    for _ in range(RUNS):
        before = _children_s()
        subprocess.run([sys.executable, "-c", code], cwd=CHECKOUT, check=True, capture_output=True)
        least = min(least, _children_s() - before)
    return least


def _children_s() -> float:
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def test_help_starts_nearly_as_fast_as_python_with_click() -> None:
    bare = _cpu_seconds("import click")
    helped = _cpu_seconds(
        "import sys; from audit.cli.main import main\n"
        "try: main(['--help'])\n"
        "except SystemExit as left: sys.exit(left.code)"
    )
    print(
        f"python with click {bare:.3f} s, lidoff --help {helped:.3f} s: {helped / bare:.2f} times"
    )
    assert helped <= MAX_TIMES * bare


def test_help_says_of_every_command_what_it_does() -> None:
    code = "from audit.cli.main import main; main(['--help'])"
    shown = subprocess.run(
        [sys.executable, "-c", code], cwd=CHECKOUT, capture_output=True, text=True
    )
    listed = [line.split() for line in shown.stdout.split("Commands:")[1].splitlines()]
    words = {line[0]: line[1:] for line in listed if line}
    for path in (CHECKOUT / "audit" / "cli").glob("[a-z]*.py"):
        if path.stem != "main":
            assert words.get(path.stem.replace("_", "-")), f"{path.name}: says nothing in --help"
