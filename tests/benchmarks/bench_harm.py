"""The same photos harmed, and what their findings turn to: see docs/reference/bench.md.

`python -m tests.benchmarks.bench_harm DIR --json FILE`. Prints a table of every harm and level
and whether the bars hold: no flag turns clear, and at most 5 % of what is clear turns to a flag.
Leaves with 1 when one does not, 3 when a photo broke the tool.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import TypeVar

import numpy as np
from rich.console import Console
from rich.progress import track
from rich.table import Table

from audit.batch.atomic import write_bytes
from audit.batch.executor import Died, LocalProcesses
from audit.bench.flips import (
    Bars,
    Compared,
    Flip,
    HarmCounts,
    HarmResult,
    Places,
    bars,
    changes,
    count_level,
    flips,
)
from audit.bench.harmed import (
    HarmReading,
    HarmTask,
    Key,
    keep_reading,
    kept_readings,
    read_harmed,
)
from audit.bench.harms import HARMS, Harm
from audit.bench.truth import Case, find_cases, load_truth
from audit.errors import ExitCode, LidoffError

Thing = TypeVar("Thing")


def spread(things: Sequence[Thing], count: int) -> list[Thing]:
    """So many of them, evenly over the whole; all when there are no more."""
    if count >= len(things):
        return list(things)
    places = np.linspace(0, len(things), count, endpoint=False)
    return [things[int(place)] for place in places]


def tasks_of(
    cases: Sequence[Case], harms: Sequence[Harm], folder: Path, keep: bool
) -> list[HarmTask]:
    """Every photo, unharmed and at every level of every harm."""
    return [
        HarmTask(case, folder, name, level, keep)
        for case in cases
        for name, level in [(None, 0.0), *((h.name, at) for h in harms for at in h.levels)]
    ]


def read_all(
    tasks: Sequence[HarmTask], workers: int, kept: Path | None = None
) -> dict[Key, HarmReading]:
    """Read all that was not kept by an earlier run, and keep it as it comes."""
    known = kept_readings(kept) if kept else {}
    readings = {task.key: known[task.key] for task in tasks if task.key in known}
    left = [task for task in tasks if task.key not in known]
    with LocalProcesses(workers) as processes:
        results = processes.run(read_harmed, left)
        console = Console(stderr=True)
        for index, got in track(results, "reading", total=len(left), console=console):
            if isinstance(got, Died):
                got = HarmReading(None, fault=got.reason)
            readings[left[index].key] = got
            if kept:
                keep_reading(kept, left[index].key, got)
    return readings


def compare(case: Case, harm: Harm, level: float, readings: dict[Key, HarmReading]) -> Compared:
    """One photo at one level against the same photo unharmed; both were read."""
    truth = load_truth(case.truth_file)
    before, got = readings[case.name, None, 0.0].look, readings[case.name, harm.name, level]
    assert before is not None and got.look is not None
    places = Places(got.affine, got.size, truth.scale.px_per_mm, harm.cuts)
    return Compared(changes(before, got.look, places, truth), got.look.outcome != "read")


def result_of(
    folder: str, cases: Sequence[Case], harms: Sequence[Harm], readings: dict[Key, HarmReading]
) -> HarmResult:
    """Count everything; what broke is told and left out."""
    told: list[HarmCounts] = []
    listed: list[Flip] = []
    for harm in harms:
        levels = []
        for level in harm.levels:
            both = [
                compare(case, harm, level, readings)
                for case in cases
                if readings[case.name, None, 0.0].look
                and readings[case.name, harm.name, level].look
            ]
            levels.append(count_level(level, both))
            listed += flips(harm, level, both)
        told.append(
            HarmCounts(harm=harm.name, unit=harm.unit, grows=harm.grows, levels=tuple(levels))
        )
    broken = tuple(
        f"{photo}, {harm or 'unharmed'} {level:g}: {got.fault}"
        for (photo, harm, level), got in readings.items()
        if got.look is None
    )
    return HarmResult(
        folder=folder,
        photos=len(cases),
        harms=tuple(told),
        flips=tuple(listed),
        failures=broken,
    )


def share(count: int, of: int) -> str:
    """A share as a percentage; `-` of nothing."""
    return f"{100 * count / of:.1f} %" if of else "-"


def table_of(result: HarmResult) -> Table:
    """One row a level: from flag, from clear, new flags, photos refused."""
    table = Table(box=None, pad_edge=False, padding=(0, 1))
    table.add_column("harm, level", no_wrap=True)
    for name in (
        "flags", "flag", "unsure", "clear", "silent", "refused", "to clear",
        "| clears", "clear", "unsure", "flag", "silent", "refused", "to flag",
        "| new flags", "photos refused",
    ):  # fmt: skip
        table.add_column(name, justify="right", no_wrap=True)
    for harm in result.harms:
        for c in harm.levels:
            counts = (
                c.flags, c.flag_to_flag, c.flag_to_unsure, c.flag_to_clear, c.flag_to_silent,
                c.flag_to_refused, share(c.flag_to_clear, c.flags),
                c.clears, c.clear_to_clear, c.clear_to_unsure, c.clear_to_flag, c.clear_to_silent,
                c.clear_to_refused, share(c.clear_to_flag, c.clears),
                c.silent_to_flag, f"{c.refused} of {c.photos}",
            )  # fmt: skip
            table.add_row(f"{harm.harm} {c.level:g} {harm.unit}", *map(str, counts))
    return table


def write_text(result: HarmResult, judged: Bars) -> None:
    """Print the table, every flip that matters, and the bars."""
    console = Console(width=190, highlight=False, markup=False)
    console.print(f"{result.photos} photos of {result.folder}; findings by what they turn to")
    console.print(table_of(result))
    for flip in result.flips:
        known = {True: "rightly", False: "wrongly", None: "truth unknown:"}[flip.right]
        said = f"{known} {flip.before} -> {flip.after}"
        place = f"{flip.harm} {flip.level:g}, {flip.photo}, {flip.check} of {flip.of}"
        why = f" ({flip.why})" if flip.why else ""
        console.print(f"{place}: {said}{why}", soft_wrap=True)
    levels = [c for h in result.harms for c in h.levels]
    silent, turned = sum(c.flag_to_silent for c in levels), sum(c.clear_to_flag for c in levels)
    flags, clears, lost = judged.flags, judged.clears, judged.flag_to_clear
    console.print(f"flag to clear: {lost} of {flags}, wanted 0: {_told(judged.flags_held, flags)}")
    console.print(f"flag to silent: {silent} of {flags} ({share(silent, flags)})")
    worst = judged.worst_clear_to_flag
    console.print(
        f"clear to flag: {turned} of {clears} ({share(turned, clears)}), at the worst level "
        f"{100 * worst:.1f} % ({judged.worst_at or 'none'}), wanted at most 5 % at every level: "
        f"{_told(judged.clears_held, clears)}"
    )
    for failure in result.failures:
        console.print(f"failed: {failure}", soft_wrap=True)


def _told(held: bool, of: int) -> str:
    if not of:
        return "UNMEASURED, there were none"
    return "bar held" if held else "BAR NOT HELD"


def _asked(words: Sequence[str] | None) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.bench_harm")
    parser.add_argument("folder", type=Path, metavar="DIR", help="a benchmark folder")
    parser.add_argument(
        "--only", default="*", metavar="GLOB", help="only photos whose name matches"
    )
    parser.add_argument("--photos", type=int, default=10, help="how many, evenly over the folder")
    parser.add_argument("--harm", action="append", choices=[h.name for h in HARMS])
    parser.add_argument("--workers", type=int, default=2, help="0 takes one for each processor")
    parser.add_argument("--json", type=Path, required=True, metavar="FILE", help="all counts")
    parser.add_argument(
        "--readings", type=Path, metavar="FILE", help="keep each reading; take those kept there"
    )
    parser.add_argument("--pictures", type=Path, metavar="DIR", help="keep the harmed pictures")
    asked = parser.parse_args(words)
    if asked.photos < 1 or asked.workers < 0:
        parser.error("--photos must be 1 or more, --workers 0 or more")
    return asked


def main(words: Sequence[str] | None = None) -> int:
    """Read, count, print, write; 0 when both bars hold."""
    asked = _asked(words)
    harms = [h for h in HARMS if asked.harm is None or h.name in asked.harm]
    try:
        cases = [c for c in find_cases(asked.folder, asked.only) if load_truth(c.truth_file).usable]
        chosen = spread(cases, asked.photos)
        with tempfile.TemporaryDirectory(prefix="lidoff-harm-") as passing:
            folder = asked.pictures or Path(passing)
            folder.mkdir(parents=True, exist_ok=True)
            tasks = tasks_of(chosen, harms, folder, asked.pictures is not None)
            readings = read_all(tasks, asked.workers, asked.readings)
    except LidoffError as error:
        print(error.one_line(), file=sys.stderr)
        return int(error.exit_code)
    result = result_of(asked.folder.name, chosen, harms, readings)
    judged = bars(result.harms)
    write_bytes(asked.json, f"{result.model_dump_json(by_alias=True, indent=1)}\n".encode())
    write_text(result, judged)
    if result.failures:
        return int(ExitCode.UNREADABLE)
    return int(not judged.held)


if __name__ == "__main__":
    sys.exit(main())
