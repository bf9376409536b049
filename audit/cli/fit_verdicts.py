"""`lidoff fit-verdicts`: grow the trees that weigh evidence further, on photos no forest has seen."""

from __future__ import annotations

from pathlib import Path

import click

from audit.cli._fitted import folders, out, with_truth


@click.command("fit-verdicts")
@folders
@out
def command(folders: tuple[Path, ...], out: Path) -> None:
    """Grow trees upon those that weigh evidence, from the photos of each FOLDER with truth.

    No stored forest may have learned from these photos. For contributors; needs the extra `fit`.
    """
    from audit.bench.fit_further import fit_further

    photos = with_truth(folders)
    fit_further(photos, out)
    click.echo(f"grown further on {len(photos)} photos into {out}")
