"""Grow the trees that tell a CPC that is bare before its sleeve, from photos of such work (extra `fit`).

What other photos show is sleeved from the sheath on, or not at all. Here as there the stored forests tell
photos that none of them saw.
"""

from __future__ import annotations

from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from audit.bench.fit_spots import SpotOptions, SpotRows, grown_spots, rows_of_maps, store_spots
from audit.bench.truth import load_truth
from audit.errors import UsageError
from audit.measure.looks import joined, looked_once
from audit.photo.decode import read_photo
from audit.resources import models_dir
from audit.settings import Settings
from audit.sight.fit_provenance import provenance
from audit.sight.spots import JOINT, LATE, LOOKS, SLEEVES_PROVENANCE

KINDS = (LATE,)


def fit_sleeves(photos: Sequence[Path], out: Path, workers: int = 2, seed: int = 7) -> None:
    """Grow and store the trees of the kind `audit.sight.spots.LATE`.

    Parameters
    ----------
    photos : paths of photos with `NAME.truth.json`
        None of them may have been used for any stored forest.
    out : path
        Folder for the trees.
    workers, seed : int

    Raises
    ------
    UsageError
        When `out` is another folder, no photo shows such a fault, or none can be judged.
    """
    if out.resolve() != models_dir().joinpath("materials").resolve():
        raise UsageError(
            "these trees see what the stored ones tell",
            next_step=f"give --out {models_dir() / 'materials'}",
        )
    options = SpotOptions()
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        taught = list(pool.map(partial(_taught, options=options, seed=seed), photos))
    told: dict[str, Any] = {}
    for by in (LOOKS, JOINT):
        rows = [t[by] for t in taught if t]
        told |= grown_spots(rows, by, options, seed, workers, KINDS)
    text = provenance("fit-sleeves", photos, f"{options}, seed={seed}")
    store_spots(told, out, SLEEVES_PROVENANCE, text)


def _taught(path: Path, options: SpotOptions, seed: int) -> dict[str, SpotRows] | None:
    """What a photo teaches, by which maps are seen; one that can't be judged nothing."""
    cv2.setNumThreads(1)
    truth = load_truth(path.with_name(path.stem + ".truth.json"))
    if not truth.usable:
        return None
    photo = read_photo(path, Settings())
    one, other = (looked_once(photo, which) for which in (0, 1))
    both = joined(one, other)
    return {
        by: rows_of_maps(
            one.image, first.materials, other.materials, truth, options,
            np.random.default_rng([seed, *path.stem.encode()]), KINDS,
        )
        for by, first in ((LOOKS, one), (JOINT, both))
    }  # fmt: skip
