"""What the commands that fit models from photos ask for alike."""

from __future__ import annotations

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
