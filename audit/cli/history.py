"""`lidoff history`: what was found of a fitter's work across jobs, from signed records alone."""

from __future__ import annotations

import json
from pathlib import Path

import click

from audit.batch.atomic import write_bytes
from audit.cli._told import printable
from audit.errors import ExitCode, UsageError, Where
from audit.job.text import same_key
from audit.record.keys import load_public_key
from audit.sampling.chart import ChartKind, chart
from audit.sampling.gather import gather
from audit.sampling.history import FitterHistory, Gathered, histories, without_names
from audit.sampling.page import CAUTIONS, as_json, chart_words, figure, page, percent, span


@click.command()
@click.argument(
    "folders", metavar="DIR...", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="The page to write; by default history.html here.",
)
@click.option("--fitter", help="Only this fitter.")
@click.option("--without-names", "hidden", is_flag=True, help="Letters in place of names.")
@click.option(
    "--key",
    "key_files",
    multiple=True,
    type=click.Path(path_type=Path),
    help="Public key (.pub) that counts; repeat it. By default any signature does.",
)
@click.option(
    "--chart", "kind", type=click.Choice(["p", "u"]), default="p", show_default=True,
    help="p: share of faulty fittings; u: faults for each fitting.",
)  # fmt: skip
@click.option("--json", "json_out", is_flag=True, help="Write one JSON object on stdout, no page.")
def command(
    folders: tuple[Path, ...],
    out: Path | None,
    fitter: str | None,
    hidden: bool,
    key_files: tuple[Path, ...],
    kind: ChartKind,
    json_out: bool,
) -> int:
    """Tell what was found of each fitter's work in the job folders DIR.

    Only what is signed off counts; what is left out is listed with the reason.
    A help to teach: few fittings say little. Exit code 0: all counted; 1: a
    job or a part of one is left out; 3: a folder can't be read; 4: a record
    does not hold (the others are told all the same).
    """
    keys = [load_public_key(path) for path in key_files]
    found = gather(folders, keys)
    code = _code(found)
    chosen = _only(found, fitter)
    if hidden:
        chosen = without_names(chosen)
    for left in chosen.left_out:
        click.echo(f"lidoff: {printable(left.job)}: left out, {printable(left.why)}", err=True)
    people = histories(chosen.judged)
    if json_out:
        click.echo(json.dumps(as_json(people, chosen, hidden=hidden), ensure_ascii=False, indent=1))
        return code
    target = out or Path("history.html")
    text = page(people, chosen, kind, keys_given=bool(keys), hidden=hidden)
    try:
        write_bytes(target, text.encode("utf-8"))
    except OSError as exc:
        raise UsageError(
            f"the page can't be written ({exc.strerror})", Where(target), "name another file"
        ) from exc
    click.echo("\n".join(printable(x) for x in _said(people, kind)))
    click.echo(f"Page: {target}")
    return code


def _only(found: Gathered, fitter: str | None) -> Gathered:
    if fitter is None:
        return found
    mine = [i for i in found.judged if i.fitter and same_key(i.fitter) == same_key(fitter)]
    if not mine and found.judged:
        known = sorted({i.fitter for i in found.judged if i.fitter})
        raise UsageError(
            f"no signed record tells of a fitter {fitter!r}",
            next_step=f"one of {', '.join(known[:8])}" if known else "leave --fitter out",
        )
    return Gathered(mine, found.left_out, found.keys, found.signed)


def _code(found: Gathered) -> ExitCode:
    kinds = {x.kind for x in found.left_out}
    if "damaged" in kinds:
        return ExitCode.RECORD
    if "unreadable" in kinds:
        return ExitCode.UNREADABLE
    return ExitCode.OPEN_POINTS if kinds else ExitCode.DONE


def _said(people: tuple[FitterHistory, ...], kind: ChartKind) -> list[str]:
    lines = list(CAUTIONS)
    for h in people:
        if h.fittings.share is None or h.fittings.interval is None:
            lines.append(f"{h.name}: nothing decided by somebody else yet.")
            continue
        small = " Small sample." if h.few else ""
        lines.append(
            f"{h.name}: {h.fittings.faults} of {h.fittings.of} fittings had a confirmed fault, "
            f"{percent(h.fittings.share)} (95 %: {span(h.fittings.interval)}).{small}"
        )
        lines.append(f"  {chart_words(chart(h.by_month, kind))}")
        a = h.own.agreement
        if a is not None and a.kappa is not None:
            lines.append(
                f"  Own word against what was decided: {a.agreed} of {a.n} alike, "
                f"kappa {figure(a.kappa)} (95 %: {figure(a.low or 0)} to {figure(a.high or 0)})."
            )
    if not people:
        lines.append("No signed record tells who fitted what.")
    return lines
