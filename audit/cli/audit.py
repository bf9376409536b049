"""`lidoff audit`: from a job folder to the flagged checklist."""

from __future__ import annotations

from pathlib import Path
from typing import Any, get_args

import click

from audit.batch.audit import Options, audit_job
from audit.checklist.models import HoldPoint
from audit.cli._progress import Bars
from audit.cli._told import tell, tell_problems
from audit.record.evidence import load_evidence
from audit.record.record import Record
from audit.record.store import FILE
from audit.settings import Settings


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--hold-point",
    type=click.Choice(get_args(HoldPoint)),
    help="Only items of this hold point; by default what the job says, else both.",
)
@click.option("--json", "as_json", is_flag=True, help="Write the checklist as JSON on stdout.")
@click.option(
    "--workers", type=click.IntRange(0, 64), help="Worker processes; 0 takes one a processor."
)
def command(folder: Path, hold_point: HoldPoint | None, as_json: bool, workers: int | None) -> int:
    """Read the photos of the job folder DIR and write its checklist.

    Writes DIR/out/checklist.html and DIR/out/checklist.json; both change
    together, or stay as they were. What was finished is kept, so that a run
    cut short goes on from there. Exit code 0: nothing is open; 1: something is
    flagged, unsure or missing; 3: the job or a photo can't be read; 4: the
    job's record is damaged (the checklist was made all the same); 5: a worker
    died.
    """
    overrides: dict[str, Any] = {} if workers is None else {"workers": workers}
    options = Options(hold_point=hold_point, settings=Settings(**overrides))
    with Bars() as bars:
        audited = audit_job(folder, options, bars)
    tell_record(folder)
    tell_problems(audited.checklist)
    if as_json:
        click.echo(audited.json_file.read_text(encoding="utf-8"), nl=False)
    else:
        tell(audited)
    return audited.exit_code


def tell_record(folder: Path) -> None:
    """Enter the new checklist in a record that was begun: what is decided on is always on record.

    Raises
    ------
    RecordError
        When the record is damaged.
    """
    if (folder / FILE).is_file():
        Record.open(folder).adopt(load_evidence(folder))
