"""`lidoff verify`: does a job's record, or a pack, hold to the last byte."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import click

from audit.cli._told import printable
from audit.errors import ExitCode, LidoffError, UsageError, Where
from audit.record.keys import fingerprint, load_public_key
from audit.record.verify import Verified, verify_job
from audit.report.pack_read import verify_pack
from audit.sampling.recorded import replay

SCHEMA = "lidoff.verify/1"


@click.command()
@click.argument("path", metavar="DIR|PACK", type=click.Path(path_type=Path))
@click.option(
    "--key",
    "key_file",
    type=click.Path(path_type=Path),
    help="Public key (.pub) that every sign-off must be signed with.",
)
@click.option("--json", "as_json", is_flag=True, help="Write one JSON object on stdout.")
def command(path: Path, key_file: Path | None, as_json: bool) -> int:
    """Check the record of the job folder DIR, or the file PACK that left one.

    Checked are the chain of entries, the seal, signatures, the checklist,
    photos and declared facts; draws for spot checks are made again. What does not hold is told on stderr, the first
    entry that does not hold first. Nothing is written. Exit code 0: all
    holds; 4: something does not.
    """
    key = load_public_key(key_file) if key_file is not None else None
    found = _verify(path, key)
    # Spot checks are drawn again: the fittings drawn must be those that seed and frame give.
    found.problems += replay(found.fold, "record.jsonl" if path.is_file() else "record.sqlite")
    for note in found.notes:
        click.echo(f"lidoff: note: {printable(note)}", err=True)
    for problem in found.problems:
        click.echo(f"lidoff: {problem.one_line()}", err=True)
    if as_json:
        click.echo(_json(found))
    else:
        click.echo("\n".join(_said(found)))
    return ExitCode.DONE if found.holds else ExitCode.RECORD


def _verify(path: Path, key: str | None) -> Verified:
    if path.is_dir():
        return verify_job(path, key=key)
    if path.is_file():
        return verify_pack(path, key=key)
    raise UsageError(
        "there is no such folder or pack", Where(path), "name a job folder or a pack (.zip)"
    )


def _said(found: Verified) -> list[str]:
    lines = [f"{len(found.entries)} entries hold; {found.photos} photos are those of the record."]
    lines += [
        f"Entry {s.seq}: {s.hold_point} signed off by {printable(s.by)} on {s.at}, "
        f"key {fingerprint(s.public_key)}."
        for s in found.signed
    ]
    if found.problems:
        lines.append(f"Does not hold: {_line(found.problems[0])}")
    return lines


def _line(problem: LidoffError) -> str:
    where = f"{problem.where}: " if problem.where and str(problem.where) else ""
    return printable(f"{where}{problem.what}")


def _json(found: Verified) -> str:

    body: dict[str, Any] = {
        "schema": SCHEMA,
        "holds": found.holds,
        "entries": len(found.entries),
        "photos": found.photos,
        "problems": [
            {"what": p.what, "where": str(p.where or ""), "next": p.next_step}
            for p in found.problems
        ],
        "notes": found.notes,
        "signed": [
            {
                "entry": s.seq,
                "hold_point": s.hold_point,
                "by": s.by,
                "at": s.at,
                "public_key": s.public_key,
                "fingerprint": fingerprint(s.public_key),
            }
            for s in found.signed
        ],
    }
    return json.dumps(body, ensure_ascii=False, indent=1)
