"""`lidoff look`: read single photos, one JSON object a line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import click

from audit.batch.cache import file_sha256
from audit.batch.executor import LocalProcesses, worker_count
from audit.batch.photos import Looked, LookTask, in_order, look_all
from audit.cli._told import printable
from audit.errors import ExitCode, UsageError, Where
from audit.job.marks import Mark, read_marks
from audit.measure.answered import all_answered, nothing_said
from audit.measure.contract import CableRecord, FindingRecord, Length, LookRecord
from audit.measure.declared import Declared
from audit.settings import Settings

_FOLDER = click.Path(file_okay=False, path_type=Path)


@click.command()
@click.argument(
    "photos", metavar="PHOTO...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@click.option("--marks", type=click.Path(path_type=Path), help="Marks a person put (JSON).")
@click.option("--masks", type=_FOLDER, help="Write NAME.ids.png into this folder.")
@click.option("--cable", metavar="SIZE", help="Size and kind of the cable, as '1.5 T&E'.")
@click.option("--json", "as_json", is_flag=True, help="Write one JSON object a photo and line.")
@click.option(
    "--explain",
    type=_FOLDER,
    help="Write each stage as a picture, and a page about them, into this folder.",
)
@click.option(
    "--workers", type=click.IntRange(0, 64), default=0, help="Worker processes; 0 (default) all."
)
def command(
    photos: tuple[Path, ...],
    marks: Path | None,
    masks: Path | None,
    cable: str | None,
    as_json: bool,
    explain: Path | None,
    workers: int,
) -> int:
    """Read each PHOTO of an opened fitting and say what is seen.

    What is said comes in the order given, one outcome a photo: read, retake or
    failed. Exit code 0: nothing is flagged or unsure; 1: something is; 3: a
    photo can't be read; 5: a worker died.
    """
    for folder in (masks, explain):
        if folder is not None:
            folder.mkdir(parents=True, exist_ok=True)
    _distinct(photos, masks or explain)
    known = read_marks(marks) if marks is not None else ()
    tasks = [
        LookTask(
            path=path,
            name=path.name,
            settings=Settings(),
            marks=_marks_of(path, known),
            declared=Declared(cable_size=cable) if cable else None,
            masks_dir=masks,
            explain_dir=explain,
        )
        for path in photos
    ]
    with LocalProcesses(min(worker_count(workers), len(tasks))) as executor:
        code = _write(in_order(look_all(tasks, executor), len(tasks)), as_json)
    if explain is not None:
        pages = [explain / f"{path.stem}.0-stages.html" for path in photos]
        for page in (p for p in pages if p.exists()):
            click.echo(f"stages as pictures: open {printable(str(page))}", err=True)
    return code


def _distinct(photos: Sequence[Path], folder: Path | None) -> None:
    """Files written per photo are named after it: two of one name would overwrite each other."""
    if folder is None:
        return
    seen: dict[str, Path] = {}
    for path in photos:
        other = seen.setdefault(path.stem.casefold(), path)
        if other is not path:
            raise UsageError(
                f"{other} and {path} would write files of one name",
                Where(folder),
                "read them in two runs, into two folders",
            )


def _marks_of(path: Path, marks: Sequence[Mark]) -> tuple[Mark, ...]:
    if not marks:
        return ()
    sha256 = file_sha256(path) or ""
    return tuple(m for m in marks if m.holds_for(path.as_posix(), sha256))


def _write(results: Iterable[Looked], as_json: bool) -> int:
    died = failed = is_open = False
    for looked in results:
        record = looked.record
        click.echo(record.to_json() if as_json else "\n".join(in_text(record)))
        died |= looked.died
        failed |= record.outcome == "failed"
        is_open |= has_open_points(record)
    if died:
        return ExitCode.RESOURCES
    if failed:
        return ExitCode.UNREADABLE
    return ExitCode.OPEN_POINTS if is_open else ExitCode.DONE


def has_open_points(record: LookRecord) -> bool:
    """Whether anything of a photo wants a person: all but a photo read with no fault seen.

    A photo in which nothing was found to judge is open too, and one with a cable or an end that is not answered
    for: silence is no answer.
    """
    if record.outcome != "read" or not record.findings:
        return True
    return any(f.state != "clear" for f in record.findings) or not all_answered(record)


def in_text(record: LookRecord) -> list[str]:
    """A photo in a few lines for a person.

    Parameters
    ----------
    record : LookRecord

    Returns
    -------
    list of str
    """
    head = f"{printable(record.photo)}: {record.outcome}"
    if record.reasons:
        head += f": {printable('; '.join(record.reasons))}"
    lines = [head + _scale(record)]
    lines += [f"  {_cable(c)}" for c in record.cables]
    lines += [f"  {_finding(f)}" for f in record.findings]
    if record.outcome == "read" and not record.findings:
        lines.append(f"  {nothing_said(record)}")
    return lines


def _scale(record: LookRecord) -> str:
    if record.scale is None or record.scale.px_per_mm is None:
        return ""
    u95 = "" if record.scale.u95_rel is None else f" ± {100 * record.scale.u95_rel:.0f} %"
    return f"; {record.scale.px_per_mm:.1f} px per mm{u95}, from {record.scale.source}"


def _cable(cable: CableRecord) -> str:
    text = f"cable {cable.id}: {cable.sheath} sheath, entry {cable.entry.kind}"
    past: Length | None = cable.sheath_past_grip_mm
    if past is not None:
        text += f", sheath past the grip {past.value:.1f} ± {past.u95:.1f} mm"
    return text.replace("-", "−") if past is not None and past.value < 0 else text


def _finding(finding: FindingRecord) -> str:
    state: Any = "no fault seen" if finding.state == "clear" else finding.state
    value = ""
    # Most reasons begin with the figure already.
    if finding.value_mm is not None and " mm" not in finding.why:
        u95 = "" if finding.u95_mm is None else f" ± {finding.u95_mm:.1f}"
        value = f" {finding.value_mm:.1f}{u95} mm:"
    return f"{state}: {finding.check} ({finding.of}):{value} {printable(finding.why)}"
