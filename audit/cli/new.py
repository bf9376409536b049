"""`lidoff new`: a job folder to begin with."""

from __future__ import annotations

from pathlib import Path

import click

from audit.errors import ExitCode
from audit.job.names import DEFAULT_REGION, regions
from audit.job.scaffold import scaffold


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(readable=False, path_type=Path))
@click.option(
    "--region",
    default=DEFAULT_REGION,
    show_default=True,
    metavar="NAME",
    help=f"Whose rules are used: {', '.join(regions())}.",
)
def command(folder: Path, region: str) -> int:
    """Make a job folder DIR to begin with.

    It holds job.toml with every table explained, an empty fittings.csv, a
    folder for photos, and README.txt, which says how to photograph. Nothing
    that is there already is overwritten.
    """
    written = scaffold(folder, region)
    shown = click.format_filename(folder)
    click.echo(f"Made {shown}: " + ", ".join([*(p.name for p in written), "photos/"]))
    click.echo("First read README.txt, which begins with the cautions.")
    click.echo(f"Then put facts and photos in, and run: lidoff check {shown}")
    return ExitCode.DONE
