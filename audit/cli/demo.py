"""`lidoff demo`: the whole run on a job that comes with the tool."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import click

from audit.batch.audit import Options, audit_job
from audit.batch.outputs import OUT
from audit.cli._progress import Bars
from audit.cli._told import tell, tell_problems
from audit.errors import ExitCode, UsageError, Where
from audit.resources import demo_dir


@click.command()
@click.argument("folder", metavar="[DIR]", default="lidoff-demo", type=click.Path(path_type=Path))
def command(folder: Path) -> int:
    """Copy the demo job to DIR (by default lidoff-demo), audit it, and say where its checklist is.

    The household, its fittings and its photos are invented. Exit code 0 when
    it ran, whatever was flagged.
    """
    copy_demo(folder)
    with Bars() as bars:
        audited = audit_job(folder, Options(), bars)
    tell_problems(audited.checklist)
    tell(audited)
    return ExitCode.RESOURCES if audited.died else ExitCode.DONE


def copy_demo(folder: Path) -> None:
    """Copy the demo job; a folder that holds it already is used as it is.

    Raises
    ------
    UsageError
        When the folder holds something else.
    """
    source = demo_dir()
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        ours = folder / "job.toml"
        if ours.is_file() and ours.read_bytes() == (source / "job.toml").read_bytes():
            return
        raise UsageError(
            "this folder is there already and is not the demo",
            Where(folder),
            "name another folder",
        )
    _copy(source, folder)


def _copy(source: Path, folder: Path) -> None:
    """Copy beside and rename: a copy that was cut short must not pass for the demo."""
    folder.parent.mkdir(parents=True, exist_ok=True)
    part = Path(tempfile.mkdtemp(prefix=f".{folder.name}.", dir=folder.parent))
    try:
        ignore = shutil.ignore_patterns(".gitkeep", OUT, "*.truth.json", "*.ids.png")
        shutil.copytree(source, part / "job", ignore=ignore)
        if folder.is_dir():
            folder.rmdir()
        (part / "job").replace(folder)
    finally:
        shutil.rmtree(part, ignore_errors=True)
