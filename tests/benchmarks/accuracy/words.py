"""Sentences and the short table of the accuracy page, made from the figures."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from audit.bench.score import BenchResult, CheckScore, Counts
from audit.bench.show import percent
from audit.bench.stats import Share, Spread, share
from tests.benchmarks.accuracy.stored import Run, Stored, Worst
from tests.benchmarks.accuracy.tables import limited, table

SHORT: tuple[tuple[str, str, str | None], ...] = (
    ("copper 2 mm or more beyond a terminal", "copper-beyond-terminal", "2 mm or more"),
    ("cores 3 mm or more outside the grip", "core-outside-grip", "3 mm or more"),
    ("cores 3 mm or more outside the enclosure", "core-outside-enclosure", "3 mm or more"),
    ("CPC cut short", "cpc-cut-short", None),
    ("CPC without sleeving", "cpc-unsleeved", None),
    ("wrong core colours", "core-colours", None),
)
"""Lines of the short table: what, its check, and from which true size on."""
POOR_IOU = 0.5


def number(value: float | None, digits: int) -> str:
    """Write a number, or a dash for none."""
    return "-" if value is None else f"{value:.{digits}f}"


def summary(stored: Stored) -> str:
    """Write what matters most, with the sets side by side."""
    sets = list(stored.sets.values())
    rows = [[name, *(tell(s) for s in sets)] for name, tell in _summary_lines()]
    return table(("figure", *stored.sets), rows)


def _summary_lines() -> Iterator[tuple[str, Callable[[BenchResult], str]]]:
    yield "photos", lambda r: str(r.photos.photos)
    yield (
        "**wrongly clear**, faults of 1 mm or more or without a length",
        lambda r: percent(r.wrongly_clear_1mm),
    )
    for what, check, band in SHORT:
        yield f"{what}: recall", _of_counts(check, band, lambda c: c.recall)
        yield f"{what}: precision", _of_counts(check, band, lambda c: c.precision)
    yield "photos too poor to judge that were refused", lambda r: percent(r.photos.unusable_refused)
    yield "usable photos that were refused", lambda r: percent(r.photos.usable_refused)
    yield "findings that say unsure", lambda r: percent(r.unsure_of_usable)
    yield "lengths: median error, mm", lambda r: _median(r.lengths["all"].error_mm, 2)
    yield "lengths: true length within U95", lambda r: percent(r.lengths["all"].within_u95)
    yield "expected calibration error of `score`", lambda r: number(r.reliability.ece, 3)
    yield "processor seconds a photo, median", lambda r: _median(r.photos.seconds, 1)


def _median(of: Spread, digits: int) -> str:
    return limited(of.median_abs, of.median_low, of.median_high, digits)


def _of_counts(
    check: str, band: str | None, part: Callable[[Counts], Share]
) -> Callable[[BenchResult], str]:
    def tell(result: BenchResult) -> str:
        score = result.checks.get(check)
        counts = score and (score.bands.get(band) if band else score.all)
        return percent(part(counts)) if counts else "-"

    return tell


def runs(stored: Stored) -> str:
    """Write when and with what each file of figures was measured."""
    there = [*stored.sets, *(["harm"] if stored.harms else [])]
    noted = {name: stored.measured.runs.get(name) for name in there}
    rows = [
        [f"`{name}`", *(_run(run) if run else ["not noted"] * 5)] for name, run in noted.items()
    ]
    head = ("figures", "photos", "measured on (UTC)", "lidoff", "models", "photos and truth")
    return table(head, rows)


def _run(run: Run) -> list[str]:
    digests = (run.models_sha256, run.photos_sha256)
    told = (f"`{digest[:16]}`" if digest else "not noted" for digest in digests)
    return [str(run.photos), run.date, run.version, *told]


def staleness(stored: Stored) -> list[str]:
    """Say which figures were measured with other models than those in the tree."""
    lines = []
    for name, run in stored.measured.runs.items():
        if run.models_sha256 is None:
            lines.append(
                f"With which models `{name}` was measured was not noted, so its figures may be of "
                "earlier ones."
            )
        elif run.models_sha256 != stored.models_now:
            lines.append(
                f"**The models have changed since `{name}` was measured: its figures are of "
                "earlier ones.**"
            )
    return lines


def told(one: Worst) -> str:
    """Tell one of the worst: what is true, what was said, and why."""
    true = "" if one.true_mm is None else f", {one.true_mm:.1f} mm"
    truth = f"no fault{true}" if one.verdict == "false flag" else f"fault{true}"
    return f"`{one.photo}`, {one.check}: {truth}; {_said(one)}"


def plain(one: Worst) -> str:
    """Tell the same for those who don't see the picture."""
    return f"The place in {one.photo}: {one.check}, {one.verdict}"


def _said(one: Worst) -> str:
    stated = "" if one.said_mm is None else f", {one.said_mm:.1f} mm"
    score = "" if one.score is None else f", score {one.score:.2f}"
    says = {
        "said clear": "called clear",
        "silent": "nothing was said of it",
        "false flag": "flagged",
        "refused": "the photo was refused",
        "unsure": "unsure",
    }[one.verdict]
    why = f" ({one.why.rstrip('.')})" if one.why else ""
    return f"**{says}**{stated}{score}{why}."


def cannot(r: BenchResult) -> Iterator[str]:
    """Say what the figures of one set show to be beyond the tool."""
    c, p = r.all_checks, r.photos
    yield (
        f"It misses faults in plain view: {percent(r.wrongly_clear_1mm)} of those of 1 mm or more or "
        f"without a length. Of {c.visible_faults} faults of any size it called {c.said_clear} clear "
        f"and passed over {c.silent}."
    )
    yield f"It leaves much to you: {percent(r.unsure_of_usable)} of its findings say unsure."
    yield f"It flags what is no fault: {percent(_rest(c.precision))} of its flags are false."
    parts = [f"{name} {percent(s.all.recall)}" for name, s in _weakest_first(r)]
    yield f"It flags of the faults in plain view, weakest check first: {'; '.join(parts)}."
    yield from _lengths(r)
    yield (
        f"It finds no wall line for {percent(_rest(p.walls_given))} of the walls and no grip line for "
        f"{percent(_rest(p.grips_given))} of the grips, and so can't measure from them."
    )
    if p.unusable_refused.of:
        yield f"It reads {percent(_rest(p.unusable_refused))} of the photos too poor to judge all the same."
    poor = [m for m in r.materials if m.iou is not None and m.iou < POOR_IOU]
    if poor:
        named = ", ".join(
            f"{m.material} ({m.iou:.2f})" for m in sorted(poor, key=lambda m: m.iou or 0)
        )
        yield f"It tells these materials badly (IoU below {POOR_IOU}): {named}."
    if r.failures:
        yield f"It broke on {len(r.failures)} of {p.photos} photos, and nothing was read from those."


def _lengths(r: BenchResult) -> Iterator[str]:
    everything = r.lengths["all"]
    if everything.error_mm.median_abs is not None:
        yield (
            f"Its lengths are rough: half of them are off by more than "
            f"{number(everything.error_mm.median_abs, 1)} mm, one in twenty by more than "
            f"{number(everything.error_mm.p95_abs, 1)} mm. The U95 it states holds in "
            f"{percent(everything.within_u95)}, where 95 % is claimed."
        )
    if everything.bounds_held.of:
        yield (
            f"Of the lengths it gives as *at least* or *at most*, {percent(everything.bounds_held)} "
            "are right about the side."
        )


def _weakest_first(r: BenchResult) -> list[tuple[str, CheckScore]]:
    asked = [(name, s) for name, s in r.checks.items() if s.all.recall.of]
    return sorted(asked, key=lambda pair: pair[1].all.recall.value or 0.0)


def _rest(part: Share) -> Share:
    return share(part.of - part.count, part.of)
