"""`lidoff practice-photo`: render a practice photo with the fault asked for, and its answer."""

from __future__ import annotations

from pathlib import Path

import click

from audit.errors import ExitCode, UsageError, Where
from audit.training import order as told
from audit.training.order import Order

_FILE = click.Path(dir_okay=False, path_type=Path)
_SUMS = "SHA256SUMS"


@click.command("practice-photo")
@click.option("--check", "checks", multiple=True, metavar="CHECK", help=f"Fault to plant: {', '.join(told.CHECKS)}; none for a sound fitting. Give it again for another.")  # fmt: skip
@click.option("--mm", "lengths", multiple=True, type=float, metavar="MM", help="Length of the fault; one for each check that has a length, in their order.")  # fmt: skip
@click.option("--cable", "cables", multiple=True, metavar="SIZE", help=f"Cable: {', '.join(told.SIZES)} (default 1.5). Give it again for two or three cables.")  # fmt: skip
@click.option("--seed", default=1, show_default=True, help="Another seed, another photo.")
@click.option("--view", default=None, metavar="VIEW", help=f"What it shows: {', '.join(told.VIEWS)} (default inside).")  # fmt: skip
@click.option("--card/--no-card", default=False, show_default=True, help="Lay the site card beside the work.")  # fmt: skip
@click.option("--difficulty", default=2, show_default=True, help="1 plain, 2 as usual, 3 subtle.")
@click.option("--sheath", metavar="COLOUR", help=f"{', '.join(told.SHEATHS)} (default: drawn from the seed).")  # fmt: skip
@click.option("--colours", default="brown-blue", show_default=True, metavar="PAIR", help=f"Line and neutral: {', '.join(told.COLOURS)}.")  # fmt: skip
@click.option("--light", metavar="KIND", help=f"{', '.join(told.LIGHTS)} (default: drawn from the seed).")  # fmt: skip
@click.option("--poor", default="", metavar="WAY", help=f"Too poor to judge: {', '.join(told.POOR)}.")  # fmt: skip
@click.option("--width", default=1200, show_default=True, type=click.IntRange(320, 4000), help="Width in px; height is three quarters.")  # fmt: skip
@click.option("--out", type=_FILE, help="The JPEG to write (default practice.jpg); its answer goes beside it.")  # fmt: skip
@click.option("--set", "index", type=_FILE, metavar="SET.TOML", help="Instead: render every photo of this index that is not there yet, beside it.")  # fmt: skip
@click.option("--again", is_flag=True, help="With --set: render those that are there, too.")
def command(
    index: Path | None, again: bool, out: Path | None, width: int, **asked: object
) -> int:  # fmt: skip
    """Render a photo of an opened fitting that shows the fault asked for, and write its answer.

    The photo is a drawing from the computer: no real fitting. NAME.truth.json
    beside it says where each fault is and how long, to 0.1 mm of what was
    asked. Nothing else is wrong in it. Needs the extra: pip install
    'lidoff[render]'.
    """
    if index is not None:
        if asked["checks"] or out is not None:
            raise UsageError("--set stands alone", None, "leave out --check and --out")
        return _whole_set(index, again, width)
    if again:
        raise UsageError("--again belongs to --set", None, "leave it out")
    out = out or Path("practice.jpg")
    if out.suffix.lower() not in (".jpg", ".jpeg"):
        raise UsageError("a practice photo is a JPEG", Where(out), "end its name in .jpg")
    order = _order(**asked)  # type: ignore[arg-type]
    told.check_order(order)
    _render(order, out, width)
    click.echo(f"Wrote {click.format_filename(out)} and its answer {_truth_of(out).name}.")
    return ExitCode.DONE


def _order(
    checks: tuple[str, ...], lengths: tuple[float, ...], cables: tuple[str, ...], seed: int,
    view: str | None, card: bool, difficulty: int, sheath: str | None, colours: str,
    light: str | None, poor: str,
) -> Order:  # fmt: skip
    """The order of the options; lengths go to the checks that have one, in their order."""
    if not checks:
        raise UsageError("no check is named", None, "give --check CHECK, or --check none")
    if "none" in checks and len(checks) > 1:
        raise UsageError("--check none stands alone", None, "leave it out or the others")
    faults = () if checks == ("none",) else checks
    with_length = [c for c in faults if c in told.LENGTHS]
    if len(lengths) > len(with_length):
        raise UsageError(
            f"{len(lengths)} lengths for {len(with_length)} checks that have one", None,
            "give --mm once for each of them",
        )  # fmt: skip
    mm = dict(zip(with_length, lengths, strict=False))
    shown = view or "inside"
    return Order(
        seed, faults, mm, cables or ("1.5",), shown, card, difficulty, sheath, colours, light, poor
    )


def _truth_of(out: Path) -> Path:
    return out.with_name(f"{out.stem}.truth.json")


def _render(order: Order, out: Path, width: int) -> None:
    """Render and write both files; the answer first, so that no photo stands without one."""
    from audit.batch.atomic import write_bytes
    from audit.training.renderer import make

    made = make(order, out.name, width)
    try:
        write_bytes(_truth_of(out), made.truth.encode())
        write_bytes(out, made.jpeg)
    except OSError as exc:
        reason = exc.strerror or str(exc)
        raise UsageError(
            f"the photo can't be written ({reason})", Where(out), "give another place with --out"
        ) from exc


def _whole_set(index: Path, again: bool, width: int) -> int:
    """Render the photos of an index, in its order, and write the check sums of all."""
    import hashlib

    from audit.batch.atomic import write_bytes
    from audit.training.practice_set import read_set

    photos = read_set(index)
    for photo in photos:
        out, truth = index.with_name(photo.file), index.with_name(photo.truth_file)
        if again or not (out.is_file() and truth.is_file()):
            _render(photo.order, out, width)
            click.echo(f"{photo.file}", err=True)
    sums = [
        f"{hashlib.sha256(index.with_name(name).read_bytes()).hexdigest()}  {name}\n"
        for photo in photos
        for name in (photo.file, photo.truth_file)
    ]
    write_bytes(index.with_name(_SUMS), "".join(sums).encode())
    click.echo(f"{len(photos)} photos in {click.format_filename(index.parent)}.")
    return ExitCode.DONE
