"""Fit the limits of `models/photo_limits.toml` from photos known to be usable or too poor.

Each limit is asked only of the photos that are poor for its own reason, and of
all usable ones. It is put where it errs least on these, in the middle (of the
logarithm) of the gap there; the gap is written beside it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from itertools import pairwise
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np

from audit.errors import UsageError, Where
from audit.measure.contract import LookRecord
from audit.measure.declared import Declared
from audit.measure.look import look_photo
from audit.measure.usable import BLUR_FIGURES, WITHOUT_CABLES
from audit.resources import load_toml

Figures = dict[str, float | None]


@dataclass(frozen=True)
class Rule:
    """One limit: of what figure, against which causes, and on which side lies harm."""

    name: str
    figures: tuple[str, ...]
    causes: tuple[str, ...]
    above: bool
    what: str

    def value(self, figures: Figures) -> float | None:
        """The first of the figures that was measured."""
        return next((v for k in self.figures if (v := figures.get(k)) is not None), None)


RULES = (
    Rule(
        "blur_px",
        BLUR_FIGURES,
        ("motion", "defocus"),
        True,
        "10-90 % rise of the sharper edges along cores and sheaths, in the direction where it is widest, px",
    ),
    Rule(
        "dark_median",
        ("median_luminance",),
        ("dark",),
        False,
        "median relative luminance at the cable, linear",
    ),
    Rule(
        "flare",
        ("flare",),
        ("glare", "bright"),
        True,
        "share of the photo in one blown-out spot, times the share of its rim that is soft",
    ),
    Rule(
        "core_widths",
        ("core_widths",),
        ("out_of_frame",),
        False,
        "core seen, in its own widths, weighted by score; asked where no entry was read",
    ),
)
BY_HAND = {
    "blur_mm": "blur in mm; both must be exceeded",
    "dark_share": "share of the place that is clipped to black",
    "light_share": "share of the place that is clipped to white",
    "glare_share": "share of the whole photo that is blown out",
}


@dataclass(frozen=True)
class Known:
    """One photo: why it is too poor (None: usable), its view, and what was measured."""

    cause: str | None
    view: str | None
    figures: Figures


@dataclass(frozen=True)
class Limit:
    """A fitted limit with the values next to it and how many photos lie on its wrong side."""

    value: float
    usable: float
    poor: float
    usable_photos: int
    poor_photos: int
    wrong: int


def fit_limit(rule: Rule, known: Sequence[Known]) -> Limit | None:
    """Put one limit; None where no photo is poor for its reason."""
    shown = [
        k for k in known if rule.name != "core_widths" or k.view not in ("closed", *WITHOUT_CABLES)
    ]
    usable = [v for k in shown if k.cause is None and (v := rule.value(k.figures)) is not None]
    poor = [v for k in shown if k.cause in rule.causes and (v := rule.value(k.figures)) is not None]
    if not usable or not poor:
        return None
    sign = 1.0 if rule.above else -1.0
    good = np.sort(sign * np.log(np.maximum(usable, 1e-6)))
    bad = np.sort(sign * np.log(np.maximum(poor, 1e-6)))
    places = np.unique(np.concatenate([good, bad]))
    best: tuple[float, float, float, float] | None = None
    for low, high in pairwise(places):
        middle = 0.5 * (low + high)
        wrong = float((good > middle).sum() + (bad <= middle).sum())
        if best is None or (wrong, low - high) < best[:2]:
            best = (wrong, low - high, low, high)
    if best is None:
        return None
    wrong, _, low, high = best
    ends = [float(np.exp(sign * v)) for v in (low, 0.5 * (low + high), high)]
    return Limit(ends[1], ends[0], ends[2], len(usable), len(poor), int(wrong))


def known_photos(folders: Sequence[Path], looks: Sequence[Path], workers: int) -> list[Known]:
    """Read (or take from `looks`, lines of `lidoff look --json`) every photo that has a truth file.

    Raises
    ------
    UsageError
        When no photo has one.
    """
    ready = {}
    for path in looks:
        for line in path.read_text(encoding="utf-8").splitlines():
            record = LookRecord.model_validate_json(line)
            ready[record.photo] = _figures(record)
    truths = sorted(t for folder in folders for t in folder.glob("*.truth.json"))
    if not truths:
        raise UsageError(
            "no photo with a truth file",
            Where(folders[0]),
            "a benchmark folder holds NAME.jpg and NAME.truth.json",
        )
    jobs = []
    for path in truths:
        truth = json.loads(path.read_text(encoding="utf-8"))
        jobs.append((path, truth, ready.get(truth["photo"])))
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        return list(pool.map(_known, jobs))


def _known(job: tuple[Path, dict[str, Any], Figures | None]) -> Known:
    path, truth, figures = job
    declared = Declared(**(truth.get("declared") or {}))
    if figures is None:
        figures = _figures(look_photo(path.with_name(truth["photo"]), declared=declared))
    cause = None if truth["usable"] else str(truth.get("unusable_because") or "unknown")
    return Known(cause, declared.view, dict(figures))


def _figures(record: LookRecord) -> Figures:
    return dict((record.model_extra or {}).get("quality") or {})


def written(limits: dict[str, Limit | None], sources: Sequence[str], photos: int) -> str:
    """Text of `models/photo_limits.toml`."""
    now = load_toml("photo_limits.toml")
    lines = [
        "# When a photo is asked for again. Written by `lidoff fit-limits`, from",
        f"# {photos} photos of {', '.join(sources)}. Beside each limit: the nearest usable and",
        "# poor photo on either side of it, of how many, and how many lie on the wrong side.",
        "",
    ]
    for rule in RULES:
        found = limits[rule.name]
        lines.append(f"# {rule.what}")
        if found is None:
            lines.append(
                f"{rule.name} = {now[rule.name]}  # kept: no photo is poor for this reason"
            )
            continue
        lines.append(
            f"{rule.name} = {found.value:.3g}  # usable {found.usable:.3g} ({found.usable_photos}), "
            f"poor {found.poor:.3g} ({found.poor_photos}), wrong {found.wrong}"
        )
    lines += ["", "# Set by hand, to catch what is beyond doubt."]
    lines += [f"{name} = {now[name]}  # {what}" for name, what in BY_HAND.items()]
    return "\n".join(lines) + "\n"
