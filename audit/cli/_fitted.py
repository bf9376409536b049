"""What the commands that fit models from photos ask for alike."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

import click

folders = click.argument(
    "folders",
    metavar="FOLDER...",
    nargs=-1,
    required=True,
    type=click.Path(exists=True, file_okay=False, path_type=Path),
)
out = click.option(
    "--out",
    type=click.Path(file_okay=False, path_type=Path),
    required=True,
    help="Folder for the forests (in a checkout: models/materials).",
)


def with_truth(folders: Iterable[Path]) -> list[Path]:
    """The photos of some folders that have their truth beside them."""
    found = (p for folder in folders for p in folder.glob("*.jpg"))
    return sorted(p for p in found if p.with_name(p.stem + ".truth.json").is_file())
