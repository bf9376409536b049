"""`lidoff fit-verdicts`: grow the trees that weigh evidence further, on photos no forest has seen."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("fit-verdicts")
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
    help="Folder for the trees (in a checkout: models/materials).",
)
def command(folders: tuple[Path, ...], out: Path) -> None:
    """Grow trees upon those that weigh evidence, from the photos of each FOLDER with truth.

    No stored forest may have learned from these photos. For contributors; needs the extra `fit`.
    """
    from audit.bench.fit_further import fit_further

    found = (p for folder in folders for p in folder.glob("*.jpg"))
    photos = sorted(p for p in found if p.with_name(p.stem + ".truth.json").is_file())
    fit_further(photos, out)
    click.echo(f"grown further on {len(photos)} photos into {out}")
