"""Fit the forests that tell where a cable crosses wall and grip and where its sheath ends (extra `fit`)."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel

from audit.bench.truth import Truth, TruthCable, load_truth
from audit.errors import UsageError
from audit.measure.contract import Point
from audit.sight.crossings import (
    AGAIN,
    EDGE_FOREST,
    FORESTS,
    GRIP_FOREST,
    WALL_FOREST,
    Places,
    Tell,
)
from audit.sight.fit import FitOptions, boosted
from audit.sight.fit_folds import FOLDS, LINES, fold_of
from audit.sight.told_again import told_about
from audit.sight.types import F64, Readings

Segment = NDArray[np.float64]
"""Two points, shape (2, 2), px of the analysis picture."""
Read = Callable[[Path, int, Tell], tuple[float, Readings]]
"""Reads photo n with a stand-in for the stored forests: px of the full photo for one of the analysis
picture, and the readings."""


@dataclass(frozen=True)
class LineOptions:
    """How the trees are grown."""

    rounds: int = 80
    depth: int = 6
    rate: float = 0.12
    least: float = 5.0
    ridge: float = 3.0
    share: float = 0.5
    """Share of the places that is taken: neighbours say much the same."""


@dataclass(frozen=True)
class LabelledPlaces:
    """A cable's places with what they truly are.

    Parameters
    ----------
    rows : (n, 3, F) float16
    grain : float
        How far places lie apart, widths of the cable.
    past : dict of str to (n, 3) int8
        For each forest 1 where the place lies past the line (in the grip), 0
        where not, -1 where that is not known.
    """

    rows: NDArray[np.float16]
    grain: float
    past: dict[str, NDArray[np.int8]]


class _Length(BaseModel):
    value: float


class _Run(BaseModel):
    what: str
    path_px: tuple[Point, ...] = ()


class _Course(BaseModel):
    """What is known of a cable's course beyond what scoring asks for."""

    sheath_edge_px: tuple[Point, Point] | None = None
    sheath_past_grip_mm: _Length | None = None
    reading: tuple[_Run, ...] = ()


@dataclass(frozen=True)
class _Lines:
    wall: Segment | None
    outer: Segment | None
    inner: Segment | None
    edge: Segment | None
    inwards: F64


def _lines(cable: TruthCable, scale: float) -> _Lines:
    """A true cable's lines in px of the analysis picture, which is `scale` times smaller."""

    def segment(points: Sequence[tuple[float, float]]) -> Segment:
        return np.asarray(points, np.float64) / scale - 0.5

    entry = cable.entry
    wall = None if entry.wall_px is None else segment(entry.wall_px)
    outer = inner = None
    if entry.grip_px is not None:
        a, b, c, d = entry.grip_px
        outer, inner = segment((a, b)), segment((d, c))
    known = _Course.model_validate(cable.model_extra or {})
    edge = None if known.sheath_edge_px is None else segment(known.sheath_edge_px)
    runs = [r.path_px for r in known.reading if r.what in ("sheath", "wall", "grip") and r.path_px]
    course = np.concatenate([segment(r) for r in runs]) if runs else np.zeros((0, 2))
    inwards = course[-1] - course[-min(8, len(course))] if len(course) > 1 else np.zeros(2)
    return _Lines(wall, outer, inner, edge, inwards)


def _hidden_edge(cable: TruthCable, lines: _Lines, px_per_mm: float) -> Segment | None:
    """The sheath's end where the grip hides it, from its length past the grip."""
    past = _Course.model_validate(cable.model_extra or {}).sheath_past_grip_mm
    if past is None or lines.outer is None or lines.inner is None:
        return None
    through = lines.inner.mean(0) - lines.outer.mean(0)
    wide = float(np.hypot(*through)) / px_per_mm
    return None if wide < 0.5 else lines.inner + through / wide * past.value


def _crossing(track: F64, line: Segment, reach: float) -> int | None:
    """Index of the place of a track that lies on a line; None when none near its middle does."""
    middle, along = line.mean(0), line[1] - line[0]
    normal = np.array([-along[1], along[0]]) / max(float(np.hypot(*along)), 1e-9)
    near = np.flatnonzero(np.hypot(*(track - middle).T) < reach)
    if not len(near):
        return None
    away = np.abs((track[near] - middle) @ normal)
    grain = float(np.hypot(*(track[1] - track[0])))
    return int(near[away.argmin()]) if away.min() <= 3 * grain else None


def _whose(places: Places, true: Sequence[tuple[_Lines, Segment | None]]) -> int | None:
    """The true cable that these places lie along; None when they lie along none."""
    axis = places.tracks[:, 1]
    best, whose = 0.6 * places.width, None
    for k, (lines, edge) in enumerate(true):
        marks = [m.mean(0) for m in (edge, lines.wall) if m is not None]
        if not marks:
            continue
        away = [np.hypot(*(axis - m).T) for m in marks]
        i = int(away[0].argmin())
        way = axis[min(i + 3, len(axis) - 1)] - axis[max(0, i - 3)]
        with_it = way @ lines.inwards > 0.3 * np.hypot(*way) * np.hypot(*lines.inwards)
        nearest = min(float(a.min()) for a in away)
        if with_it and nearest < best:
            best, whose = nearest, k
    return whose


def _labels(places: Places, lines: _Lines, edge: Segment | None) -> dict[str, NDArray[np.int8]]:
    n, reach = len(places.s), 1.2 * places.width
    at = np.arange(n)
    past = {forest: np.full((n, 3), -1, np.int8) for forest in FORESTS}
    for q in range(3):
        track = places.tracks[:, q]
        for forest, line in ((WALL_FOREST, lines.wall), (EDGE_FOREST, edge)):
            k = None if line is None else _crossing(track, line, reach)
            if k is not None:
                past[forest][:, q] = at >= k
        if lines.outer is None or lines.inner is None:
            past[GRIP_FOREST][:, q] = 0
            continue
        a, b = (_crossing(track, line, reach) for line in (lines.outer, lines.inner))
        if a is not None and b is not None:
            past[GRIP_FOREST][:, q] = (at >= a) & (at < b)
    return past


def labelled(places: Sequence[Places], truth: Truth, scale: float) -> list[LabelledPlaces]:
    """Label the places of one photo's cables; those that lie along no true cable are left out.

    Parameters
    ----------
    places : sequence of Places
        One for each cable found.
    truth : Truth
    scale : float
        px of the full photo for one px of the analysis picture.
    """
    true = []
    for cable in truth.cables:
        lines = _lines(cable, scale)
        edge = lines.edge
        if edge is None:
            edge = _hidden_edge(cable, lines, truth.scale.px_per_mm / scale)
        true.append((lines, edge))
    out = []
    for one in places:
        k = _whose(one, true)
        if k is not None:
            rows = one.rows.astype(np.float16)
            out.append(LabelledPlaces(rows, one.grain, _labels(one, *true[k])))
    return out


def line_rows(path: Path, n: int, read: Read) -> list[LabelledPlaces]:
    """Labelled places of one photo's cables; none of a photo that is tagged unusable."""
    cv2.setNumThreads(1)
    truth = load_truth(path.with_name(path.stem + ".truth.json"))
    if not truth.usable:
        return []
    met: dict[int, Places] = {}

    def note(places: Places, forest: str) -> F64:
        if forest in FORESTS:
            met[id(places)] = places
        return np.full(places.rows.shape[:2], 0.5)

    scale, _ = read(path, n, note)
    return labelled(list(met.values()), truth, scale)


def grown_on_lines(
    rows: Sequence[LabelledPlaces], forest: str, lines: LineOptions, options: FitOptions
) -> Any:
    """Boosted trees that tell whether a place lies past one line, an `xgboost.XGBClassifier`.

    Raises
    ------
    UsageError
        When no photo shows places on both sides of the line.
    """
    rng = np.random.default_rng(options.seed)
    X, y = [], []
    for one in rows:
        past = one.past[forest]
        keep = (past >= 0) & (rng.random(past.shape) < lines.share)
        X.append(one.rows[keep])
        y.append(past[keep])
    if len({int(v) for part in y for v in np.unique(part)}) < 2:
        raise UsageError(f"no photo shows both sides of {forest}", next_step="give more photos")
    trees = boosted(
        2, lines.rounds, lines.depth, lines.rate, lines.least, reg_lambda=lines.ridge,
        colsample_bynode=0.15, max_bin=64, n_jobs=options.workers, random_state=options.seed,
    )  # fmt: skip
    return trees.fit(np.concatenate(X).astype(np.float32), np.concatenate(y).astype(int))


def _kept_from(
    rows: Sequence[Sequence[LabelledPlaces]], forest: str, options: FitOptions, cache: Path
) -> list[list[F64]]:
    """Grow one forest for each fold on the others, and what it tells of the photos of its own."""
    told: list[list[F64]] = [[] for _ in rows]
    for fold in range(FOLDS):
        others = [one for n, mine in enumerate(rows) if fold_of(n, LINES) != fold for one in mine]
        trees = grown_on_lines(others, forest, LineOptions(), options)
        trees.save_model(cache / f"fold{fold}-{forest}.ubj")
        for n, mine in enumerate(rows):
            if fold_of(n, LINES) == fold:
                told[n] = [told_by(trees, one.rows) for one in mine]
    return told


def told_by(trees: Any, rows: NDArray[np.floating]) -> F64:
    """Probability at each place of each track, (n, 3), by grown trees; `rows` is (n, 3, F)."""
    n, tracks, width = rows.shape
    told = trees.predict_proba(rows.reshape(-1, width).astype(np.float32))[:, 1]
    return np.asarray(told.reshape(n, tracks), np.float64)


def _wider(one: LabelledPlaces, told: Sequence[F64]) -> LabelledPlaces:
    words = told_about(told, one.grain).astype(np.float16)
    past = {again: one.past[first] for first, again in AGAIN.items()}
    return LabelledPlaces(np.concatenate([one.rows, words], -1), one.grain, past)


def fit_lines(
    rows: Sequence[Sequence[LabelledPlaces]], options: FitOptions, cache: Path
) -> dict[str, Any]:
    """Grow the forests of lines, and for each fold of the photos those of the others.

    Those that tell a second time are grown on what was told first of each photo by
    forests that never saw it.

    Parameters
    ----------
    rows : sequence of sequence of LabelledPlaces
        From `line_rows`, one for each photo.
    options : FitOptions
    cache : path
        `fold{k}-{forest}.ubj` is left there, which never saw the photos of fold k
        (`audit.sight.fit_folds`).

    Returns
    -------
    dict of fitted trees by the name of their stored file
    """
    told = {forest: _kept_from(rows, forest, options, cache) for forest in FORESTS}
    wide = [
        [_wider(one, [told[f][n][k] for f in FORESTS]) for k, one in enumerate(mine)]
        for n, mine in enumerate(rows)
    ]
    for again in AGAIN.values():
        _kept_from(wide, again, options, cache)
    once = [(forest, rows) for forest in FORESTS]
    twice = [(forest, wide) for forest in AGAIN.values()]
    return {
        forest: grown_on_lines([one for mine in of for one in mine], forest, LineOptions(), options)
        for forest, of in (*once, *twice)
    }
