"""`lidoff practice`: judge bare photos, then see the truth beside your marks, on local pages."""

from __future__ import annotations

import contextlib
import os
import webbrowser
from pathlib import Path

import click

from audit.errors import ExitCode, UsageError
from audit.record.errors import DecisionError
from audit.record.payloads import check_name
from audit.resources import practice_dir
from audit.review.serve import Server, loopback_server, running
from audit.review.words import count
from audit.training.export import SUFFIXES, write
from audit.training.sets import PracticeSet, from_folder, from_job
from audit.training.store import Results, default_file
from audit.training.web.app import create_app
from audit.training.web.context import Practice

_PATH = click.Path(path_type=Path)
NOBODY = "trainee"


@click.command()
@click.option("--set", "folder", type=_PATH, help="Photos with truths; by default our own set.")
@click.option("--job", type=_PATH, help="A job whose decided photos to practise on; with --photo.")
@click.option(
    "--photo",
    "chosen",
    multiple=True,
    metavar="NAME",
    help="A photo of the job that you choose for practice; give it once for each.",
)
@click.option("--trainee", metavar="NAME", help=f"Whose results these are.  [default: {NOBODY}]")
@click.option("--results", type=_PATH, help="Where results are kept; by default a file of yours.")
@click.option(
    "--export", type=_PATH, help="Write results to this .csv or .json file; serve nothing."
)
@click.option("--port", type=click.IntRange(0, 65535), default=0, help="Port; 0 takes a free one.")
@click.option("--no-browser", is_flag=True, help="Say the address only; open no browser.")
def command(
    folder: Path | None,
    job: Path | None,
    chosen: tuple[str, ...],
    trainee: str | None,
    results: Path | None,
    export: Path | None,
    port: int,
    no_browser: bool,
) -> int:
    """Practise finding faults on photos, and see the truth beside your marks.

    Photos are judged against their known truth, or, with --job, against what a
    competent person decided: never against what the tool holds. No photo of a
    job is taken that is not named with --photo. Results stay on this computer;
    what was missed comes back sooner. The pages are served to this computer
    alone and work with no network. Ctrl-C ends it.

    With --export the results so far are written, of all trainees or of the one
    given with --trainee.
    """
    name = None if trainee is None else _name(trainee)
    if export is not None:
        return _export(export, results or default_file(), name)
    photos = _set(folder, job, chosen)
    app = create_app(Practice(photos, Results(results or default_file()), name or NOBODY))
    server, port = loopback_server(app, port)
    address = f"http://127.0.0.1:{port}/"
    for note in photos.notes:
        click.echo(f"lidoff: note: {note}", err=True)
    click.echo(f"Practice: {address} ({count(len(photos.photos), 'photo')})", err=True)
    if not no_browser:
        webbrowser.open(address)
    return _serve(server)


def _name(said: str) -> str:
    try:
        return check_name(" ".join(said.split()))
    except DecisionError as exc:
        raise UsageError(f"{said!r} is no name for a trainee", next_step="give a name") from exc


def _export(export: Path, file: Path, trainee: str | None) -> int:
    if export.suffix.lower() not in SUFFIXES:
        raise UsageError(f"{export.name}: results are written as .csv or .json", next_step="choose")
    if not file.exists():
        raise UsageError(f"{file}: there are no results yet", next_step="practise first")
    rounds = Results(file).rounds(trainee)
    if not rounds and trainee is not None:
        raise UsageError(f"there are no results of {trainee!r}", next_step="leave --trainee out")
    write(rounds, export)
    click.echo(f"Results: {export} ({count(len(rounds), 'photo')} judged)", err=True)
    return ExitCode.DONE


def _set(folder: Path | None, job: Path | None, chosen: tuple[str, ...]) -> PracticeSet:
    if job is None and chosen:
        raise UsageError("--photo chooses photos of a job", next_step="give --job too")
    if job is not None and folder is not None:
        raise UsageError("--set and --job are two things", next_step="give one of them")
    if job is not None:
        return from_job(_real(job), chosen)
    return from_folder(_real(folder or practice_dir()))


def _real(folder: Path) -> Path:
    # Path.resolve raises an error of its own kind where links lead round in a ring.
    return Path(os.path.realpath(folder))


def _serve(server: Server) -> int:
    """Serve until Ctrl-C, which is how practice ends."""
    with running(server), contextlib.suppress(KeyboardInterrupt):
        server.run()
    click.echo("lidoff: ended; every photo you judged is in your results", err=True)
    return ExitCode.DONE
