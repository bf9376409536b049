"""`lidoff merge`: take decisions made on a copy of the job into this one."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from audit.cli._told import printable
from audit.errors import ExitCode, RecordError, UsageError, Where
from audit.job.read import load_job
from audit.record.evidence import load_evidence
from audit.record.merge import Merged, merge
from audit.record.record import Record
from audit.record.types import Decided, Standing
from audit.report.pack_read import verify_pack
from audit.report.pdf_words import said

SCHEMA = "lidoff.merge/1"


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.argument("pack", metavar="PACK", type=click.Path(path_type=Path))
@click.option("--by", help="Who merges; written into the record.")
@click.option("--json", "as_json", is_flag=True, help="Write one JSON object on stdout.")
def command(folder: Path, pack: Path, by: str | None, as_json: bool) -> int:
    """Take decisions from PACK, made on a copy of the job folder DIR, into DIR.

    Where both copies decided an item differently, both decisions stay, side by
    side, until a person decides it anew on the review page. PACK is checked
    first; when it does not hold, nothing is taken. Exit code 0: nothing
    differs; 1: something does; 4: PACK or the record does not hold.
    """
    theirs = verify_pack(_there(pack))
    if theirs.problems:
        raise theirs.problems[0]
    root = load_job(folder).root
    job = load_evidence(root)
    if not (root / "record.sqlite").exists():
        raise RecordError(
            "this job has no record yet, so the pack is of no copy of it",
            Where(root),
            f"begin it with: lidoff review {folder}",
        )
    record = Record.open(root)
    record.adopt(job, by)
    done = merge(record, job, theirs.entries, name=pack.name, by=by)
    if as_json:
        click.echo(json.dumps(_as_json(done), ensure_ascii=False, indent=1))
    else:
        click.echo("\n".join(_told(done)))
    return ExitCode.OPEN_POINTS if done.conflicts else ExitCode.DONE


def _there(pack: Path) -> Path:
    if not pack.is_file():
        raise UsageError("there is no such pack", Where(pack), "name a file that lidoff pack wrote")
    return pack


def _told(done: Merged) -> list[str]:
    if done.entry is None:
        lines = ["Nothing new: all of it is in the record already."]
    else:
        lines = [
            f"Entry {done.entry.seq}: {done.taken} entries taken in, {done.decisions} decisions among them."
        ]
    if done.conflicts:
        lines.append(
            f"{len(done.conflicts)} items are decided differently in the two copies; "
            "none was settled, decide them on the review page:"
        )
    for standing in done.conflicts:
        lines += _side_by_side(standing)
    return lines


def _side_by_side(standing: Standing) -> list[str]:
    lines = [f"  {printable(standing.item.id)}: {printable(standing.item.question)}"]
    for side in standing.sides:
        place = "here" if side.merged_by is None else "there"
        lines.append(f"    {place:<5}  {printable(_words(side))}")
    return lines


def _words(side: Decided) -> str:
    took = "took back " if side.taken_back else ""
    text = f"{side.by}, {side.at}: {took}{side.decision.choice}"
    more = " ".join(said(side)) if not side.taken_back else ""
    return f"{text}. {more}".strip()


def _as_json(done: Merged) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "entry": done.entry.seq if done.entry else None,
        "taken": done.taken,
        "decisions": done.decisions,
        "conflicts": [
            {
                "item": s.item.id,
                "question": s.item.question,
                "sides": [
                    {
                        "where": "here" if d.merged_by is None else "there",
                        "by": d.by,
                        "at": d.at,
                        "choice": d.decision.choice,
                        "taken_back": d.taken_back,
                        "said": said(d),
                    }
                    for d in s.sides
                ],
            }
            for s in done.conflicts
        ],
    }
