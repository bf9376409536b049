"""`lidoff fit-nearness`: grow the trees that tell how near the camera was."""

from __future__ import annotations

from pathlib import Path

import click

from audit.cli._fitted import folders, out, with_truth


@click.command("fit-nearness")
@folders
@out
def command(folders: tuple[Path, ...], out: Path) -> None:
    """Grow the trees that tell how near the camera was, from the photos of each FOLDER with truth.

    The coarse forest may not have learned from these photos. For contributors; needs the extra `fit`.
    """
    from audit.sight.fit_nearness import fit_nearness

    photos = with_truth(folders)
    learned = fit_nearness(photos, out)
    click.echo(f"told nearness from {learned} of {len(photos)} photos into {out}")
