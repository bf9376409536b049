"""`lidoff fit-verdicts`: grow what joins both looks' maps, weighs evidence and tells spots, on photos no forest has seen."""

from __future__ import annotations

from pathlib import Path

import click

from audit.cli._fitted import folders, out, with_truth


@click.command("fit-verdicts")
@folders
@out
def command(folders: tuple[Path, ...], out: Path) -> None:
    """Grow trees that join both looks' maps, trees upon those that weigh evidence, and trees that tell spots, from the photos of each FOLDER with truth.

    No forest that tells materials or strands may have learned from these photos. For contributors; needs the extra `fit`.
    """
    from audit.bench.fit_further import fit_further

    photos = with_truth(folders)
    fit_further(photos, out)
    click.echo(f"joined, grown further and told spots from {len(photos)} photos into {out}")
