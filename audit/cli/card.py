"""`lidoff card`: print the site card."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path
from typing import Literal

import click

from audit.errors import ExitCode, UsageError, Where


@click.command()
@click.option(
    "--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True,
    help="Size of the sheet.",
)  # fmt: skip
@click.option(
    "--label", "labels", multiple=True, metavar="TEXT",
    help="A fitting's label, as QR code and in letters; give it again for more cards.",
)  # fmt: skip
@click.option(
    "--out", type=click.Path(dir_okay=False, path_type=Path), default=Path("site-card.pdf"),
    show_default=True, help="The PDF to write.",
)  # fmt: skip
def command(paper: Literal["a4", "letter"], labels: tuple[str, ...], out: Path) -> int:
    """Write the site card as a PDF, true to scale.

    One card for each label, or a page of cards to write labels on. Print at
    100 % on plain matt paper or thin card, never on anything that conducts,
    and check the print with the bars on the sheet.
    """
    from audit.card.printing import print_cards

    once = list(dict.fromkeys(labels))
    if len(once) < len(labels):
        click.echo("lidoff: a label given twice is printed once", err=True)
    _write(out, print_cards(once, paper))
    click.echo(f"Wrote {click.format_filename(out)}: print at 100 %, then check its bars.")
    return ExitCode.DONE


def _write(out: Path, data: bytes) -> None:
    """Write whole or not at all: a printer must never get half a sheet."""
    part = None
    try:
        handle, part = tempfile.mkstemp(dir=out.parent, prefix=f".{out.name}.")
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        Path(part).chmod(0o644)
        Path(part).replace(out)
    except OSError as exc:
        if part is not None:
            with contextlib.suppress(OSError):
                Path(part).unlink()
        reason = exc.strerror or str(exc)
        raise UsageError(
            f"the PDF can't be written ({reason})", Where(out), "give another place with --out"
        ) from exc
