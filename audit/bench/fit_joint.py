"""Grow the trees that make one map of both looks' maps (extra `fit`).

They learn from photos that no forest of materials has seen: maps of photos that such a forest learned from are
better than those of the photos that the tool is used on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.errors import UsageError
from audit.resources import load_toml
from audit.sight.features import KINDS, channels, context_features, kept_of
from audit.sight.fit import FitOptions, boosted, labels_of, picked
from audit.sight.joint_map import at_size_of
from audit.sight.materials import LEAST, N_MATERIALS
from audit.sight.types import F32, AnalysisImage, MaterialMap
from audit.sight.whole import whole_of

U8 = NDArray[np.uint8]


@dataclass(frozen=True)
class JointOptions:
    """What is learned, and how the trees are grown."""

    per_class: int = FitOptions.per_class
    rows: int = 850_000
    """Pixels of all photos together, at most."""
    rounds: int = 70
    depth: int = 8
    rate: float = 0.2
    least: float = 5.0
    picks: int = 3
    """Seed of which pixels are taken of a photo."""


@dataclass(frozen=True)
class JointRows:
    """Some pixels of one photo.

    Parameters
    ----------
    features : (n, F) float16
        As `audit.sight.joint_map.joint_map` asks of its trees; what both maps say comes last.
    ids : (n,) uint8
    weight : (n,) float32
        Which share of the photo each stands for; a fit takes the square root of it, so that
        ceilings and cables are not all that counts.
    """

    features: NDArray[np.float16]
    ids: U8
    weight: F32


def joint_rows(
    photo: Path,
    image: AnalysisImage,
    first: MaterialMap,
    second: MaterialMap,
    options: JointOptions,
) -> JointRows:
    """What one photo with `NAME.ids.png` teaches.

    Parameters
    ----------
    photo : Path
    image : AnalysisImage
        Of this photo.
    first, second : MaterialMap
        Of both looks at it.
    options : JointOptions

    Raises
    ------
    UsageError
        When the photo lacks its ids map.
    """
    theirs, mine = at_size_of(second, first), first.prob
    h, w = mine.shape[:2]
    ids = labels_of(photo, (w, h))
    rng = np.random.default_rng([options.picks, *photo.stem.encode()])
    at, weight = picked(ids, rng, options.per_class)
    some = np.zeros(h * w, bool)
    some[at] = True
    some = some.reshape(h, w)
    again = kept_of(*channels(image, (w, h)))
    mean = np.asarray((mine + theirs) / 2, np.float32)
    context = context_features(again, mean, slice(None), some)
    whole = whole_of(again, mean, KINDS).features(slice(None), some)
    rows = np.concatenate([context, whole, theirs[some], mine[some]], -1)
    # Features come in the order of the photo's pixels.
    order = np.argsort(at)
    return JointRows(
        rows.astype(np.float16), ids.ravel()[at[order]], weight[order] / np.float32(h * w)
    )


def grown_joint(
    rows: Sequence[JointRows], options: JointOptions, seed: int, workers: int = 2
) -> Any:
    """Grow the trees, upon the mean of both maps.

    Raises
    ------
    UsageError
        Without photos, or when none shows some material that stored forests tell.
    """
    if not rows:
        raise UsageError("no photo with truth to learn from", next_step="give a folder of renders")
    rng = np.random.default_rng(seed)
    most = options.rows // len(rows)
    features, labels, weights = [], [], []
    for r in rows:
        n = len(r.ids)
        some = np.sort(rng.choice(n, min(n, most), replace=False))
        features.append(r.features[some])
        labels.append(r.ids[some])
        weights.append(r.weight[some] * np.float32(n / len(some)))
    classes = stored_classes()
    X, y = np.concatenate(features).astype(np.float32), np.concatenate(labels)
    known = np.isin(y, classes)
    if not np.isin(classes, y).all():
        raise UsageError("no photo shows some of the materials", next_step="give more photos")
    X, y, weight = X[known], y[known], np.sqrt(np.concatenate(weights)[known])
    trees = boosted(
        len(classes), options.rounds, options.depth, options.rate, options.least,
        max_bin=64, n_jobs=workers, random_state=seed,
    )  # fmt: skip
    return trees.fit(
        X,
        np.searchsorted(classes, y),
        base_margin=_mean_margin(X, classes),
        sample_weight=weight / weight.mean(),
    )


def stored_classes() -> U8:
    """The materials that forests tell apart, as the stored forest of materials has them, in order."""
    return np.asarray(load_toml("materials/materials.toml")["classes"], np.uint8)


def _mean_margin(rows: F32, classes: U8) -> F32:
    """Log-probabilities of the mean of both maps, which the trees are grown upon, (n, K)."""
    both = rows[:, -2 * N_MATERIALS :].reshape(len(rows), 2, N_MATERIALS).mean(1)
    return np.asarray(np.log(np.maximum(both[:, classes], LEAST)), np.float32)


def by_trees(trees: Any) -> Callable[[str, F32], F32]:
    """What stands in for the stored trees where others are wanted: those that never saw a photo."""
    classes = stored_classes()

    def tell(_forest: str, rows: F32) -> F32:
        cv2.setNumThreads(1)
        trees.set_params(n_jobs=1)
        told = trees.predict_proba(rows, base_margin=np.zeros((len(rows), len(classes))))
        out = np.zeros((len(rows), N_MATERIALS), np.float32)
        out[:, classes] = told
        return out

    return tell
