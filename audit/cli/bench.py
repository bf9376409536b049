"""`lidoff bench`: read a benchmark folder and score it against its truth."""

from __future__ import annotations

import contextlib
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import click
from rich.console import Console
from rich.progress import track

from audit.batch.atomic import write_bytes
from audit.batch.executor import Died, LocalProcesses
from audit.bench.run import CaseTask, Reading, load_looks, read_case, take_ready
from audit.bench.score import score_all, score_photo
from audit.bench.show import worst, worst_text, write_dump, write_text
from audit.bench.truth import Case, find_cases, load_truth
from audit.errors import ExitCode
from audit.settings import Settings

_FILE = click.Path(dir_okay=False, path_type=Path)
_FOLDER = click.Path(file_okay=False, path_type=Path)


@click.command()
@click.argument("folder", metavar="DIR", type=_FOLDER)
@click.option("--json", "json_file", type=_FILE, help="Write all figures to this file.")
@click.option("--workers", default=1, show_default=True, help="Worker processes; 0 takes all.")
@click.option("--only", default="*", metavar="GLOB", help="Only photos whose name matches.")
@click.option("--looks", type=_FILE, help="Score these records (one a line); read no photo.")
@click.option("--save-looks", type=_FILE, help="Write the records here, one a line.")
@click.option("--masks", type=_FOLDER, help="Keep the ids maps here (with --looks: take them).")
@click.option("--undeclared", is_flag=True, help="Withhold what a person would have declared.")
@click.option("--dump", type=_FILE, help="Write a CSV row for each item and finding.")
@click.option("--worst", "worst_count", default=0, metavar="N", help="Also show the N worst.")
def command(
    folder: Path,
    json_file: Path | None,
    workers: int,
    only: str,
    looks: Path | None,
    save_looks: Path | None,
    masks: Path | None,
    undeclared: bool,
    dump: Path | None,
    worst_count: int,
) -> int:
    """Score what is read from the photos of DIR against their truth.

    DIR holds photos and a NAME.truth.json for each; docs/reference/bench.md
    says how each figure is computed. Exit code 3 when a photo broke the tool.
    """
    cases = find_cases(folder, only)
    truths = [load_truth(case.truth_file) for case in cases]
    if looks is not None:
        ready = load_looks(looks)
        readings = [take_ready(case, ready, masks) for case in cases]
    else:
        with _folder_for(masks) as masks_dir:
            tasks = [CaseTask(case, Settings(), masks_dir, not undeclared) for case in cases]
            readings = _read_all(tasks, workers)
    photos = [score_photo(t, r) for t, r in zip(truths, readings, strict=True)]
    result = score_all(folder.name, photos)
    write_text(result, sys.stdout)
    if worst_count:
        click.echo(worst_text(worst(photos, worst_count)), nl=False)
    if json_file is not None:
        text = result.model_dump_json(by_alias=True, indent=1)
        write_bytes(json_file, f"{text}\n".encode())
    if save_looks is not None:
        records = [r.look.to_json() + "\n" for r in readings if r.look is not None]
        write_bytes(save_looks, "".join(records).encode())
    if dump is not None:
        write_dump(photos, dump)
    return ExitCode.UNREADABLE if result.failures else ExitCode.DONE


@contextlib.contextmanager
def _folder_for(masks: Path | None) -> Iterator[Path]:
    """The folder asked for, else one that is gone afterwards."""
    if masks is not None:
        masks.mkdir(parents=True, exist_ok=True)
        yield masks
        return
    with tempfile.TemporaryDirectory(prefix="lidoff-bench-") as name:
        yield Path(name)


def _read_all(tasks: list[CaseTask], workers: int) -> list[Reading]:
    readings: dict[int, Reading] = {}
    results = LocalProcesses(workers).run(read_case, tasks)
    progress = track(
        results, "reading", total=len(tasks), console=Console(stderr=True), transient=True
    )
    for index, result in progress:
        readings[index] = _or_fault(tasks[index].case, result)
    return [readings[index] for index in range(len(tasks))]


def _or_fault(case: Case, result: Reading | Died) -> Reading:
    return Reading(case, None, fault=result.reason) if isinstance(result, Died) else result
