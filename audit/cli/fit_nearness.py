"""`lidoff fit-nearness`: grow the trees that tell how near the camera was."""

from __future__ import annotations

from pathlib import Path

import click

from audit.cli._fitted import folders, out


@click.command("fit-nearness")
@folders
@out
def command(folders: tuple[Path, ...], out: Path) -> None:
    """Grow the trees that tell how near the camera was, from the photos of each FOLDER with truth.

    The coarse forest may not have learned from these photos. For contributors; needs the extra `fit`.
    """
    from audit.sight.fit_nearness import fit_nearness

    found = (p for folder in folders for p in folder.glob("*.jpg"))
    photos = sorted(p for p in found if p.with_name(p.stem + ".truth.json").is_file())
    learned = fit_nearness(photos, out)
    click.echo(f"told nearness from {learned} of {len(photos)} photos into {out}")
