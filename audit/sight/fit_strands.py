"""Fit the forests of the second look: places along strands and along cables (extra `fit`).

Every place is described by what a forest that never saw the photo said of it,
and by the strands found on that map; so the second look learns to mend the
first one's usual mistakes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.sight.fit import FitOptions, boosted, labels_of, shown
from audit.sight.fit_folds import FOLDS, SECOND_LOOK, fold_of
from audit.sight.lengthwise import (
    CORE_FRAME,
    GROUPS,
    SHEATH_FRAME,
    Frame,
    Strip,
    place_features,
    places,
    strips,
)
from audit.sight.materials import weighed
from audit.sight.nearness import step_for
from audit.sight.relook import CORE_FOREST, SHEATH_FOREST
from audit.sight.strands import find_strands
from audit.sight.types import F32, AnalysisImage, Material, MaterialMap, Strand, Strands


@dataclass(frozen=True)
class PlaceRows:
    """Described places of one photo, with what they truly are.

    Parameters
    ----------
    features : (n, F) float16
    group : (n,) uint8
        Index in `GROUPS`.
    weight : (n,) float32
        How many places of the photo each stands for.
    """

    features: NDArray[np.float16]
    group: NDArray[np.uint8]
    weight: F32


@dataclass(frozen=True)
class PlaceOptions:
    """How many places are taken, and how the forest is grown from them."""

    near: int = 1500
    """Places of a photo by a strand's end."""
    far: int = 500
    copper: int = 400
    rounds: int = 130
    depth: int = 8
    rate: float = 0.14
    least: float = 5.0
    weight_power: float = 0.5
    """Rare kinds are taken more often than they occur; so much of that is made good by their weight."""


_GROUP_OF = np.zeros(len(Material), np.uint8)
for _k, _group in enumerate(GROUPS):
    _GROUP_OF[[int(m) for m in _group]] = _k


def first_map(
    photo: Path, n: int, options: FitOptions, cache: Path
) -> tuple[AnalysisImage, MaterialMap]:
    """The photo as the first passes were shown it, and the map made of it by forests that never saw it."""
    cv2.setNumThreads(1)
    image, px_per_mm, _ = shown(photo, n, options)
    prob = weighed(np.load(cache / f"{n}.prob.npy").astype(np.float32))
    return image, MaterialMap(prob, step_for(px_per_mm))


def _rows(
    found: Sequence[Strip], labels: NDArray[np.uint8], free: NDArray[np.bool_], step: float,
    options: PlaceOptions, rng: np.random.Generator,
) -> PlaceRows | None:  # fmt: skip
    """Some of the places of strips, taken at random, more of them at ends and on copper."""
    y, x, which, u, v = places(found, free.shape)
    open_ = free[y, x]
    y, x, which, u, v = y[open_], x[open_], which[open_], u[open_], v[open_]
    group = _GROUP_OF[labels[y, x]]
    past = np.array(
        [max(found[i].first - a, a - found[i].last) for i, a in zip(which, u, strict=True)]
    )
    grain = np.array([found[i].frame.grain for i in which])
    near = past * grain > -60 * grain
    share = np.where(near, options.near / max(near.sum(), 1), options.far / max((~near).sum(), 1))
    copper = group == GROUPS.index((Material.COPPER,))
    share[copper] = options.copper / max(copper.sum(), 1)
    share = np.minimum(share, 1.0)
    keep = rng.random(len(share)) < share
    parts = [(i, np.flatnonzero(keep & (which == i))) for i in np.unique(which[keep])]
    if not parts:
        return None
    rows = [place_features(found[i], u[q], v[q], step) for i, q in parts]
    order = np.concatenate([q for _, q in parts])
    return PlaceRows(
        np.concatenate(rows).astype(np.float16), group[order], (1 / share[order]).astype(np.float32)
    )


FirstMap = Callable[[Path, int], tuple[AnalysisImage, MaterialMap]]
"""Gives the picture of a photo and its number in the fit, and a map by forests that never saw it."""
Task = tuple[Path, int, FirstMap]


def place_rows(task: Task, options: FitOptions) -> tuple[PlaceRows | None, PlaceRows | None]:
    """Rows along the cores and coppers of one photo, and along its sheaths.

    Parameters
    ----------
    task : (path, int, FirstMap)
        Photo, its number in the fit, and what gives its first map.
    options : FitOptions

    Returns
    -------
    cores, sheaths : PlaceRows or None
        None where no strand was found.
    """
    photo, n, mapped = task
    cv2.setNumThreads(1)
    image, first = mapped(photo, n)
    strands, materials = find_strands(first, image)
    h, w = materials.prob.shape[:2]
    labels = labels_of(photo, (w, h))
    rng = np.random.default_rng([options.seed, n, 2])
    free = np.ones((h, w), bool)
    out = []
    for lines, frame, most in _kinds(strands):
        found = strips(materials, image, lines, frame)
        out.append(_rows(found, labels, free, materials.step, most, rng) if found else None)
        if found:
            y, x, *_ = places(found, (h, w))
            free[y, x] = False
    return out[0], out[1]


FULL = {
    CORE_FOREST: PlaceOptions(),
    SHEATH_FOREST: PlaceOptions(near=1100, far=400, copper=60, rounds=100, rate=0.15),
}
FOLD_OPTIONS = {
    CORE_FOREST: PlaceOptions(rounds=100, rate=0.17),
    SHEATH_FOREST: PlaceOptions(rounds=80, rate=0.18, depth=7),
}
"""The forests of some folds only read the others, for the trees that weigh evidence."""


def _kinds(strands: Strands) -> tuple[tuple[Sequence[Strand], Frame, PlaceOptions], ...]:
    return (
        ([*strands.cores, *strands.coppers], CORE_FRAME, FULL[CORE_FOREST]),
        (strands.sheaths, SHEATH_FRAME, FULL[SHEATH_FOREST]),
    )


def grown_on_places(
    rows: Sequence[PlaceRows | None], options: FitOptions, places_: PlaceOptions
) -> Any:
    """Boosted trees that tell the group of a place.

    Returns
    -------
    fitted `xgboost.XGBClassifier`, an output for each of `GROUPS`
    """
    told = [r for r in rows if r is not None]
    weight = np.concatenate([r.weight for r in told])
    # A few photos have so many places that one row would stand for hundreds.
    weight = np.minimum(weight, np.quantile(weight, 0.98)) ** places_.weight_power
    trees = boosted(
        len(GROUPS), places_.rounds, places_.depth, places_.rate, places_.least,
        max_bin=64, n_jobs=options.workers, random_state=options.seed,
    )  # fmt: skip
    features = np.concatenate([r.features for r in told]).astype(np.float32)
    group = np.concatenate([r.group for r in told])
    return trees.fit(features, group, sample_weight=weight / weight.mean())


def fit_places(tasks: Sequence[Task], options: FitOptions, cache: Path) -> dict[str, Any]:
    """Grow the two forests of the second look, and for each fold of the photos one on the others.

    Parameters
    ----------
    tasks : sequence of (path, int, FirstMap)
        Photos, each with an ids map beside it; numbered as they stand.
    options : FitOptions
    cache : path
        `fold{k}-{forest}.ubj` is left there, which never saw the photos of fold k
        (`audit.sight.fit_folds`).

    Returns
    -------
    dict of fitted trees by the name of their stored file
    """
    one = partial(place_rows, options=options)
    with ProcessPoolExecutor(options.workers, mp_context=get_context("spawn")) as pool:
        rows = list(pool.map(one, tasks, chunksize=4))
    grown = {}
    for k, name in enumerate((CORE_FOREST, SHEATH_FOREST)):
        mine = [r[k] for r in rows]
        for fold in range(FOLDS):
            other = [r for n, r in enumerate(mine) if fold_of(n, SECOND_LOOK) != fold]
            grown_on_places(other, options, FOLD_OPTIONS[name]).save_model(
                cache / f"fold{fold}-{name}.ubj"
            )
        grown[name] = grown_on_places(mine, options, FULL[name])
    return grown
