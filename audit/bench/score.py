"""All figures of a benchmark, from one row an item and one line a photo.

How each figure is computed is told in docs/reference/bench.md.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from audit.bench.lines import LineErrors, card_error, line_errors, scale_error
from audit.bench.materials import MaterialScore, material_scores
from audit.bench.rows import Row, photo_rows
from audit.bench.run import Reading
from audit.bench.stats import Reliability, Share, Spread, reliability, share, spread
from audit.bench.truth import Truth
from audit.measure.contract import LookRecord

SCHEMA = "lidoff.bench/1"
BANDS: tuple[tuple[str, float, float], ...] = (
    ("below 0.5 mm", 0.0, 0.5),
    ("0.5 to 1 mm", 0.5, 1.0),
    ("1 to 2 mm", 1.0, 2.0),
    ("2 to 3 mm", 2.0, 3.0),
    ("1 mm or more", 1.0, math.inf),
    ("2 mm or more", 2.0, math.inf),
    ("3 mm or more", 3.0, math.inf),
)
"""Bands of true fault size: from (inclusive) to (exclusive), mm."""

LENGTH_CHECKS = ("core-outside-enclosure", "core-outside-grip", "copper-beyond-terminal")


class _Figures(BaseModel):
    model_config = ConfigDict(frozen=True)


class Counts(_Figures):
    """What was made of the items and findings of one check, one band, or one tag."""

    visible_faults: int
    right_flags: int
    false_flags: int
    unsure: int
    said_clear: int
    silent: int
    refused: int
    precision: Share
    recall: Share
    flagged_or_unsure: Share
    wrongly_clear: Share


class Lengths(_Figures):
    """Length errors in mm, and how often the true length lies within U95."""

    error_mm: Spread
    within_u95: Share
    bounds_held: Share


class CheckScore(_Figures):
    """One check: counts over all and by fault size, both also with and without card, and lengths."""

    all: Counts
    bands: dict[str, Counts] = {}
    cards: dict[str, dict[str, Counts]] = {}
    """`with card` and `without card`: counts over `all` of those photos, and by fault size."""
    lengths: dict[str, Lengths] = {}
    clear_though_hidden: int
    reliability: Reliability


class PhotoScores(_Figures):
    """Refusals, card, scale, lines and time, over photos."""

    photos: int
    unusable_refused: Share
    usable_refused: Share
    clear_on_unusable: int
    card_found: Share
    card_imagined: Share
    scale_error_in_card: Spread
    """Of the card's own size in the picture, wherever the work lies."""
    scale_error_card: Spread
    scale_error_all: Spread
    scale_within_u95: Share
    wall_error_mm: Spread
    walls_given: Share
    grip_error_mm: Spread
    grips_given: Share
    seconds: Spread
    times_photo_stage: Spread


class Failure(_Figures):
    """A photo on which the tool itself broke."""

    photo: str
    what: str


class BenchResult(_Figures):
    """Everything `lidoff bench` measures (`lidoff.bench/1`)."""

    schema_: str = Field(SCHEMA, serialization_alias="schema")
    folder: str
    photos: PhotoScores
    checks: dict[str, CheckScore]
    all_checks: Counts
    wrongly_clear_1mm: Share
    unsure_of_usable: Share
    lengths: dict[str, Lengths]
    reliability: Reliability
    materials: tuple[MaterialScore, ...]
    tags: dict[str, Counts]
    not_scored: dict[str, int]
    """Findings of checks of which no truth file of the folder says anything."""
    failures: tuple[Failure, ...]


@dataclass(frozen=True)
class Scored:
    """One photo with everything needed to score it."""

    truth: Truth
    reading: Reading
    look: LookRecord
    rows: tuple[Row, ...]
    lines: LineErrors


def score_photo(truth: Truth, reading: Reading) -> Scored:
    """Score one photo; one on which the tool broke counts as a photo that was not read."""
    look = reading.look or LookRecord(
        photo=truth.photo, sha256=None, size_px=None, outcome="failed", usable=None
    )
    rows = tuple(photo_rows(truth, look))
    return Scored(truth, reading, look, rows, line_errors(truth, look))


def score_all(folder: str, photos: Sequence[Scored]) -> BenchResult:
    """Sum up all photos of one benchmark folder."""
    asked = {item.check for photo in photos for item in photo.truth.items}
    every = [row for photo in photos for row in photo.rows]
    rows = [row for row in every if row.check in asked]
    checks = sorted({row.check for row in rows})
    usable = [r for r in rows if r.usable and r.state is not None]
    tags = sorted({tag for photo in photos for tag in photo.truth.tags})
    long_enough = [r for r in rows if r.size_mm is None or r.size_mm >= 1.0]
    lost = [p for p in photos if p.reading.fault]
    pixels = [p.reading.pixels for p in photos if p.truth.usable and p.reading.pixels is not None]
    return BenchResult(
        folder=folder,
        photos=photo_scores(photos),
        checks={c: check_score(c, [r for r in rows if r.check == c]) for c in checks},
        all_checks=counts(rows),
        wrongly_clear_1mm=counts(long_enough).wrongly_clear,
        unsure_of_usable=share(sum(r.state == "unsure" for r in usable), len(usable)),
        lengths=lengths_by_card(rows),
        reliability=_reliability(rows),
        materials=material_scores(np.sum(pixels, axis=0)) if pixels else (),
        tags={tag: counts([r for r in rows if tag in r.tags]) for tag in tags},
        not_scored=dict(Counter(row.check for row in every if row.check not in asked)),
        failures=tuple(Failure(photo=p.truth.photo, what=p.reading.fault or "") for p in lost),
    )


def counts(rows: Sequence[Row], flags: Sequence[Row] | None = None) -> Counts:
    """Count verdicts.

    Parameters
    ----------
    rows : sequence of Row
        Rows to count; faults that can't be seen count neither for nor against.
    flags : sequence of Row, optional
        Flags whose precision is told, where they are others than those in `rows`.
    """
    faults = Counter(r.verdict for r in rows if r.visible_fault)
    n = faults.total()
    told = [r for r in (rows if flags is None else flags) if r.state == "flag"]
    right = sum(r.fault for r in told)
    return Counts(
        visible_faults=n,
        right_flags=faults["right flag"],
        false_flags=len(told) - right,
        unsure=faults["unsure"],
        said_clear=faults["said clear"],
        silent=faults["silent"],
        refused=faults["refused"],
        precision=share(right, len(told)),
        recall=share(faults["right flag"], n),
        flagged_or_unsure=share(faults["right flag"] + faults["unsure"], n),
        wrongly_clear=share(faults["said clear"] + faults["silent"], n),
    )


def check_score(check: str, rows: Sequence[Row]) -> CheckScore:
    """Score one check."""
    has_length = check in LENGTH_CHECKS
    parts = {
        "with card": [r for r in rows if r.with_card],
        "without card": [r for r in rows if not r.with_card],
    }
    return CheckScore(
        all=counts(rows),
        bands=_bands(rows) if has_length else {},
        cards={
            name: {"all": counts(part), **(_bands(part) if has_length else {})}
            for name, part in parts.items()
        },
        lengths=lengths_by_card(rows) if has_length else {},
        clear_though_hidden=sum(r.verdict == "said clear" and not r.visible_fault for r in rows),
        reliability=_reliability(rows),
    )


def _bands(rows: Sequence[Row]) -> dict[str, Counts]:
    return {name: _band(rows, low, high) for name, low, high in BANDS}


def _band(rows: Sequence[Row], low: float, high: float) -> Counts:
    """Recall goes by the true size, precision by the size the flag states."""
    of_size = [r for r in rows if r.size_mm is not None and low <= r.size_mm < high]
    stated = [r for r in rows if r.value_mm is not None and low <= r.value_mm < high]
    return counts(of_size, stated)


def lengths_by_card(rows: Iterable[Row]) -> dict[str, Lengths]:
    """Length errors over all photos, over those that show two markers or more, and the others."""
    rows = [r for r in rows if r.check in LENGTH_CHECKS]
    return {
        "all": _lengths(rows),
        "with card": _lengths([r for r in rows if r.with_card]),
        "without card": _lengths([r for r in rows if not r.with_card]),
    }


def _lengths(rows: Sequence[Row]) -> Lengths:
    """Errors of exact lengths where there is something to measure: not of 0 against 0."""
    told = [r for r in rows if r.value_mm is not None and r.size_mm is not None]
    told = [r for r in told if r.usable and (r.visible or 0) >= 0.5 and (r.value_mm or r.size_mm)]
    exact = [(r.error_mm, r.u95_mm) for r in told]
    errors = [(e, u) for e, u in exact if e is not None]
    with_u = [(e, u) for e, u in errors if u is not None]
    bounds = [r for r in told if r.bound in ("at_least", "at_most")]
    return Lengths(
        error_mm=spread([e for e, _ in errors]),
        within_u95=share(sum(abs(e) <= u for e, u in with_u), len(with_u)),
        bounds_held=share(sum(_bound_holds(r) for r in bounds), len(bounds)),
    )


def _bound_holds(row: Row) -> bool:
    slack = row.u95_mm or 0.0
    excess = (row.size_mm or 0.0) - (row.value_mm or 0.0)
    return excess >= -slack if row.bound == "at_least" else excess <= slack


def _reliability(rows: Sequence[Row]) -> Reliability:
    scored = [(r.score, r.fault) for r in rows if r.score is not None and r.usable]
    return reliability([s for s, _ in scored], [f for _, f in scored])


def photo_scores(photos: Sequence[Scored]) -> PhotoScores:
    """Figures that are told by photo."""
    usable = [p for p in photos if p.truth.usable]
    poor = [p for p in photos if not p.truth.usable]
    marked = [p for p in photos if p.truth.markers_visible >= 2]
    bare = [p for p in photos if p.truth.markers_visible == 0]
    scaled = [(p, e) for p in usable if (e := scale_error(p.truth, p.look)) is not None]
    carded = [e for p, e in scaled if p.look.scale and p.look.scale.source == "card"]
    walls = [e for p in usable for e in p.lines.wall_mm]
    grips = [e for p in usable for e in p.lines.grip_mm]
    timed = [(p.reading.look_s, p.reading.photo_s) for p in photos]
    return PhotoScores(
        photos=len(photos),
        unusable_refused=share(sum(_refused(p) for p in poor), len(poor)),
        usable_refused=share(sum(_refused(p) for p in usable), len(usable)),
        clear_on_unusable=sum(r.state == "clear" for p in poor for r in p.rows),
        card_found=share(sum(_card(p) for p in marked), len(marked)),
        card_imagined=share(sum(_card(p) for p in bare), len(bare)),
        scale_error_in_card=spread(
            [e for p in usable if (e := card_error(p.truth, p.look)) is not None]
        ),
        scale_error_card=spread(carded),
        scale_error_all=spread([e for _, e in scaled]),
        scale_within_u95=share(sum(_scale_held(p, e) for p, e in scaled), len(scaled)),
        wall_error_mm=spread(walls),
        walls_given=share(len(walls), sum(p.lines.walls for p in usable)),
        grip_error_mm=spread(grips),
        grips_given=share(len(grips), sum(p.lines.grips for p in usable)),
        seconds=spread([look for look, _ in timed if look is not None]),
        times_photo_stage=spread([look / one for look, one in timed if look and one]),
    )


def _refused(photo: Scored) -> bool:
    return photo.look.outcome != "read" or photo.look.usable is False


def _card(photo: Scored) -> bool:
    return photo.look.card is not None and photo.look.card.found


def _scale_held(photo: Scored, error: float) -> bool:
    """Whether the true scale lies within the stated one's expanded uncertainty."""
    scale = photo.look.scale
    return scale is not None and scale.u95_rel is not None and abs(error) <= scale.u95_rel
