"""`lidoff fit-materials`: grow the material forests from labelled photos."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("fit-materials")
@click.argument(
    "folders",
    metavar="FOLDER...",
    nargs=-1,
    required=True,
    type=click.Path(exists=True, file_okay=False, path_type=Path),
)
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    help="Folder for the forests (in a checkout: models/materials).",
)
def command(folders: tuple[Path, ...], out: Path) -> None:
    """Grow the material forests from the photos of each FOLDER that have a NAME.ids.png.

    For contributors; needs the extra `fit`.
    """
    from audit.sight.fit import FitOptions, fit_forests, store_forests

    found = (p for folder in folders for p in folder.glob("*.jpg"))
    photos = sorted(p for p in found if p.with_name(p.stem + ".ids.png").is_file())
    options = FitOptions()
    forests, classes = fit_forests(photos, options)
    store_forests(forests, classes, out, photos, options)
    click.echo(f"fitted from {len(photos)} photos into {out}")
