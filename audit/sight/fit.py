"""Fit the material forests from photos with an ids map (extra `fit`).

The photos come from a benchmark folder (`NAME.jpg` with `NAME.ids.png`). Each
is also shown with another white balance, exposure, noise and blur, so that
the forests learn what stays the same. The second forest is fitted on
first-pass probabilities of photos that the first pass did not see.
"""

from __future__ import annotations

import gzip
import hashlib
import json
import os
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.errors import UsageError, Where
from audit.photo.decode import read_photo
from audit.settings import Settings
from audit.sight.analysis import analysis_image
from audit.sight.features import context_features, pixel_features
from audit.sight.materials import MAP_STEP
from audit.sight.types import F32, Material

F16 = NDArray[np.float16]
U8 = NDArray[np.uint8]


@dataclass(frozen=True)
class FitOptions:
    """How the forests are grown."""

    per_class: int = 150
    """Pixels taken of each class from each view of each photo."""
    variants: int = 2
    """Views of each photo: itself, and with its light changed."""
    trees: int = 20
    depth: int = 16
    leaf: int = 45
    seed: int = 7


def _variant(rgb: U8, rng: np.random.Generator) -> U8:
    """The photo as other light and another phone might have given it."""
    img = rgb.astype(np.float32) / 255
    img = img ** np.float32(np.exp(rng.normal(0, 0.18)))
    gains = np.exp(rng.normal(0, 0.10, 3)).astype(np.float32)
    img = img * gains * np.float32(np.exp(rng.normal(0, 0.25)))
    mean = img.mean(-1, keepdims=True)
    img = mean + (img - mean) * np.float32(np.exp(rng.normal(0, 0.2)))
    if rng.random() < 0.5:
        img = cv2.GaussianBlur(img, (0, 0), float(rng.uniform(0.5, 1.8)))
    img = img + rng.normal(0, rng.uniform(0, 0.03), img.shape).astype(np.float32)
    return np.asarray(np.clip(img, 0, 1) * 255, np.uint8)


def _views(photo: Path, options: FitOptions) -> Iterator[tuple[F16, U8, np.random.Generator]]:
    ids = cv2.imread(str(photo.with_name(photo.stem + ".ids.png")), cv2.IMREAD_GRAYSCALE)
    if ids is None:
        raise UsageError("photo without its ids map", Where(photo))
    rgb = read_photo(photo, Settings()).rgb
    key = int(hashlib.sha256(photo.name.encode()).hexdigest()[:8], 16)
    rng = np.random.default_rng([options.seed, key])
    for k in range(options.variants):
        image = analysis_image(rgb if k == 0 else _variant(rgb, rng))
        pixel = pixel_features(image, MAP_STEP)
        size = (pixel.shape[1], pixel.shape[0])
        # Half precision: all views are held at once.
        yield (
            pixel.astype(np.float16),
            np.asarray(cv2.resize(ids, size, interpolation=cv2.INTER_NEAREST)),
            rng,
        )


def _pick(ids: U8, rng: np.random.Generator, per_class: int) -> NDArray[np.intp]:
    """Flat indices: up to `per_class` of each class, twice that and half at edges of the rest."""
    flat = ids.ravel()
    edge = cv2.morphologyEx(ids, cv2.MORPH_GRADIENT, np.ones((5, 5), np.uint8)).ravel() > 0
    chosen = []
    for k in np.unique(flat):
        n = per_class * (3 if k == Material.OTHER else 2 if k in (1, 9, 10, 11) else 1)
        parts = (np.flatnonzero((flat == k) & edge), np.flatnonzero((flat == k) & ~edge))
        chosen += [rng.choice(p, min(n // 2, len(p)), replace=False) for p in parts if len(p)]
    return np.concatenate(chosen)


def _forest(X: F32, y: U8, options: FitOptions) -> Any:
    from sklearn.ensemble import ExtraTreesClassifier

    forest = ExtraTreesClassifier(
        options.trees,
        max_depth=options.depth,
        min_samples_leaf=options.leaf,
        max_features=0.3,
        n_jobs=-1,
        random_state=options.seed,
    )
    return forest.fit(X, y)


def _full(forest: Any, pixel: F32) -> F32:
    forest.set_params(n_jobs=1)
    got = forest.predict_proba(pixel.reshape(-1, pixel.shape[-1])).astype(np.float32)
    out = np.zeros((got.shape[0], len(Material)), np.float32)
    out[:, forest.classes_] = got
    return out.reshape(*pixel.shape[:2], -1)


def fit_forests(photos: Sequence[Path], options: FitOptions) -> tuple[Any, Any]:
    """Grow both forests.

    Parameters
    ----------
    photos : paths of photos, each with `NAME.ids.png` beside it
    options : FitOptions

    Returns
    -------
    first, second : fitted scikit-learn forests

    Raises
    ------
    UsageError
        When there are fewer than 4 photos, or one lacks its ids map.
    """
    if len(photos) < 4:
        raise UsageError("too few labelled photos to fit from", next_step="give at least 4")
    with ThreadPoolExecutor(os.cpu_count()) as pool:
        seen = list(pool.map(lambda photo: list(_views(photo, options)), photos))
    picks = [[_pick(ids, rng, options.per_class) for _, ids, rng in views] for views in seen]
    rows = [
        (
            i % 2,
            np.concatenate([_rows(v[0], at) for v, at in zip(views, picks[i], strict=True)]),
            np.concatenate([v[1].ravel()[at] for v, at in zip(views, picks[i], strict=True)]),
        )
        for i, views in enumerate(seen)
    ]
    X, y = np.concatenate([r[1] for r in rows]), np.concatenate([r[2] for r in rows])
    halves = [
        _forest(
            np.concatenate([r[1] for r in rows if r[0] != k]),
            np.concatenate([r[2] for r in rows if r[0] != k]),
            options,
        )
        for k in (0, 1)
    ]
    first = _forest(X, y, options)

    def second_rows(i: int) -> F32:
        out = []
        for (pixel, _, _), at in zip(seen[i], picks[i], strict=True):
            wide = pixel.astype(np.float32)
            out.append(_rows(context_features(wide, _full(halves[i % 2], wide)), at))
        return np.concatenate(out)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        X2 = np.concatenate(list(pool.map(second_rows, range(len(seen)))))
    return first, _forest(X2, y, options)


def _rows(stack: NDArray[Any], at: NDArray[np.intp]) -> F32:
    return np.asarray(stack.reshape(-1, stack.shape[-1])[at], np.float32)


def store_forests(
    first: Any, second: Any, folder: Path, photos: Sequence[Path], options: FitOptions
) -> None:
    """Write both forests as ONNX and their provenance as TOML.

    Raises
    ------
    UsageError
        When the two forests did not see the same classes.
    """
    from skl2onnx import to_onnx

    if list(first.classes_) != list(second.classes_):
        raise UsageError("the photos do not show the same materials in both halves")
    folder.mkdir(parents=True, exist_ok=True)
    for name, forest in (("first", first), ("second", second)):
        sample = np.zeros((1, forest.n_features_in_), np.float32)
        model = to_onnx(forest, sample, options={id(forest): {"zipmap": False}}, target_opset=17)
        # Trees repeat themselves: packed they take an eighth, which counts in every clone.
        packed = gzip.compress(model.SerializeToString(), 9, mtime=0)
        (folder / f"{name}.onnx.gz").write_bytes(packed)
    digest = hashlib.sha256("".join(sorted(p.name for p in photos)).encode()).hexdigest()
    text = (
        "# Written by `lidoff fit-materials`; do not edit by hand.\n"
        f"classes = {json.dumps([int(c) for c in first.classes_])}\n"
        f"photos = {len(photos)}\n"
        f'photo_names_sha256 = "{digest}"\n'
        'source = "our own renders, sample_images/bench/tune (Apache-2.0); nothing else"\n'
        f'options = "{options}"\n'
    )
    (folder / "materials.toml").write_text(text, encoding="utf-8")
