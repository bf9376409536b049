"""Grow the trees that tell how near the camera was (extra `fit`).

They learn from photos that the coarse forest has not seen: on those that it learned from, its map is better
than it is where the tool is used.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from audit.errors import UsageError
from audit.photo.decode import read_photo
from audit.settings import Settings
from audit.sight.analysis import analysis_image
from audit.sight.fit import store_forest
from audit.sight.fit_provenance import provenance
from audit.sight.near_told import FOREST, PROVENANCE, rows_of_image
from audit.sight.types import F32

Row = tuple[F32, float]


@dataclass(frozen=True)
class NearOptions:
    """How the trees are grown; chosen by cross-validation."""

    rounds: int = 300
    depth: int = 3
    rate: float = 0.03
    least: float = 6.0
    """Least number of photos in a leaf."""


def row_of(photo: Path) -> Row | None:
    """What one photo with `NAME.truth.json` teaches; None without a core to measure or a true scale."""
    cv2.setNumThreads(1)
    truth = json.loads(photo.with_name(photo.stem + ".truth.json").read_text(encoding="utf-8"))
    image = analysis_image(read_photo(photo, Settings()).rgb)
    return rows_of_image(image, float(truth["scale"]["px_per_mm"]) / image.scale)


def grown_nearness(rows: Sequence[Row], options: NearOptions, seed: int) -> Any:
    """Boosted trees for the log of the factor, from what `row_of` gives."""
    from xgboost import XGBRegressor

    trees = XGBRegressor(
        n_estimators=options.rounds, max_depth=options.depth, learning_rate=options.rate,
        min_child_weight=options.least, subsample=0.6, colsample_bynode=0.3, random_state=seed, n_jobs=1,
    )  # fmt: skip
    return trees.fit(np.stack([r[0] for r in rows]), np.array([r[1] for r in rows]))


def fit_nearness(photos: Sequence[Path], out: Path, workers: int = 2, seed: int = 7) -> int:
    """Grow and store the trees, with their provenance.

    Parameters
    ----------
    photos : paths of photos with `NAME.truth.json`
        None of them may have been used for the stored coarse forest.
    out : path
        Folder for the trees.
    workers, seed : int

    Returns
    -------
    int
        Photos that could be learned from.

    Raises
    ------
    UsageError
        When fewer than 20 photos show a core that can be measured.
    """
    options = NearOptions()
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        told = list(pool.map(row_of, photos, chunksize=4))
    rows = [r for r in told if r is not None]
    if len(rows) < _FEWEST:
        raise UsageError(
            f"only {len(rows)} photos show a core that can be measured",
            next_step=f"give at least {_FEWEST}",
        )
    store_forest(grown_nearness(rows, options, seed), 1, out / FOREST)
    text = provenance("fit-nearness", photos, f"{options}, seed={seed}")
    (out / PROVENANCE).write_text(text, encoding="utf-8")
    return len(rows)


_FEWEST = 20
