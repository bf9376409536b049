"""`lidoff fit-materials`: grow the forests of seeing from labelled photos."""

from __future__ import annotations

from pathlib import Path

import click

from audit.cli._fitted import folders, out


@click.command("fit-materials")
@folders
@out
@click.option(
    "--weigh",
    multiple=True,
    type=click.Path(exists=True, file_okay=False, path_type=Path),
    help="Folder of photos with truth and ids map that all forests but those of materials are learned from as well.",
)
def command(folders: tuple[Path, ...], out: Path, weigh: tuple[Path, ...]) -> None:
    """Grow the forests of seeing from the photos of each FOLDER that have a NAME.ids.png.

    For contributors; needs the extra `fit`.
    """
    from audit.bench.fit_verdicts import fit_all
    from audit.sight.fit import FitOptions

    found = (p for folder in folders for p in folder.glob("*.jpg"))
    photos = sorted(p for p in found if p.with_name(p.stem + ".ids.png").is_file())
    weighed = sorted(p for folder in weigh for p in folder.glob("*.jpg"))
    fit_all(photos, weighed, out, FitOptions())
    click.echo(f"fitted from {len(photos)} photos and {len(weighed)} more into {out}")
