"""Boosted trees as tables of numbers, and what they tell of rows of features.

A photo asks the trees of half a million pixels twice over, which takes most of its time; the runtimes of the
registries take two to ten times as long for trees whose leaves hold a value for every class, and
one of them 240 MB to hold ours (docs/adr/0019). So every tree is stored as a whole binary tree of one depth,
and a block of rows walks down one tree after the other in step, without a branch.
"""

from __future__ import annotations

import json
import zipfile
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audit.sight.compiled import compiled
from audit.sight.types import F32

BLOCK = 64
"""Rows that walk together: their features and sums stay in a processor's nearest cache."""


@dataclass(frozen=True)
class Trees:
    """T trees of depth D with K values in each leaf, of rows of F features.

    Parameters
    ----------
    feature : (T, 2^D - 1) uint16
        What each node asks of, level by level; the children of node i are 2 i + 1 and 2 i + 2.
    threshold : (T, 2^D - 1) float32
        A row goes to the first child where its feature is less than this, a missing one (NaN) never. Infinite
        where a tree ends early: what lies below is the same leaf many times.
    leaf : (T, 2^D, K) float32
    base : (K,) float32
        What the sums start from.
    features : int
        F.
    softmax : bool
        Whether the sums are log-odds of K classes, and probabilities are told.
    """

    feature: NDArray[np.uint16]
    threshold: F32
    leaf: F32
    base: F32
    features: int
    softmax: bool

    def told(self, rows: F32, columns: Sequence[int] | None = None, n: int | None = None) -> F32:
        """What the trees tell of rows of features.

        Parameters
        ----------
        rows : (N, F) float32
        columns : sequence of int, optional
            Which column each of the K values goes to; its own by default.
        n : int, optional
            Columns wanted, K by default; those that no value goes to are 0.

        Returns
        -------
        (N, n) float32

        Raises
        ------
        ValueError
            When the rows are not of F features, or the columns are not K of n.
        """
        if rows.ndim != 2 or rows.shape[1] != self.features:
            raise ValueError(f"rows of {rows.shape[-1]} features, not {self.features}")
        outputs = self.leaf.shape[2]
        at = np.arange(outputs) if columns is None else np.asarray(columns)
        wide = outputs if n is None else n
        if len(at) != outputs or at.min() < 0 or at.max() >= wide:
            raise ValueError(
                f"{outputs} values a leaf don't fit into columns {at.tolist()} of {wide}"
            )
        at = at.astype(np.uint32)
        out = np.zeros((len(rows), wide), np.float32)
        places = self.feature.astype(np.uint32) * np.uint32(BLOCK)
        rows = np.ascontiguousarray(rows, np.float32)
        compiled(_walk)(rows, places, self.threshold, self.leaf, self.base, at, out)
        if self.softmax:
            compiled(_as_classes)(out, at)
        return out


def _walk(
    rows: F32,
    places: NDArray[np.uint32],
    threshold: F32,
    leaf: F32,
    base: F32,
    columns: NDArray[np.uint32],
    out: F32,
) -> None:
    """Fill `out`, (N, n). Indices are unsigned: signed ones are looked at twice, lest they count from the end."""
    trees, inner = threshold.shape
    width = leaf.shape[2]
    first = np.uint32(inner)
    across = np.empty(rows.shape[1] * BLOCK, np.float32)
    node = np.empty(BLOCK, np.uint32)
    total = np.empty((BLOCK, width), np.float32)
    for start in range(0, len(rows), BLOCK):
        count = min(BLOCK, len(rows) - start)
        for r in range(count):
            for f in range(rows.shape[1]):
                across[np.uint32(f * BLOCK + r)] = rows[start + r, f]
            for k in range(width):
                total[r, k] = base[k]
        for t in range(trees):
            where, less, values = places[t], threshold[t], leaf[t]
            for r in range(count):
                node[r] = 0
            below = inner
            while below:  # once a level
                below >>= 1
                for r in range(count):
                    i = node[r]
                    left = np.uint32(across[where[i] + np.uint32(r)] < less[i])
                    node[r] = np.uint32(2) * i + np.uint32(2) - left
            for r in range(count):
                i = node[r] - first
                for k in range(width):
                    total[r, k] += values[i, k]
        for r in range(count):
            for k in range(width):
                out[start + r, columns[k]] = total[r, k]


def _as_classes(sums: F32, columns: NDArray[np.uint32]) -> None:
    """Turn sums, in some columns of (N, n), into probabilities of classes, in place."""
    for r in range(len(sums)):
        highest = sums[r, columns[0]]
        for k in columns:
            highest = max(highest, sums[r, k])
        whole = np.float32(0)
        for k in columns:
            sums[r, k] = np.exp(sums[r, k] - highest)
            whole += sums[r, k]
        for k in columns:
            sums[r, k] /= whole


TABLES = ("feature", "threshold", "leaf", "base", "features", "softmax")
"""Arrays in a stored file, NumPy's NPZ; the last two hold one number."""


def load(path: Path) -> Trees:
    """Trees of a file.

    Raises
    ------
    ValueError
        When it is damaged.
    OSError
        When it can't be read.
    """
    try:
        with np.load(path, allow_pickle=False) as stored:
            feature, threshold, leaf, base, features, softmax = (stored[t] for t in TABLES)
        trees = Trees(feature, threshold, leaf, base, int(features), bool(softmax))
    except (KeyError, EOFError, TypeError, RuntimeError, zipfile.BadZipFile, zlib.error) as exc:
        raise ValueError("no trees") from exc
    _check(trees)
    return trees


def _check(trees: Trees) -> None:
    """The walk looks at nothing: whatever it would read past its tables is refused here."""
    kinds = {"feature": np.uint16, "threshold": np.float32, "leaf": np.float32, "base": np.float32}
    for name, kind in kinds.items():
        if getattr(trees, name).dtype != kind:
            raise ValueError(f"{name} is not of {np.dtype(kind)}")
    if trees.feature.ndim != 2 or trees.leaf.ndim != 3:
        raise ValueError("tables of another shape")
    count, inner = trees.feature.shape
    whole = inner > 0 and (inner + 1) & inner == 0
    alike = trees.threshold.shape == (count, inner) and trees.leaf.shape[:2] == (count, inner + 1)
    if not whole or not alike or trees.base.shape != trees.leaf.shape[2:]:
        raise ValueError("tables of another shape")
    if int(trees.feature.max(initial=0)) >= trees.features:
        raise ValueError("a node asks of a feature that no row has")


def store(trees: Trees, path: Path) -> None:
    """Write the trees, the same bytes for the same trees."""
    tables: dict[str, Any] = {name: np.asarray(getattr(trees, name)) for name in TABLES}
    np.savez_compressed(path, **tables)


def grown(forest: Any, outputs: int, over: bool = False) -> Trees:
    """Tables of trees that were fitted by the library that grows them.

    Parameters
    ----------
    forest : xgboost.XGBClassifier or xgboost.XGBRegressor
        With a value for every output in each leaf, or with one output.
    outputs : int
    over : bool
        They were grown upon a margin of every row's own, which takes the place of their base.

    Returns
    -------
    Trees
        Softmax, when the forest was fitted to tell classes.
    """
    book = json.loads(bytes(forest.get_booster().save_raw("json")))["learner"]
    trees = book["gradient_booster"]["model"]["trees"]
    depth = max(1, *(_depth(t) for t in trees))
    base = np.asarray(json.loads(book["learner_model_param"]["base_score"]), np.float32)
    made = Trees(
        np.zeros((len(trees), 2**depth - 1), np.uint16),
        np.full((len(trees), 2**depth - 1), np.inf, np.float32),
        np.zeros((len(trees), 2**depth, outputs), np.float32),
        np.array(np.broadcast_to(base * np.float32(not over), outputs)),
        int(forest.n_features_in_),
        str(book["objective"]["name"]).startswith("multi:"),
    )
    for number, tree in enumerate(trees):
        _lay(tree, number, depth, made)
    return made


def _depth(tree: dict[str, Any]) -> int:
    """Levels of nodes above the lowest leaf; parents come before their children."""
    level = [0] * len(tree["left_children"])
    for n, (left, right) in enumerate(
        zip(tree["left_children"], tree["right_children"], strict=True)
    ):
        if left != -1:
            level[left] = level[right] = level[n] + 1
    return max(level)


def _lay(tree: dict[str, Any], number: int, depth: int, into: Trees) -> None:
    """One tree into its row of each table."""
    outputs = into.leaf.shape[2]
    # A tree with one output keeps its leaves' values where others keep their thresholds.
    single = tree["split_conditions"] if outputs == 1 else tree["base_weights"]
    values = np.asarray(tree.get("leaf_weights") or single, np.float32).reshape(-1, outputs)
    left, right = tree["left_children"], tree["right_children"]
    place = {0: (0, 0)}  # level and number in the level
    for n, child in enumerate(left):
        level, k = place.pop(n)
        if child == -1:
            at = right[n] if tree.get("leaf_weights") else n
            wide = 2 ** (depth - level)
            into.leaf[number, k * wide : (k + 1) * wide] = values[at]
        else:
            into.feature[number, 2**level - 1 + k] = tree["split_indices"][n]
            into.threshold[number, 2**level - 1 + k] = tree["split_conditions"][n]
            place[child], place[right[n]] = (level + 1, 2 * k), (level + 1, 2 * k + 1)
