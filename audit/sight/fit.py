"""Fit the material forests from photos with an ids map (extra `fit`).

The photos come from folders of renders (`NAME.jpg` with `NAME.ids.png` and
`NAME.truth.json`). Each is also shown with another white balance, exposure,
contrast, noise and blur, so that the forests (boosted trees, Friedman 2001, with
all classes in each leaf) learn what stays the same, at the scale that its truth
file tells (the coarse forest: at any scale). Later forests are fitted on
probabilities of photos that the passes before did not see (two halves).
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.errors import UsageError, Where
from audit.photo.decode import read_photo
from audit.settings import Settings
from audit.sight.analysis import analysis_image
from audit.sight.features import KEPT, KINDS, context_features, kept, pixel_features
from audit.sight.fit_provenance import names_digest
from audit.sight.materials import LEAST, PASSES, SURE
from audit.sight.nearness import coarse_step, step_for
from audit.sight.trees import grown, store
from audit.sight.types import F32, AnalysisImage, Material
from audit.sight.whole import whole_of

U8 = NDArray[np.uint8]
Rows = tuple[F32, U8]
_WIDE = (Material.SHEATH, Material.ENCLOSURE, Material.GRIP, Material.TERMINAL)


@dataclass(frozen=True)
class FitOptions:
    """How the forests are grown."""

    per_class: int = 200
    """Pixels taken of each class from each photo; more of the large ones."""
    rows: int = 320_000
    """Pixels of all photos together that one forest is grown from, at most."""
    rounds: int = 60
    depth: int = 8
    rate: float = 0.25
    least: float = 5.0
    """Least weight of the pixels in a leaf."""
    last_rows: int = 640_000
    last_rounds: int = 100
    last_rate: float = 0.2
    """The last pass sees the whole photo, and gains from more pixels and trees (the passes before
    it did not, on photos they were not grown from)."""
    seed: int = 7
    workers: int = 2


def _variant(rgb: U8, rng: np.random.Generator) -> U8:
    """The photo as other light and another phone might have given it."""
    img = rgb.astype(np.float32) / 255
    img = img ** np.float32(np.exp(rng.normal(0, 0.2)))
    gains = np.exp(rng.normal(0, 0.12, 3)).astype(np.float32)
    img = img * gains * np.float32(np.exp(rng.normal(0, 0.25)))
    mean = img.mean(-1, keepdims=True)
    img = mean + (img - mean) * np.float32(np.exp(rng.normal(0, 0.22)))
    if rng.random() < 0.5:
        img = cv2.GaussianBlur(img, (0, 0), float(rng.uniform(0.5, 1.8)))
    img = img + rng.normal(0, rng.uniform(0, 0.03), img.shape).astype(np.float32)
    return np.asarray(np.clip(img, 0, 1) * 255, np.uint8)


def picked(ids: U8, rng: np.random.Generator, per_class: int) -> tuple[NDArray[np.intp], F32]:
    """Flat indices of some pixels of each class, half of them at its edge; and how many each stands for."""
    flat = ids.ravel()
    edge = cv2.morphologyEx(ids, cv2.MORPH_GRADIENT, np.ones((5, 5), np.uint8)).ravel() > 0
    chosen, weights = [], []
    for k in np.unique(flat):
        n = per_class * (4 if k == Material.OTHER else 2 if k in _WIDE else 1)
        for part in (np.flatnonzero((flat == k) & edge), np.flatnonzero((flat == k) & ~edge)):
            if len(part):
                some = rng.choice(part, min(n // 2, len(part)), replace=False)
                chosen.append(some)
                weights.append(np.full(len(some), len(part) / len(some), np.float32))
    return np.concatenate(chosen), np.concatenate(weights)


def labels_of(photo: Path, size: tuple[int, int]) -> U8:
    """Ids at the size of the map; the site card is found by its markers, not by its pixels."""
    ids = cv2.imread(str(photo.with_name(photo.stem + ".ids.png")), cv2.IMREAD_GRAYSCALE)
    if ids is None:
        raise UsageError("photo without its ids map", Where(photo))
    ids[ids == Material.CARD] = Material.OTHER
    return np.asarray(cv2.resize(ids, size, interpolation=cv2.INTER_NEAREST), np.uint8)


def shown(
    photo: Path, n: int, options: FitOptions
) -> tuple[AnalysisImage, float, np.random.Generator]:
    """The photo as number `n` of a fit is shown it: the same at every call.

    Returns
    -------
    image : AnalysisImage
    px_per_mm : float
        About the true scale of the analysis picture, as `nearness` would guess it.
    rng : numpy.random.Generator
        To go on from.
    """
    rng = np.random.default_rng([options.seed, n])
    rgb = read_photo(photo, Settings()).rgb
    # Every third photo is shown as it is.
    image = analysis_image(rgb if n % 3 == 0 else _variant(rgb, rng))
    truth = json.loads(photo.with_name(photo.stem + ".truth.json").read_text(encoding="utf-8"))
    scale = truth["scale"]["px_per_mm"] / image.scale * np.exp(rng.normal(0, 0.15))
    return image, float(scale), rng


def _first_rows(photo: Path, n: int, options: FitOptions, cache: Path) -> tuple[Rows, Rows]:
    """Features of some pixels of the photo's view, coarse and at scale; the stack is kept."""
    cv2.setNumThreads(1)
    image, scale, rng = shown(photo, n, options)
    steps = (coarse_step(image.shape) * np.exp(rng.uniform(-0.2, 0.5)), step_for(scale))
    rows = []
    for step in steps:
        pixel = pixel_features(image, float(step))
        ids = labels_of(photo, (pixel.shape[1], pixel.shape[0]))
        at, _ = picked(ids, rng, options.per_class)
        rows.append(
            (np.asarray(pixel.reshape(-1, pixel.shape[-1])[at], np.float32), ids.ravel()[at])
        )
    np.save(cache / f"{n}.pixel.npy", pixel.astype(np.float16))
    np.save(cache / f"{n}.at.npy", at)
    return rows[0], rows[1]


def _stack(n: int, cache: Path, step: int) -> F32:
    """Features of the whole photo for pass `step` + 1, from what the pass before said of it."""
    pixel = np.load(cache / f"{n}.pixel.npy").astype(np.float32)
    if step == 0:
        return np.asarray(pixel, np.float32)
    again, prob = kept(pixel), np.load(cache / f"{n}.prob.npy").astype(np.float32)
    context = context_features(again, prob)
    if step + 1 == PASSES:
        whole = whole_of(again, prob, KINDS).features(slice(None))
        context = np.concatenate([context, whole], -1)
    return context


def _next_rows(
    n: int, forest: Path, cache: Path, step: int, classes: NDArray[np.uint8]
) -> F32 | None:
    """What pass `step` + 1 says of the photo is kept; features of the same pixels for the next one."""
    cv2.setNumThreads(1)
    stack = _stack(n, cache, step)
    flat = stack.reshape(-1, stack.shape[-1])
    margin = _margin(flat, classes) if step + 1 == PASSES else None
    prob = _full(_loaded(forest), flat, classes, margin).reshape(*stack.shape[:2], -1)
    if step + 1 == PASSES:
        before = stack[..., KEPT : KEPT + len(Material)]
        prob = np.where(before.max(-1, keepdims=True) > SURE, before, prob)
    np.save(cache / f"{n}.prob.npy", prob.astype(np.float16))
    if step + 1 == PASSES:
        return None
    context = _stack(n, cache, step + 1)
    at = np.load(cache / f"{n}.at.npy")
    return np.asarray(context.reshape(-1, context.shape[-1])[at], np.float32)


def _margin(rows: F32, classes: NDArray[np.uint8]) -> F32:
    """Log-probabilities of the pass before, which the last one is grown upon, (n, K)."""
    before = rows[:, KEPT : KEPT + len(Material)][:, classes]
    return np.asarray(np.log(np.maximum(before, LEAST)), np.float32)


def boosted(outputs: int, rounds: int, depth: int, rate: float, least: float, **more: Any) -> Any:
    """Boosted trees to be fitted, one tree a round with a value for every class in each leaf.

    `least` is the least weight in a leaf; `more` goes to `xgboost.XGBClassifier`.
    """
    from xgboost import XGBClassifier

    drawn = {"subsample": 0.5, "colsample_bynode": 0.3} | more
    return XGBClassifier(
        objective="multi:softprob",
        num_class=outputs,
        multi_strategy="multi_output_tree",
        tree_method="hist",
        n_estimators=rounds,
        max_depth=depth,
        learning_rate=rate,
        min_child_weight=least,
        **drawn,
    )


def _grown(
    features: Sequence[F32],
    labels: Sequence[U8],
    options: FitOptions,
    classes: NDArray[np.uint8],
    last: bool = False,
) -> Any:
    """Boosted trees whose leaves hold a value for every class (one tree a round, not one a class)."""
    most = options.last_rows if last else options.rows
    rounds, rate = (
        (options.last_rounds, options.last_rate) if last else (options.rounds, options.rate)
    )
    X, y = np.concatenate(features), np.concatenate(labels)
    rng = np.random.default_rng(options.seed)
    if len(y) > most:
        some = np.sort(rng.choice(len(y), most, replace=False))
        X, y = X[some], y[some]
    trees = boosted(
        len(classes), rounds, options.depth, rate, options.least,
        max_bin=64, n_jobs=options.workers, random_state=options.seed,
    )  # fmt: skip
    margin = _margin(X, classes) if last else None
    return trees.fit(X, np.searchsorted(classes, y), base_margin=margin)


def _loaded(path: Path) -> Any:
    from xgboost import XGBClassifier

    trees = XGBClassifier()
    trees.load_model(path)
    return trees


def _full(forest: Any, rows: F32, classes: NDArray[np.uint8], margin: F32 | None = None) -> F32:
    forest.set_params(n_jobs=1)
    got = forest.predict_proba(rows, base_margin=margin).astype(np.float32)
    out = np.zeros((len(got), len(Material)), np.float32)
    out[:, classes] = got
    return out


def fit_forests(
    photos: Sequence[Path], options: FitOptions, cache: Path
) -> tuple[list[Any], NDArray[np.uint8]]:
    """Grow the forests, one a pass.

    Parameters
    ----------
    photos : paths of photos, each with `NAME.ids.png` beside it
    options : FitOptions
    cache : path
        Folder for what passes from one forest to the next. `N.prob.npy` is left
        there: photo N by forests that never saw it.

    Returns
    -------
    list of fitted `xgboost.XGBClassifier`, the coarse one and `PASSES` more
    classes : (K,) uint8
        The materials of their outputs, in order.

    Raises
    ------
    UsageError
        When there are fewer than 4 photos, one lacks its ids map, or half of them
        a material that the others show.
    """
    if len(photos) < 4:
        raise UsageError("too few labelled photos to fit from", next_step="give at least 4")
    numbers = range(len(photos))
    forests = []
    with ProcessPoolExecutor(options.workers, mp_context=get_context("spawn")) as pool:
        view = partial(_first_rows, options=options, cache=cache)
        rows = list(pool.map(view, photos, numbers, chunksize=4))
        classes = np.unique(np.concatenate([y for r in rows for _, y in r]))
        for k in (0, 1):
            if not np.isin(classes, np.concatenate([y for _, (_, y) in rows[k::2]])).all():
                raise UsageError(
                    "half of the photos lacks a material that the others show",
                    next_step="give more photos",
                )
        forests.append(_grown([r[0][0] for r in rows], [r[0][1] for r in rows], options, classes))
        labels = [r[1][1] for r in rows]
        features = [r[1][0] for r in rows]
        for step in range(PASSES):
            last = step + 1 == PASSES
            forests.append(_grown(features, labels, options, classes, last))
            halves = []
            for k in (0, 1):
                mine = [n for n in numbers if n % 2 != k]
                half = _grown(
                    [features[n] for n in mine], [labels[n] for n in mine], options, classes, last
                )
                halves.append(cache / f"half{k}-{step}.ubj")
                half.save_model(halves[-1])
            again = partial(_next_rows, cache=cache, step=step, classes=classes)
            told = pool.map(again, numbers, [halves[n % 2] for n in numbers], chunksize=4)
            features = [f for f in told if f is not None]
    return forests, classes


def store_forest(forest: Any, outputs: int, path: Path, over: bool = False) -> None:
    """Write one forest, the same bytes for the same trees; `over`: see `audit.sight.trees.grown`."""
    store(grown(forest, outputs, over), path)


def store_forests(
    forests: Sequence[Any],
    classes: NDArray[np.uint8],
    folder: Path,
    photos: Sequence[Path],
    weighed: Sequence[Path],
    options: FitOptions,
) -> None:
    """Write the forests and their provenance as TOML; `weighed` are photos of lines and evidence alone."""
    folder.mkdir(parents=True, exist_ok=True)
    for n, forest in enumerate(forests):
        name = f"pass{n}" if n else "coarse"
        store_forest(forest, len(classes), folder / f"{name}.npz", over=n == PASSES)
    names = sorted(p.name for p in photos)
    more = sorted(p.name for p in weighed)
    text = (
        "# Written by `lidoff fit-materials`; do not edit by hand.\n"
        f"classes = {json.dumps([int(c) for c in classes])}\n"
        f"photos = {len(names)}\n"
        f"families = {json.dumps(sorted({n.split('-')[0] for n in names}))}\n"
        f'photo_names_sha256 = "{names_digest(names)}"\n'
        f"weighed_photos = {len(more)}\n"
        f"weighed_families = {json.dumps(sorted({n.split('-')[0] for n in more}))}\n"
        f'weighed_names_sha256 = "{names_digest(more)}"\n'
        'source = "our own renders (Apache-2.0), sample_images/scenes; nothing else"\n'
        f'options = "{options}"\n'
    )
    (folder / "materials.toml").write_text(text, encoding="utf-8")
