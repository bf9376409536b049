"""Write the accuracy page from the stored figures, after renewing them where asked.

`python -m tests.benchmarks.accuracy [--measure | --take ...]`, from the checkout's root.
"""

from __future__ import annotations

import contextlib
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import click

from audit.batch.atomic import write_bytes
from audit.errors import ExitCode, LidoffError
from tests.benchmarks.accuracy.chart import svg
from tests.benchmarks.accuracy.measure import Places, read_photos, take, take_harm
from tests.benchmarks.accuracy.page import page
from tests.benchmarks.accuracy.stored import ROOT, SETS, load_all

_FILE = click.Path(exists=True, dir_okay=False, path_type=Path)
_FOLDER = click.Path(file_okay=False, path_type=Path)
_BENCH = ROOT / "sample_images" / "bench"


@click.command()
@click.option(
    "--measure", is_flag=True, help="Read the photos of report, and of the other sets if there."
)
@click.option(
    "--take",
    "taken",
    nargs=3,
    multiple=True,
    metavar="SET FIGURES LOOKS",
    help="Take what one `lidoff bench --json FIGURES --save-looks LOOKS` of a set has left; "
    "LOOKS may be -, then there is no gallery.",
)
@click.option("--harm", type=_FILE, help="Take these figures of spoiled photos.")
@click.option("--report", default=_BENCH / "report", type=_FOLDER, help="Photos of report.")
@click.option("--third", default=_BENCH / "third", type=_FOLDER, help="Photos of third.")
@click.option("--other", default=_BENCH / "other", type=_FOLDER, help="Photos of other.")
@click.option("--only", default="*", metavar="GLOB", help="Only photos that match, to try it out.")
@click.option("--workers", default=0, show_default=True, help="Worker processes; 0 takes all.")
@click.option("--keep", type=_FOLDER, help="Keep what --measure reads here, for --take.")
@click.option("--docs", default=ROOT / "docs", type=_FOLDER, help="Where everything is written.")
def main(
    measure: bool,
    taken: tuple[tuple[str, str, str], ...],
    harm: Path | None,
    report: Path,
    third: Path,
    other: Path,
    only: str,
    workers: int,
    keep: Path | None,
    docs: Path,
) -> None:
    """Write docs/accuracy.md from the figures in docs/accuracy; see DEVELOPERS.md."""
    to, photos = Places(docs), dict(zip(SETS, (report, third, other), strict=True))
    for name, figures, looks in taken:
        if name not in SETS:
            raise click.BadParameter(f"no such set: {name}; there are {', '.join(SETS)}")
        records = None if looks == "-" else Path(looks)
        take(name, photos[name], Path(figures), records, only, to)
    if measure:
        for name, folder in photos.items():
            if name == "report" or folder.is_dir():
                with _folder(keep and keep / name) as out:
                    take(name, folder, *read_photos(folder, out, workers, only), only, to)
    if harm is not None:
        take_harm(harm, (report, third, _BENCH / "tune"), to)
    write_page(to)


@contextlib.contextmanager
def _folder(kept: Path | None) -> Iterator[Path]:
    """The folder asked for, else one that is gone afterwards."""
    if kept is not None:
        kept.mkdir(parents=True, exist_ok=True)
        yield kept
        return
    with tempfile.TemporaryDirectory(prefix="lidoff-accuracy-") as name:
        yield Path(name)


def write_page(to: Places) -> None:
    """Write the page, and the chart where there is something to draw."""
    stored = load_all(to.figures)
    if stored.harms is not None:
        write_bytes(to.pictures / "harm.svg", svg(stored.harms).encode())
    write_bytes(to.page, page(stored).encode())
    click.echo(f"written: {to.page}", err=True)


if __name__ == "__main__":
    try:
        main.main(standalone_mode=False)
    except LidoffError as error:
        click.echo(f"accuracy: {error.one_line()}", err=True)
        sys.exit(error.exit_code)
    except (KeyboardInterrupt, click.Abort):
        click.echo("accuracy: interrupted; run it again", err=True)
        sys.exit(ExitCode.INTERRUPTED)
    except click.ClickException as wrong:
        wrong.show()
        sys.exit(ExitCode.USAGE)
