"""`lidoff fit-materials`: grow the material forests from labelled photos."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("fit-materials")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    help="Folder for the forests (in a checkout: models/materials).",
)
def command(folder: Path, out: Path) -> None:
    """Grow the material forests from FOLDER: photos, each with its NAME.ids.png.

    For contributors; needs the extra `fit`.
    """
    from audit.sight.fit import FitOptions, fit_forests, store_forests

    photos = sorted(p for p in folder.glob("*.jpg") if p.with_name(p.stem + ".ids.png").is_file())
    options = FitOptions()
    first, second = fit_forests(photos, options)
    store_forests(first, second, out, photos, options)
    click.echo(f"fitted from {len(photos)} photos into {out}")
