"""`lidoff fit-limits`: put the limits beyond which a photo is asked for again."""

from __future__ import annotations

from pathlib import Path

import click

from audit.cli._fitted import folders


@click.command("fit-limits")
@folders
@click.option(
    "--looks",
    multiple=True,
    type=click.Path(exists=True, dir_okay=False, path_type=Path),
    help="Lines of `lidoff look --json`: photos in it are not read again.",
)
@click.option(
    "--out",
    type=click.Path(dir_okay=False, path_type=Path),
    required=True,
    help="File for the limits (in a checkout: models/photo_limits.toml).",
)
@click.option("--workers", type=click.IntRange(1, 64), default=2, show_default=True)
def command(folders: tuple[Path, ...], looks: tuple[Path, ...], out: Path, workers: int) -> None:
    """Put the limits between the usable and the poor photos of each FOLDER, for contributors.

    Photos are those with a NAME.truth.json that tells `usable` and `unusable_because`.
    """
    from audit.batch.atomic import write_bytes
    from audit.measure.fit_limits import RULES, fit_limit, known_photos, written

    known = known_photos(folders, looks, workers)
    limits = {rule.name: fit_limit(rule, known) for rule in RULES}
    text = written(limits, [f.resolve().name for f in folders], len(known))
    write_bytes(out, text.encode())
    click.echo(f"fitted from {len(known)} photos into {out}")
