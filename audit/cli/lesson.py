"""`lidoff lesson`: sheets to teach from, out of confirmed faults or rendered photos; the course."""

from __future__ import annotations

from pathlib import Path

import click

from audit.cli._told import printable
from audit.errors import ExitCode, UsageError, Where


@click.command()
@click.argument("source", metavar="[DIR]", required=False, type=click.Path(path_type=Path))
@click.option("--course", is_flag=True, help="Write the course of ten lessons instead of sheets.")
@click.option(
    "--photo", "photos", multiple=True, metavar="NAME",
    help="A photo that may be used, as --list names it; give it again for more.",
)  # fmt: skip
@click.option(
    "--all-photos", is_flag=True, help="All photos may be used: you have looked at each of them."
)
@click.option(
    "--check", "checks", multiple=True, metavar="ID",
    help="Only faults of this check; give it again for more.",
)  # fmt: skip
@click.option(
    "--per-check", "each", type=click.IntRange(1, 100),
    help="At most so many sheets a check; by default all chosen, 2 of the shipped photos.",
)  # fmt: skip
@click.option(
    "--cover", "covers", multiple=True, metavar="NAME:X0,Y0,X1,Y1",
    help="An area of a photo to cover, in px of the upright photo; give it again for more.",
)  # fmt: skip
@click.option("--list", "listing", is_flag=True, help="Say which photos show what; write nothing.")
@click.option(
    "--out", type=click.Path(path_type=Path), default=Path("lessons"), show_default=True,
    help="Folder for the files.",
)  # fmt: skip
def command(
    source: Path | None,
    course: bool,
    photos: tuple[str, ...],
    all_photos: bool,
    checks: tuple[str, ...],
    each: int | None,
    covers: tuple[str, ...],
    listing: bool,
    out: Path,
) -> int:
    """Write sheets that show faults: bare, annotated, to scale, and how it looks when right.

    DIR is a job folder, of which only faults are used that a person has
    confirmed in its record, or a folder of photos with NAME.truth.json
    beside them. Without DIR the practice photos that come with lidoff are
    used. Handout and answers are written apart, each as PDF and as one HTML
    file. Place, device, names and labels are taken out; look at every page
    before you hand it out. Exit code 3: a chosen photo could not be used,
    and the rest was written.
    """
    from audit.training.lessons import make
    from audit.training.lessons.from_truth import is_check

    wanted = tuple(is_check(c) for c in checks)
    choice = make.Choice(photos, all_photos, wanted, each, make.parse_covers(covers))
    if course:
        _only_course(source, choice, listing)
        return _course(out)
    if source is not None and not source.is_dir():
        raise UsageError("no such folder", Where(source))
    if listing:
        return _list(source)
    return _sheets(source, choice, out)


def _only_course(source: Path | None, choice: object, listing: bool) -> None:
    from audit.training.lessons.make import Choice

    if source is not None or listing or choice != Choice():
        raise UsageError(
            "the course has its own photos: --course goes with --out alone",
            next_step="leave the folder and the other options out",
        )


def _course(out: Path) -> int:
    from audit.settings import Settings
    from audit.training.lessons import make

    make.must_be_writable(out)
    files = make.course_files(Settings())
    make.write_files(out, files)
    click.echo(f"The course of ten lessons: {click.format_filename(out / 'course.pdf')}")
    _tell(out, files)
    return ExitCode.DONE


def _sheets(source: Path | None, choice: object, out: Path) -> int:
    from audit.settings import Settings
    from audit.training.lessons import make

    assert isinstance(choice, make.Choice)
    settings = Settings()
    if source is None:
        made = make.from_practice(choice, settings)
    elif _is_job(source):
        made = make.from_record(source, choice, settings)
    else:
        made = make.from_folder(source, choice, settings)
    make.must_be_writable(out)
    files = make.sheet_files(made.sheets)
    make.write_files(out, files)
    for problem in made.refused:
        click.echo(f"lidoff: photo left out: {problem.one_line()}", err=True)
    for note in made.notes:
        click.echo(f"lidoff: note: {printable(note)}", err=True)
    count = len(made.sheets)
    click.echo(f"{count} sheet{'' if count == 1 else 's'}.")
    _tell(out, files)
    if source is not None:
        click.echo(
            "Look at every page before you hand it out: a program does not see all that tells."
        )
    return ExitCode.UNREADABLE if made.refused else ExitCode.DONE


def _tell(out: Path, files: dict[str, bytes]) -> None:
    for name in files:
        click.echo(f"  {click.format_filename(out / name)}")


def _is_job(folder: Path) -> bool:
    return (folder / "job.toml").is_file()


def _list(source: Path | None) -> int:
    """Photos and what they show, one a line, on stdout."""
    from audit.resources import practice_dir
    from audit.training.lessons import from_job, from_truth

    if source is not None and _is_job(source):
        faults = from_job.confirmed_faults(source)
        for name, confirmed in faults.photos.items():
            shown = ", ".join(dict.fromkeys(f.check for f in confirmed.faults))
            click.echo(f"{printable(name)}: {shown}")
        return ExitCode.DONE
    for known in from_truth.known_photos(source or practice_dir()):
        shown = ", ".join(check for check, _ in from_truth.candidates(known))
        click.echo(f"{printable(known.case.photo.name)}: {shown or 'no fault to show'}")
    return ExitCode.DONE
