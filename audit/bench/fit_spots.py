"""Grow the trees that tell spots that look like a fault (extra `fit`).

Some see the maps of both looks, some the map that is joined of them. They learn from photos that no stored forest
has seen, and from maps that were joined by trees that had not seen them either (`audit.bench.fit_further`): maps of
photos that a forest learned from are better than those of the photos that the tool is used on.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audit.bench.rows import MIN_VISIBLE
from audit.bench.truth import Truth, TruthItem
from audit.errors import UsageError
from audit.measure.spot_findings import CHECK_OF
from audit.sight.fit import boosted, store_forest
from audit.sight.spot_features import grid_of, spot_features, worth_asking
from audit.sight.spots import FAULTS, LATE, forests_of
from audit.sight.types import F32, F64, AnalysisImage, MaterialMap

_HOW = {"late-sleeve": LATE}
_BY_CHECK = {CHECK_OF[kind]: kind for kind in FAULTS}


def kind_of(item: TruthItem) -> str | None:
    """Which kind of spot a fault is; None for one that is told by no spot."""
    return _BY_CHECK.get(item.check) if item.how is None else _HOW.get(item.how)


@dataclass(frozen=True)
class SpotOptions:
    """What is learned, and how the trees are grown; chosen by cross-validation."""

    least_mm: float = 1.0
    """Shorter faults are not learned, and neither is what lies round them."""
    middle_mm: float = 1.6
    """A cell so near a fault's middle is one."""
    round_mm: float = 4.5
    """One farther off than that, but within this, is not learned from for that kind."""
    elsewhere: int = 200
    """Cells of a photo that lie elsewhere, at most."""
    rounds: int = 200
    depth: int = 5
    rate: float = 0.08
    least: float = 5.0
    box_rounds: int = 120
    box_depth: int = 6


@dataclass(frozen=True)
class SpotRows:
    """Cells of one photo.

    Parameters
    ----------
    features : (n, F) float16
    ways : (n, 4) float32
        By which they are turned, see `spot_features`.
    fault : (n, K) int8
        By the kinds asked for: 1 at a fault's middle, 0 elsewhere, -1 where nothing is to be learned.
    reach : (n, K, 4) float32
        Sides of that fault's box less the cell, cells; nan where `fault` is not 1.
    weight : (n,) float32
        How many cells of the photo each stands for; a fit takes the square root of it, so that
        cells without a fault are not all that counts.
    """

    features: NDArray[np.float16]
    ways: F32
    fault: NDArray[np.int8]
    reach: F32
    weight: F32


def rows_of_maps(
    image: AnalysisImage,
    first: MaterialMap,
    second: MaterialMap,
    truth: Truth,
    options: SpotOptions,
    rng: np.random.Generator,
    kinds: Sequence[str] = FAULTS,
) -> SpotRows:
    """What one photo teaches.

    Parameters
    ----------
    image : AnalysisImage
    first, second : MaterialMap
        The first look's at it, or what is joined of both, and the second look's.
    truth : Truth
    options : SpotOptions
    rng : numpy.random.Generator
        Picks the cells that show nothing.
    kinds : sequence of str
        Which kinds of spot it teaches.
    """
    grid = grid_of(first, second)
    y, x = worth_asking(grid)
    at = np.stack([x, y], -1).astype(np.float64)
    cell = np.asarray(grid.cell, np.float64) * image.scale
    fault, reach, near = _labels(at, truth, cell, options, kinds)
    share = min(1.0, options.elsewhere / max(len(at), 1))
    some = near | (rng.random(len(at)) < share)
    features, ways = spot_features(image, grid, y[some], x[some])
    weight = np.where(near[some], 1.0, 1.0 / share).astype(np.float32)
    return SpotRows(features.astype(np.float16), ways, fault[some], reach[some], weight)


def _labels(
    at: F64, truth: Truth, cell: F64, options: SpotOptions, kinds: Sequence[str]
) -> tuple[NDArray[np.int8], F32, NDArray[np.bool_]]:
    """By cell and kind whether a fault's middle is there, how far it reaches, and which lie by one.

    `cell` is a cell's width and height in px of the photo.
    """
    fault = np.zeros((len(at), len(kinds)), np.int8)
    reach = np.full((len(at), len(kinds), 4), np.nan, np.float32)
    near = np.zeros(len(at), bool)
    for item in truth.items:
        if not item.fault or item.box_px is None:
            continue
        box = np.array(item.box_px, np.float64) / np.tile(cell, 2) - 0.5
        away = np.hypot(*((at - (box[:2] + box[2:]) / 2) * cell).T) / truth.scale.px_per_mm
        round_ = away <= options.round_mm
        kind = kind_of(item)
        for other in kinds:
            # Neither this kind of fault nor sound.
            if CHECK_OF[other] == item.check and other != kind:
                fault[round_ & (fault[:, kinds.index(other)] == 0), kinds.index(other)] = -1
        if kind not in kinds:
            continue
        k = kinds.index(kind)
        if _seen(item.visible, item.size_mm, options):
            middle = away <= options.middle_mm
            fault[middle, k] = 1
            reach[middle, k] = box - np.tile(at[middle], 2)
            near |= round_
        fault[round_ & (fault[:, k] == 0), k] = -1
    return fault, reach, near


def _seen(visible: float | None, size_mm: float | None, options: SpotOptions) -> bool:
    return (visible or 0) >= MIN_VISIBLE and (size_mm is None or size_mm >= options.least_mm)


def grown_spots(
    rows: Iterable[SpotRows],
    by: str,
    options: SpotOptions,
    seed: int,
    workers: int = 2,
    kinds: Sequence[str] = FAULTS,
) -> dict[str, Any]:
    """Grow the trees of the kinds that the rows tell, by the names of their stored files; `by` is which maps the rows are of.

    Raises
    ------
    UsageError
        Without photos, or when none shows a fault of some kind.
    """
    from xgboost import XGBRegressor

    told = list(rows)
    if not told:
        raise UsageError("no photo with truth to learn from", next_step="give a folder of renders")
    features, ways, fault, reach, weight = (
        np.concatenate([getattr(r, f.name) for r in told]) for f in fields(SpotRows)
    )
    grown: dict[str, Any] = {}
    for k, kind in enumerate(kinds):
        known, there = fault[:, k] >= 0, fault[:, k] == 1
        if not there.any():
            raise UsageError(f"no photo shows a fault of the kind {kind}")
        likely, far = forests_of(kind, by)
        common = {"colsample_bynode": 0.2, "max_bin": 64, "n_jobs": workers, "random_state": seed}
        trees = boosted(2, options.rounds, options.depth, options.rate, options.least, **common)
        grown[likely] = trees.fit(
            features[known].astype(np.float32),
            fault[known, k],
            sample_weight=np.sqrt(weight[known]),
        )
        boxes = XGBRegressor(
            n_estimators=options.box_rounds, max_depth=options.box_depth, learning_rate=options.rate,
            min_child_weight=options.least, subsample=0.5, tree_method="hist",
            multi_strategy="multi_output_tree", **common,
        )  # fmt: skip
        grown[far] = boxes.fit(*held_eight_ways(features[there], ways[there], reach[there, k]))
    return grown


def held_eight_ways(features: NDArray[np.floating[Any]], ways: F32, reach: F32) -> tuple[F32, F32]:
    """Rows with their ways, and reaches, of the photo held upright, turned and mirrored.

    The rows are the same whichever way it is held; the sides of a box are not.

    Parameters
    ----------
    features : (n, F) float
    ways, reach : (n, 4) float32

    Returns
    -------
    (8 n, F + 4) and (8 n, 4) float32
    """
    rows, reaches = [], []
    for _mirrored in range(2):
        for _quarter in range(4):
            rows.append(np.concatenate([features, ways], -1))
            reaches.append(reach)
            ways = np.stack([-ways[:, 1], ways[:, 0], -ways[:, 3], ways[:, 2]], -1)
            reach = np.stack([-reach[:, 3], reach[:, 0], -reach[:, 1], reach[:, 2]], -1)
        ways = ways * np.array([-1, 1, -1, 1], np.float32)
        reach = np.stack([-reach[:, 2], reach[:, 1], -reach[:, 0], reach[:, 3]], -1)
    return np.concatenate(rows).astype(np.float32), np.concatenate(reaches).astype(np.float32)


def store_spots(grown: dict[str, Any], out: Path, told: str, text: str) -> None:
    """Write the trees, and into the file `told` what they were grown from."""
    for name, trees in grown.items():
        store_forest(trees, 4 if name.endswith("-box.npz") else 2, out / name)
    (out / told).write_text(text, encoding="utf-8")
