"""`lidoff fit-sleeves`: grow the trees that tell a CPC that is bare before its sleeve, on photos no forest has seen."""

from __future__ import annotations

from pathlib import Path

import click

from audit.cli._fitted import folders, out, with_truth


@click.command("fit-sleeves")
@folders
@out
def command(folders: tuple[Path, ...], out: Path) -> None:
    """Grow trees that tell a CPC that is bare before its sleeve, from the photos of each FOLDER with truth.

    The photos show such work (`python -m sample_images.scenes --damaged`); no stored forest may have learned from them. For contributors; needs the extra `fit`.
    """
    from audit.bench.fit_sleeves import fit_sleeves

    photos = with_truth(folders)
    fit_sleeves(photos, out)
    click.echo(f"grown from {len(photos)} photos into {out}")
