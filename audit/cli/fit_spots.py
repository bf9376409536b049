"""`lidoff fit-spots`: grow the trees that tell spots that look like a fault."""

from __future__ import annotations

from pathlib import Path

import click

from audit.cli._fitted import folders, out, with_truth


@click.command("fit-spots")
@folders
@out
def command(folders: tuple[Path, ...], out: Path) -> None:
    """Grow the trees that tell spots that look like a fault, from the photos of each FOLDER with truth.

    No forest that tells materials or strands may have learned from these photos. For contributors; needs the
    extra `fit`.
    """
    from audit.bench.fit_spots import fit_spots

    photos = with_truth(folders)
    fit_spots(photos, out)
    click.echo(f"told spots from {len(photos)} photos into {out}")
