"""`lidoff check`: is the job folder sound, before anything is looked at."""

from __future__ import annotations

import hashlib
import json
from collections import defaultdict
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import click

from audit.errors import ExitCode, JobProblems, LidoffError, PhotoError, Where
from audit.job.label import Link, Linking, PhotoTag, link_photos
from audit.job.read import Job, load_job
from audit.job.text import open_refused
from audit.photo.sniff import describe_other, sniff_format
from audit.settings import Settings

SCHEMA = "lidoff.check/1"


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(readable=False, path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Write one JSON object on stdout.")
def command(folder: Path, as_json: bool) -> int:
    """Check the job folder DIR without looking at what its photos show.

    Everything wrong is told at once on stderr, with file, line and field. On
    stdout stands what the job holds and which photo belongs to which fitting,
    as far as entries and file names tell. Exit code 0: nothing is open; 1:
    something is missing, odd or to be confirmed; 3: the job or a photo can't
    be read.
    """
    try:
        job = load_job(folder, Settings())
    except JobProblems as several:
        return _not_ready(several.problems, as_json)
    except LidoffError as one:
        return _not_ready([one], as_json)
    broken = _headers(job)
    linking = link_photos(job, _copies(job))
    bare = _without_photos(job, linking)
    _tell([*job.remarks, *broken.values()])
    if as_json:
        click.echo(_dump(_as_json(job, linking, broken, bare)))
    else:
        click.echo("\n".join(_summary(job, linking, broken, bare)))
    if broken:
        return ExitCode.UNREADABLE
    if job.remarks or bare or any(_open(x) for x in linking.links):
        return ExitCode.OPEN_POINTS
    return ExitCode.DONE


def _tell(problems: list[LidoffError]) -> None:
    for problem in problems:
        click.echo(f"lidoff: {problem.one_line()}", err=True)


def _not_ready(problems: list[LidoffError], as_json: bool) -> int:
    _tell(problems)
    if as_json:
        body = {"schema": SCHEMA, "ready": False, "problems": [_problem(p) for p in problems]}
        click.echo(_dump(body))
    else:
        count = len(problems)
        click.echo(
            f"The job can't be read: {count} problem{'s' if count != 1 else ''} to put right."
        )
    return ExitCode.UNREADABLE


def _headers(job: Job) -> dict[str, LidoffError]:
    """Photos that are none, by their first bytes."""
    broken: dict[str, LidoffError] = {}
    for photo in job.photos:
        where = Where(photo.path)
        if photo.size == 0:
            broken[photo.path] = PhotoError("the file is empty", where, "copy it again")
            continue
        if photo.size > job.settings.max_file_mb * 1_000_000:
            broken[photo.path] = PhotoError(
                f"the file has more than the {job.settings.max_file_mb} MB allowed",
                where,
                "raise the setting max_file_mb, or give a smaller copy",
            )
            continue
        try:
            with (job.root / photo.path).open("rb") as handle:
                head = handle.read(4096)
        except OSError as exc:
            broken[photo.path] = open_refused(job.root / photo.path, photo.path, exc)
            continue
        if sniff_format(head) is None:
            broken[photo.path] = PhotoError(
                f"this is {describe_other(head)}, not a photo",
                where,
                "give a JPEG, PNG, TIFF, WebP or HEIC file",
            )
    return broken


def _copies(job: Job) -> dict[str, PhotoTag]:
    """Hashes of those files that may be copies: files of the same size."""
    sizes: dict[int, list[str]] = defaultdict(list)
    for photo in job.photos:
        if photo.size:
            sizes[photo.size].append(photo.path)
    tags: dict[str, PhotoTag] = {}
    for paths in sizes.values():
        for path in paths if len(paths) > 1 else ():
            try:
                with (job.root / path).open("rb") as handle:
                    digest = hashlib.file_digest(handle, "sha256").hexdigest()
            except OSError:
                continue  # told by its header already
            tags[path] = PhotoTag(sha256=digest)
    return tags


def _waiting(link: Link) -> bool:
    """A photo that the card in it or the time it was taken may still place."""
    return link.outcome == "unlabelled" and not link.confirm


def _open(link: Link) -> bool:
    return link.confirm or link.outcome in {"unknown-label", "duplicate"}


def _without_photos(job: Job, linking: Linking) -> tuple[str, ...]:
    """Fittings that no photo can be of: none is linked to them and none waits to be placed."""
    if any(_waiting(x) for x in linking.links):
        return ()
    shown = {x.label for x in linking.links if x.outcome == "linked"}
    return tuple(f.label for f in job.facts.fittings if f.label not in shown)


def _count(number: int, one: str) -> str:
    return f"{number} {one}{'' if number == 1 else 's'}"


def _summary(
    job: Job, linking: Linking, broken: Mapping[str, LidoffError], bare: tuple[str, ...]
) -> list[str]:
    facts = job.facts
    lines = [
        f"Job {facts.job.name!r}, region {facts.job.region}: "
        + ", ".join(
            (
                _count(len(facts.rooms), "room"),
                _count(len(facts.fittings), "fitting"),
                _count(len(facts.circuits), "circuit"),
                _count(len(job.photos), "photo"),
            )
        ),
        "",
    ]
    width = max(len(f.label) for f in facts.fittings)
    for fitting in facts.fittings:
        views = [x.view or "view not told" for x in linking.for_fitting(fitting.label)]
        shown = ", ".join(views) or "no photo yet"
        lines.append(f"  {fitting.label:<{width}}  {fitting.room or 'room not told'}: {shown}")
    waiting = [x for x in linking.links if _waiting(x) and x.photo not in broken]
    doubtful = [x for x in linking.links if _open(x)]
    if waiting:
        lines += ["", "To be placed by the card in them or the time they were taken:"]
        lines += [f"  {x.photo}" for x in waiting]
    if doubtful:
        lines += ["", "To be looked at by a person:"]
        lines += [f"  {x.photo}: {x.why}" for x in doubtful]
    lines += ["", _last_line(job, broken, bare)]
    return lines


def _last_line(job: Job, broken: Mapping[str, LidoffError], bare: tuple[str, ...]) -> str:
    if broken:
        return f"{_count(len(broken), 'photo')} can't be read, as told above; the rest can."
    if bare and job.photos:
        return f"The job can be read; {_count(len(bare), 'fitting')} without a photo."
    return "The job can be read."


def _problem(problem: LidoffError) -> dict[str, Any]:
    where = problem.where or Where()
    return {
        "file": None if where.file is None else str(where.file),
        "row": where.row,
        "field": where.field,
        "what": problem.what,
        "next": problem.next_step,
    }


def _as_json(
    job: Job, linking: Linking, broken: Mapping[str, LidoffError], bare: tuple[str, ...]
) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "ready": True,
        "job": job.facts.job.name,
        "region": job.facts.job.region,
        "fittings": [
            {
                "label": fitting.label,
                "room": fitting.room,
                "photos": [x.photo for x in linking.for_fitting(fitting.label)],
            }
            for fitting in job.facts.fittings
        ],
        "without_photo": list(bare),
        "photos": [_photo(x, broken) for x in linking.links],
        "problems": [_problem(p) for p in (*job.remarks, *broken.values())],
    }


def _photo(link: Link, broken: Mapping[str, LidoffError]) -> dict[str, Any]:
    return {
        "photo": link.photo,
        "outcome": link.outcome,
        "label": link.label,
        "view": link.view,
        "how": link.how,
        "confirm": link.confirm,
        "why": link.why,
        "readable": link.photo not in broken,
    }


def _dump(body: Mapping[str, Any]) -> str:
    # Escaped, so that a pipe of any encoding takes it.
    return json.dumps(body, ensure_ascii=True, indent=1)
