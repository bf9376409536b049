"""Tables of the accuracy page, as Markdown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from audit.bench.score import BenchResult, CheckScore, Counts, Lengths, PhotoScores
from audit.bench.show import percent
from audit.bench.stats import Reliability, Spread
from tests.benchmarks.accuracy.stored import Harm

_COUNTS = (
    "faults", "flag", "unsure", "clear", "silent", "refused", "false", "recall", "precision",
    "flagged or unsure", "wrongly clear",
)  # fmt: skip
_LENGTHS = ("n", "bias", "median", "95th percentile", "within U95", "bounds that hold")
TAGS = {
    "light": "Light",
    "background": "Background",
    "box": "Box",
    "terminal": "Terminal",
    "grip": "Grip",
    "view": "View",
    "cable_sizes": "Cable sizes in the photo",
    "fingers": "Fingers in the photo",
    "poor": "Too poor to judge, by cause",
}
"""Kinds of tags that get a table, in this order; card and family are told elsewhere."""


def table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Write a Markdown table: the first column to the left, the others to the right."""
    lines = [head, ["---", *["--:"] * (len(head) - 1)], *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def _counts(c: Counts) -> list[str]:
    numbers = (
        c.visible_faults, c.right_flags, c.unsure, c.said_clear, c.silent, c.refused, c.false_flags,
    )  # fmt: skip
    shares = (c.recall, c.precision, c.flagged_or_unsure, c.wrongly_clear)
    return [*(str(n) for n in numbers), *(percent(s) for s in shares)]


def _says_something(c: Counts) -> bool:
    return bool(c.visible_faults or c.precision.of)


def checks(result: BenchResult) -> str:
    """Counts and shares by check and true size."""
    rows = []
    for check, score in result.checks.items():
        rows.append([f"**{check}**", *_counts(score.all)])
        rows += [[name, *_counts(c)] for name, c in score.bands.items() if _says_something(c)]
    rows.append(["**all checks**", *_counts(result.all_checks)])
    return table(("check, true size", *_COUNTS), rows)


def cards(result: BenchResult) -> str:
    """Counts and shares with and without card; by size too where the figures tell that."""
    rows = []
    for check, score in result.checks.items():
        rows += _card_rows(check, score)
    for tag, name in (("card:yes", "with card"), ("card:no", "without card")):
        if tag in result.tags:
            rows.append([f"**all checks, {name}**", *_counts(result.tags[tag])])
    return table(("check, card, true size", *_COUNTS), rows)


def _card_rows(check: str, score: CheckScore) -> list[list[str]]:
    sizes = ["all", *score.bands]
    rows = []
    for size in sizes:
        for name, parts in score.cards.items():
            if size in parts and _says_something(parts[size]):
                title = f"**{check}, {name}**" if size == "all" else f"{size}, {name}"
                rows.append([title, *_counts(parts[size])])
    return rows


def by_tag(result: BenchResult) -> dict[str, str]:
    """One table for each kind of tag, by its title; kinds of which nothing is told are left out."""
    found = {}
    for kind, title in TAGS.items():
        mine = {
            tag.partition(":")[2]: c for tag, c in result.tags.items() if tag.startswith(f"{kind}:")
        }
        rows = [[name, *_counts(c)] for name, c in mine.items() if _says_something(c)]
        if rows:
            found[title] = table((title.lower(), *_COUNTS), rows)
    return found


def _span(errors: Spread, digits: int) -> list[str]:
    if errors.bias is None or errors.median_abs is None or errors.p95_abs is None:
        return ["0", "-", "-", "-"]
    median = limited(errors.median_abs, errors.median_low, errors.median_high, digits)
    p95 = limited(errors.p95_abs, errors.p95_low, errors.p95_high, digits)
    return [str(errors.n), f"{errors.bias:+.{digits}f}", median, p95]


def limited(value: float | None, low: float | None, high: float | None, digits: int) -> str:
    """Write a value with its 95 % limits, as far as there are any: `1.07 (0.88-1.52)`."""
    if value is None or low is None:
        return "-" if value is None else f"{value:.{digits}f}"
    upper = "" if high is None else f"{high:.{digits}f}"
    return f"{value:.{digits}f} ({low:.{digits}f}-{upper})"


def lengths(result: BenchResult) -> str:
    """Errors of stated lengths by check, with and without card."""
    rows = []
    for check, score in result.checks.items():
        rows += [[f"{check}, {name}", *_lengths(part)] for name, part in score.lengths.items()]
    rows += [[f"**all checks, {name}**", *_lengths(part)] for name, part in result.lengths.items()]
    return table(("check, photos", *_LENGTHS), rows)


def _lengths(part: Lengths) -> list[str]:
    return [*_span(part.error_mm, 2), percent(part.within_u95), percent(part.bounds_held)]


def photo_shares(p: PhotoScores) -> str:
    """Shares that are told by photo or by line."""
    shares = {
        "photos too poor to judge that were refused": p.unusable_refused,
        "usable photos that were refused": p.usable_refused,
        "card found, two markers or more in view": p.card_found,
        "card found where there is none": p.card_imagined,
        "true scale within the stated U95": p.scale_within_u95,
        "wall lines given, of those there are": p.walls_given,
        "grip lines given, of those there are": p.grips_given,
    }
    rows = [[name, str(s.count), str(s.of), percent(s)] for name, s in shares.items()]
    rows.append(
        ["findings that say clear on photos too poor to judge", str(p.clear_on_unusable), "", ""]
    )
    return table(("measure", "count", "of", "share"), rows)


def photo_spreads(p: PhotoScores) -> str:
    """Errors of scale and lines, and the time a photo takes."""
    errors = {
        "scale in the card's own plane, relative": (p.scale_error_in_card, 4),
        "scale at the work by card, relative": (p.scale_error_card, 3),
        "scale, all photos, relative": (p.scale_error_all, 3),
        "wall line, mm": (p.wall_error_mm, 2),
        "grip line, mm": (p.grip_error_mm, 2),
    }
    rows = [[name, *_span(spread, digits)] for name, (spread, digits) in errors.items()]
    return table(("error of", "n", "bias (mean)", "median", "95th percentile"), rows)


def seconds(p: PhotoScores) -> str:
    """Processor time a photo takes."""
    if not p.seconds.n:
        return "No times: ready-made records were scored."
    times = {"processor seconds a photo": p.seconds, "times the Photo stage": p.times_photo_stage}
    rows = [[name, *(cell.lstrip("+") for cell in _span(s, 1))] for name, s in times.items()]
    return table(("time", "n", "mean", "median", "95th percentile"), rows)


def reliability(r: Reliability) -> str:
    """How often the fault was there, by stated score."""
    rows = [
        [f"{b.low:.1f} to {b.high:.1f}", str(b.n), f"{b.mean_score:.2f}", f"{b.fault_rate:.2f}"]
        for b in r.bins
    ]
    return table(("score", "findings", "mean score", "share with the fault"), rows)


def materials(result: BenchResult) -> str:
    """IoU by material."""
    rows = [
        [m.material, f"{m.iou:.3f}", f"{m.true_px:,}", f"{m.found_px:,}"]
        for m in result.materials
        if m.iou is not None
    ]
    return table(("material", "IoU", "true px", "found px"), rows)


def harm(one: Harm) -> str:
    """What became of the findings as one harm grows."""
    columns = (
        "findings", "flag_to_clear", "flag_to_unsure", "flag_to_silent", "clear_to_flag",
        "clear_to_unsure", "unsure_to_flag", "unsure_to_clear", "refused", "flags", "clears",
    )  # fmt: skip
    rows = [[f"{x.level:g}", *(str(getattr(x, name)) for name in columns)] for x in one.levels]
    return table((one.unit, *(name.replace("_", " ") for name in columns)), rows)
