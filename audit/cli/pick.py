"""`lidoff pick`: a spot check: which fittings to look at, why these, and what it proves."""

from __future__ import annotations

import json
import secrets
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from audit.cli._told import printable
from audit.errors import ExitCode, UsageError
from audit.job.read import Job, load_job
from audit.record.evidence import load_evidence
from audit.record.record import Record
from audit.record.seal import NAME as SEAL
from audit.record.state import standings
from audit.record.store import FILE
from audit.record.verify import Verified, verify_job
from audit.rules.house import load_house
from audit.sampling.draw import Unit
from audit.sampling.looks import looks
from audit.sampling.lot import DEFAULT_STRATA, checks_of, fittings_of, frame_of, strata_by
from audit.sampling.outcome import NextStep, Outcome, next_step, outcome, picked
from audit.sampling.plans import LEVELS, SEVERITIES, Level, Severity, aqls
from audit.sampling.recorded import (
    Announcement,
    Drawn,
    announce,
    chosen,
    draws,
    family,
    finish,
    replay,
    units,
)
from audit.sampling.sizing import Sized, by_chance, by_plan
from audit.sampling.switching import Lot, Scheme
from audit.sampling.told import (
    draw_json,
    draw_lines,
    history_lines,
    result_json,
    result_lines,
)


class _LotType(click.ParamType[Lot]):
    name = "SIZE:FAULTY[:STOP]"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Lot:
        if isinstance(value, Lot):
            return value
        parts = str(value).split(":")
        if len(parts) not in (2, 3) or not all(map(_is_count, parts)):
            self.fail(
                f"{value!r} is no earlier lot; write SIZE:FAULTY or SIZE:FAULTY:STOP", param, ctx
            )
        return Lot(*(int(p) for p in parts))


def _is_count(text: str) -> bool:
    # Python itself refuses to read thousands of digits, by an error of its own.
    return text.strip().isdecimal() and len(text) < 20


@dataclass(frozen=True)
class _Asked:
    """The options that decide a draw."""

    if_bad: int | None
    confidence: float
    plan: str | None
    aql: str
    level: Level
    earlier: tuple[Lot, ...]
    reduced_agreed: bool
    of_lot: str
    strata: str
    checks: tuple[str, ...]
    seed: str | None
    by: str | None


@click.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--if-bad", type=int, help="So many bad fittings must not all be overlooked.")
@click.option(
    "--confidence", type=float, default=0.95, show_default=True, help="Chance of seeing one then."
)
@click.option(
    "--plan",
    type=click.Choice([*SEVERITIES, "by-history"]),
    help="An ISO 2859-1 single plan instead; by-history switches by the earlier lots.",
)
@click.option(
    "--aql", type=click.Choice(aqls()), default="1.0", show_default=True, help="Of the plan."
)
@click.option(
    "--level", type=click.Choice(LEVELS), default="II", show_default=True, help="Of the plan."
)
@click.option(
    "--earlier", type=_LotType(), multiple=True, help="An earlier lot, oldest first; repeat it."
)
@click.option(
    "--reduced-agreed", is_flag=True, help="Who answers for it agrees to reduced inspection."
)
@click.option(
    "--of-lot",
    default="all",
    show_default=True,
    help="all, room:NAME, circuit:NAME or fitted-by:NAME.",
)
@click.option(
    "--strata",
    default=",".join(DEFAULT_STRATA),
    show_default=True,
    help="Groups to share the draw out among; none for a simple draw.",
)
@click.option("--check", "checks", multiple=True, help="Only this check; repeat it for more.")
@click.option("--seed", help="Take this seed; by default the operating system gives one.")
@click.option("--by", help="Who draws; written into the record.")
@click.option("--result", is_flag=True, help="Draw nothing: tell what a draw proves so far.")
@click.option("--widen", is_flag=True, help="Draw more beside a draw, as its result asks.")
@click.option(
    "--draws", "list_draws", is_flag=True, help="Draw nothing: list every draw, drawn again."
)
@click.option("--draw", "number", type=int, help="Which draw --result or --widen is about.")
@click.option("--json", "as_json", is_flag=True, help="Write one JSON object on stdout.")
def command(
    folder: Path, result: bool, widen: bool, list_draws: bool, number: int | None, as_json: bool,
    **asked: Any,
) -> int:  # fmt: skip
    """Draw the fittings of the job folder DIR for a spot check, and record the draw.

    Without --plan the size follows from what must be shown: --if-bad 2 draws
    enough to see one of 2 bad fittings with a chance of 95 %. Seed, frame and
    method are on record before the draw; a further draw is a further entry.
    Exit code 0: drawn, or nothing faulty and nothing undecided; 1 (--result):
    something is; 2: asked for what can't be; 3: the job can't be read; 4: the
    record does not hold; 5: the record is held by something else.
    """
    if sum((result, widen, list_draws)) > 1:
        raise UsageError("--result, --widen and --draws are three things", next_step="ask for one")
    if number is not None and not (result or widen):
        raise UsageError("--draw goes with --result or --widen", next_step="leave it out")
    job = load_job(folder)
    if list_draws:
        return _list(job, as_json)
    if result:
        return _result(job, number, as_json)
    if widen:
        return _widen(job, number, asked["seed"], asked["by"], as_json)
    return _draw(job, _Asked(**asked), as_json)


def _draw(job: Job, asked: _Asked, as_json: bool) -> int:
    named = job.facts.house_rules
    house = load_house(job.root / named, named) if named else None
    by_what = strata_by(asked.strata)
    frame = frame_of(fittings_of(job.facts, asked.of_lot), by_what)
    checks = checks_of(house, asked.checks, job.facts.job.hold_point)
    seed, seed_from = _seed(asked.seed)
    sized = _sized(frame, asked, seed, any(c["weight"] == "stop" for c in checks))
    record = Record.open(job.root, job=job.facts.job.name)
    said = Announcement(
        frame, by_what, sized.n, len(frame), _lot_words(asked.of_lot), sized.asked, checks,
        seed, seed_from,
    )  # fmt: skip
    return _make(record, said, asked.by, sized.words, as_json)


def _make(
    record: Record, said: Announcement, by: str | None, words: tuple[str, ...], as_json: bool
) -> int:
    finish(record)  # one that was cut short comes first
    entry = announce(record, said, by)
    finish(record)
    found = draws(record.fold())
    drawn = next(d for d in found if d.entry.hash == entry.hash)
    if as_json:
        _json(draw_json(drawn, words, len(found)))
    else:
        _say(draw_lines(drawn, words, len(found)))
    return ExitCode.DONE


def _seed(given: str | None) -> tuple[str, Any]:
    if given is None:
        return secrets.token_hex(16), "drawn"
    if not given.strip() or not given.isprintable() or len(given) > 200:
        raise UsageError(
            "--seed is no seed", next_step="give 1 to 200 printable characters, or leave it out"
        )
    return given, "given"


def _lot_words(of_lot: str) -> str:
    return "all fittings of the job" if of_lot.casefold().strip() == "all" else of_lot


def _sized(frame: tuple[Unit, ...], asked: _Asked, seed: str, has_stop: bool) -> Sized:
    if asked.plan is None and not asked.earlier:
        bad = min(2, len(frame)) if asked.if_bad is None else asked.if_bad
        return by_chance(frame, bad, asked.confidence, seed)
    if asked.if_bad is not None:
        raise UsageError("--if-bad and --plan are two ways to a size", next_step="take one of them")
    severity: Severity | None = None if asked.plan in (None, "by-history") else asked.plan  # type: ignore[assignment]
    if severity is not None and asked.earlier:
        raise UsageError(
            f"--plan {severity} does not heed earlier lots", next_step="take --plan by-history"
        )
    scheme = Scheme(asked.aql, asked.level, reduced_agreed=asked.reduced_agreed)
    return by_plan(len(frame), scheme, severity, asked.earlier, has_stop)


def _held(job: Job, *, with_folder: bool = True) -> Verified:
    """The record, checked (with the folder where wanted); what does not hold first is raised."""
    if not (job.root / FILE).exists() and not (job.root / SEAL).exists():
        chosen((), None)  # says that nothing was drawn yet
    found = verify_job(job.root)
    own = (FILE, SEAL)
    problems = [p for p in found.problems if with_folder or str(p.where) in own]
    problems += replay(found.fold)
    if problems:
        raise problems[0]
    return found


def _outcome(job: Job, number: int | None) -> tuple[Outcome, NextStep]:
    held = _held(job)
    found = draws(held.fold)
    drawn = family(found, chosen(found, number))
    evidence = load_evidence(job.root)
    got = outcome(drawn, standings(held.fold, evidence), looks(held.entries))
    return got, next_step(got)


def _result(job: Job, number: int | None, as_json: bool) -> int:
    got, step = _outcome(job, number)
    if as_json:
        _json(result_json(got, step))
    else:
        _say(result_lines(got, step))
    return ExitCode.OPEN_POINTS if got.open else ExitCode.DONE


def _widen(job: Job, number: int | None, seed: str | None, by: str | None, as_json: bool) -> int:
    got, step = _outcome(job, number)
    first = got.draws[0]
    more = step.size - len(got.picked)
    if more <= 0:
        raise UsageError(f"draw {first.number} asks for no more", next_step=step.words)
    already = set(picked(got.draws))
    rest = tuple(u for u in units(first.data) if u.label not in already)
    taken, seed_from = _seed(seed)
    said = Announcement(
        rest, tuple(first.data.strata_by), more, first.data.lot, first.data.lot_words,
        {"by": "widening", "of": first.number, "to": step.size},
        [{"id": c.id, "weight": c.weight} for c in first.data.checks],
        taken, seed_from, first.entry.hash,
    )  # fmt: skip
    record = Record.open(job.root)
    words = f"Widens draw {first.number} to {step.size} of {first.data.lot} fittings, because of what was found."
    return _make(record, said, by, (words,), as_json)


def _list(job: Job, as_json: bool) -> int:
    found: tuple[Drawn, ...] = draws(_held(job, with_folder=False).fold)
    if as_json:
        _json({"schema": "lidoff.picks/1", "draws": [draw_json(d, (), len(found)) for d in found]})
    else:
        many = "1 draw" if len(found) == 1 else f"{len(found)} draws"
        _say([*history_lines(found), f"{many}; each drawn again, and the same came out."])
    return ExitCode.DONE


def _say(lines: list[str]) -> None:
    click.echo("\n".join(printable(line) for line in lines))


def _json(body: dict[str, Any]) -> None:
    click.echo(json.dumps(body, ensure_ascii=False, indent=1))
