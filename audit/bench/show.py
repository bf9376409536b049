"""The benchmark as tables to read, and as a CSV row an item for finding out why."""

from __future__ import annotations

import csv
import dataclasses
from collections.abc import Sequence
from io import StringIO
from pathlib import Path
from typing import TextIO

from rich.console import Console
from rich.table import Table

from audit.bench.rows import Row
from audit.bench.score import BenchResult, Counts, Lengths, PhotoScores, Scored
from audit.bench.stats import Share, Spread

WIDTH = 150
_BADNESS = {"said clear": 0, "silent": 1, "false flag": 2, "refused": 3, "unsure": 4}


def percent(part: Share) -> str:
    """Write a share as a percentage with its 95 % interval: `95.0 % (75.1-99.9)`."""
    if part.value is None or part.low is None or part.high is None:
        return "-"
    return f"{part.value:.1%} ({100 * part.low:.1f}-{100 * part.high:.1f})".replace("%", " %", 1)


def _span(errors: Spread, digits: int = 2) -> tuple[str, str, str, str]:
    if errors.bias is None or errors.median_abs is None or errors.p95_abs is None:
        return "0", "-", "-", "-"
    return (
        str(errors.n),
        f"{errors.bias:+.{digits}f}",
        f"{errors.median_abs:.{digits}f}",
        f"{errors.p95_abs:.{digits}f}",
    )


def write_text(result: BenchResult, out: TextIO) -> None:
    """Write all tables, plain text, at most 150 columns wide."""
    text = StringIO()
    console = Console(file=text, width=WIDTH, highlight=False)
    title = f"{result.photos.photos} photos of {result.folder}; 95 % intervals in brackets"
    console.print(title, markup=False)
    for table in (
        _checks_table(result),
        _lengths_table(result),
        _photos_table(result.photos),
        _doubt_table(result),
        _materials_table(result),
    ):
        console.print(table)
    for check, count in result.not_scored.items():
        console.print(f"not scored: {count} finding(s) of {check}, of which the truth says nothing")
    for failure in result.failures:
        console.print(f"failed: {failure.photo}: {failure.what}", markup=False, soft_wrap=True)
    out.write("".join(f"{line.rstrip()}\n" for line in text.getvalue().splitlines()))


def _table(title: str, *columns: str) -> Table:
    table = Table(title=title, title_justify="left", box=None, pad_edge=False, padding=(0, 1))
    table.add_column(columns[0], no_wrap=True)
    for name in columns[1:]:
        table.add_column(name, justify="right", no_wrap=True)
    return table


def _checks_table(result: BenchResult) -> Table:
    table = _table(
        "\nFindings (visible faults in usable photos)",
        "check, true size", "faults", "flag", "unsure", "clear", "silent", "refused", "false",
        "recall", "precision", "wrongly clear",
    )  # fmt: skip
    for check, score in result.checks.items():
        table.add_row(check, *_counts_row(score.all))
        for band, counts in score.bands.items():
            if counts.visible_faults or counts.precision.of:
                table.add_row(f"  {band}", *_counts_row(counts))
    table.add_row("all checks", *_counts_row(result.all_checks))
    return table


def _counts_row(c: Counts) -> list[str]:
    numbers = (c.visible_faults, c.right_flags, c.unsure, c.said_clear, c.silent, c.refused)
    return [
        *(str(n) for n in numbers),
        str(c.false_flags),
        percent(c.recall),
        percent(c.precision),
        percent(c.wrongly_clear),
    ]


def _lengths_table(result: BenchResult) -> Table:
    table = _table(
        "\nLengths (stated less true, mm)",
        "check, photos", "n", "bias", "median", "95th pc.", "within U95", "bounds that hold",
    )  # fmt: skip
    for check, score in result.checks.items():
        for photos, lengths in score.lengths.items():
            table.add_row(f"{check}, {photos}", *_lengths_row(lengths))
    for photos, lengths in result.lengths.items():
        table.add_row(f"all checks, {photos}", *_lengths_row(lengths))
    return table


def _lengths_row(lengths: Lengths) -> list[str]:
    return [*_span(lengths.error_mm), percent(lengths.within_u95), percent(lengths.bounds_held)]


def _photos_table(p: PhotoScores) -> Table:
    table = _table("\nPhotos", "measure", "n", "value", "median", "95th pc.")

    def add_share(name: str, part: Share) -> None:
        table.add_row(name, str(part.of), percent(part), "", "")

    def add_spread(name: str, errors: Spread, digits: int = 2) -> None:
        n, mean, median, p95 = _span(errors, digits)
        table.add_row(name, n, f"mean {mean}", median, p95)

    add_share("unusable photos refused", p.unusable_refused)
    add_share("usable photos refused", p.usable_refused)
    table.add_row("clear said on unusable photos", "", str(p.clear_on_unusable), "", "")
    add_share("card found, two markers or more in view", p.card_found)
    add_share("card found where there is none", p.card_imagined)
    add_spread("scale error in the card's plane, relative", p.scale_error_in_card, 4)
    add_spread("scale error by card at the work, relative", p.scale_error_card, 3)
    add_spread("scale error, all, relative", p.scale_error_all, 3)
    add_share("true scale within U95", p.scale_within_u95)
    add_share("wall lines given", p.walls_given)
    add_spread("wall line error, mm", p.wall_error_mm)
    add_share("grip lines given", p.grips_given)
    add_spread("grip line error, mm", p.grip_error_mm)
    add_spread("processor seconds a photo", p.seconds)
    add_spread("times the Photo stage", p.times_photo_stage)
    return table


def _doubt_table(result: BenchResult) -> Table:
    ece = "-" if result.reliability.ece is None else f"{result.reliability.ece:.3f}"
    table = _table("\nDoubt", "measure", "n", "score, mean", "faults")
    unsure, wrongly = result.unsure_of_usable, result.wrongly_clear_1mm
    table.add_row("unsure, of usable photos' findings", str(unsure.of), percent(unsure), "")
    table.add_row(
        "wrongly clear, faults of 1 mm or more or without a length",
        str(wrongly.of), percent(wrongly), "",
    )  # fmt: skip
    table.add_row("expected calibration error", str(result.reliability.n), ece, "")
    for b in result.reliability.bins:
        name = f"  score {b.low:.1f} to {b.high:.1f}"
        table.add_row(name, str(b.n), f"{b.mean_score:.2f}", f"{b.fault_rate:.2f}")
    return table


def _materials_table(result: BenchResult) -> Table:
    table = _table("\nMaterials (usable photos)", "material", "IoU", "true px", "found px")
    for m in result.materials:
        if m.iou is not None:
            table.add_row(m.material, f"{m.iou:.3f}", str(m.true_px), str(m.found_px))
    return table


def write_dump(photos: Sequence[Scored], path: Path) -> None:
    """Write a CSV row for each truth item and each finding without one."""
    names = [f.name for f in dataclasses.fields(Row)]
    with path.open("w", encoding="utf-8", newline="") as out:
        writer = csv.DictWriter(out, [*names, "error_mm"])
        writer.writeheader()
        for row in (row for photo in photos for row in photo.rows):
            cells = {name: getattr(row, name) for name in names}
            writer.writerow({**cells, "tags": " ".join(row.tags), "error_mm": row.error_mm})


def worst(photos: Sequence[Scored], count: int) -> list[Row]:
    """Pick the worst rows: wrongly clear first (longest first), then false flags, misses, doubt."""
    rows = [r for p in photos for r in p.rows if _counts_against(r)]
    return sorted(rows, key=_how_bad)[:count]


def _counts_against(row: Row) -> bool:
    return row.verdict == "false flag" or (row.visible_fault and row.verdict in _BADNESS)


def _how_bad(row: Row) -> tuple[int, float, str]:
    length = row.value_mm if row.verdict == "false flag" else row.size_mm
    return _BADNESS[row.verdict], -(length or 0.0), row.photo


def worst_text(rows: Sequence[Row]) -> str:
    """Write rows as a table of text, one line each."""
    out = StringIO()
    table = _table("\nWorst", "photo", "check", "verdict", "true", "stated", "score", "why")
    for r in rows:
        table.add_row(
            r.photo, r.check, r.verdict, _mm(r.size_mm), _mm(r.value_mm), _mm(r.score), r.why[:60]
        )
    Console(file=out, width=WIDTH + 30, highlight=False, markup=False).print(table)
    return out.getvalue()


def _mm(value: float | None) -> str:
    return "-" if value is None else f"{value:.2f}"
