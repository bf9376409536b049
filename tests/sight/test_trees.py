"""Stored trees: what they tell against the library that grew them, and files that are none."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from audit.resources import models_dir
from audit.sight.fit import boosted
from audit.sight.trees import BLOCK, TABLES, Trees, grown, load, store

RNG = np.random.default_rng(5)
ROWS = RNG.normal(0, 1, (400, 6)).astype(np.float32)


def drawn(depth: int = 2, outputs: int = 3, softmax: bool = False) -> Trees:
    """Two trees of random thresholds and values."""
    nodes = 2**depth - 1
    return Trees(
        RNG.integers(0, 6, (2, nodes)).astype(np.uint16),
        RNG.normal(0, 0.5, (2, nodes)).astype(np.float32),
        RNG.normal(0, 1, (2, nodes + 1, outputs)).astype(np.float32),
        np.full(outputs, 0.25, np.float32),
        6,
        softmax,
    )


def by_hand(trees: Trees, row: np.ndarray) -> np.ndarray:
    """Sums of one row, node by node."""
    total = trees.base.astype(np.float64)
    for feature, threshold, leaf in zip(trees.feature, trees.threshold, trees.leaf, strict=True):
        node = 0
        while node < len(feature):
            node = 2 * node + (1 if row[feature[node]] < threshold[node] else 2)
        total = total + leaf[node - len(feature)]
    return total


@pytest.mark.parametrize("count", [0, 1, BLOCK - 1, BLOCK, 3 * BLOCK + 7])
def test_a_row_walks_to_its_leaf_in_every_tree(count: int) -> None:
    trees = drawn(depth=4)
    told = trees.told(ROWS[:count])
    assert told.shape == (count, 3)
    for row, sums in zip(ROWS[:count], told, strict=True):
        assert sums == pytest.approx(by_hand(trees, row), abs=1e-5)


def test_a_missing_value_goes_to_the_second_child() -> None:
    trees = drawn(depth=1)
    nothing = np.full((1, 6), np.nan, np.float32)
    assert trees.told(nothing)[0] == pytest.approx(trees.base + trees.leaf[:, 1].sum(0), abs=1e-6)


def test_classes_add_up_to_one_and_go_to_their_columns() -> None:
    trees = drawn(softmax=True)
    told = trees.told(ROWS, columns=(4, 0, 2), n=5)
    sums = np.exp(replace(trees, softmax=False).told(ROWS))
    assert told[:, (4, 0, 2)] == pytest.approx(sums / sums.sum(1, keepdims=True), abs=1e-6)
    assert (told[:, (1, 3)] == 0).all()


def test_rows_of_another_length_are_refused() -> None:
    with pytest.raises(ValueError, match="5 features, not 6"):
        drawn().told(ROWS[:, :5])


@pytest.mark.parametrize(
    ("columns", "n"), [((0, 1), 3), ((0, 1, 5), 4), ((0, 1, -1), 4), (None, 2)]
)
def test_columns_that_are_not_there_are_refused(columns: tuple[int, ...] | None, n: int) -> None:
    """The walk writes where it is told to."""
    with pytest.raises(ValueError, match="don't fit"):
        drawn().told(ROWS, columns, n)


def test_any_damaged_byte_is_a_value_error_or_harmless(tmp_path: Path) -> None:
    store(drawn(depth=6), tmp_path / "whole.npz")
    whole = (tmp_path / "whole.npz").read_bytes()
    refused = 0
    for at in range(0, len(whole), 7):
        spoilt = bytearray(whole)
        spoilt[at] ^= 0x55
        (tmp_path / "t.npz").write_bytes(spoilt)
        try:
            load(tmp_path / "t.npz")
        except ValueError:
            refused += 1
    assert refused > 0.8 * len(whole) / 7


def test_the_same_trees_are_the_same_bytes_and_come_back_as_they_were(tmp_path: Path) -> None:
    trees = drawn()
    for name in ("a.npz", "b.npz"):
        store(trees, tmp_path / name)
    assert (tmp_path / "a.npz").read_bytes() == (tmp_path / "b.npz").read_bytes()
    again = load(tmp_path / "a.npz")
    assert all(np.array_equal(getattr(again, t), getattr(trees, t)) for t in TABLES)


def spoilt() -> dict[str, Trees]:
    """Tables that would be read past their ends, or are no trees."""
    trees = drawn()
    return {
        "a node asks of": replace(trees, features=3, feature=np.full_like(trees.feature, 3)),
        "another shape": replace(trees, leaf=trees.leaf[:, :-1]),
        "of another shape": replace(trees, feature=trees.feature[:, :2]),
        "tables of": replace(trees, base=trees.base[:1]),
        "is not of uint16": replace(trees, feature=trees.feature.astype(np.int64)),
        "is not of float32": replace(trees, threshold=trees.threshold.astype(np.float64)),
    }


@pytest.mark.parametrize("why", spoilt())
def test_tables_that_do_not_fit_are_refused(why: str, tmp_path: Path) -> None:
    store(spoilt()[why], tmp_path / "t.npz")
    with pytest.raises(ValueError, match=why):
        load(tmp_path / "t.npz")


def test_a_file_without_all_tables_or_cut_short_is_refused(tmp_path: Path) -> None:
    np.savez(tmp_path / "few.npz", feature=np.zeros(3))
    store(drawn(), tmp_path / "whole.npz")
    whole = (tmp_path / "whole.npz").read_bytes()
    (tmp_path / "short.npz").write_bytes(whole[: len(whole) // 2])
    (tmp_path / "empty.npz").write_bytes(b"")
    for name in ("few.npz", "short.npz", "empty.npz"):
        with pytest.raises(ValueError):
            load(tmp_path / name)


@pytest.mark.parametrize("over", [False, True])
def test_what_was_grown_tells_what_its_own_library_tells(over: bool) -> None:
    """xgboost's own sums and probabilities: classes in each leaf, upon a margin and not."""
    pytest.importorskip("xgboost")
    labels = np.digitize(ROWS[:, 0] + ROWS[:, 1] ** 2, [-0.5, 0.5, 1.5])
    margin = RNG.normal(0, 1, (len(ROWS), 4)).astype(np.float32) if over else None
    forest = boosted(4, 12, 5, 0.3, 1.0, random_state=1, n_jobs=1)
    forest.fit(ROWS, labels, base_margin=margin)
    tables = grown(forest, 4, over=over)
    assert tables.softmax
    sums = replace(tables, softmax=False).told(ROWS)
    own = forest.predict(ROWS, output_margin=True, base_margin=margin)
    assert sums + (margin if over else 0) == pytest.approx(own, abs=1e-5)
    if not over:
        assert tables.told(ROWS) == pytest.approx(forest.predict_proba(ROWS), abs=1e-5)


def test_one_value_a_leaf_is_a_forest_too() -> None:
    xgboost = pytest.importorskip("xgboost")
    forest = xgboost.XGBRegressor(n_estimators=9, max_depth=3, n_jobs=1)
    forest.fit(ROWS, ROWS[:, 2] * ROWS[:, 3])
    tables = grown(forest, 1)
    assert not tables.softmax
    assert tables.told(ROWS)[:, 0] == pytest.approx(forest.predict(ROWS), abs=1e-5)


def test_every_stored_forest_is_of_this_kind() -> None:
    """A file of another kind would be shipped for nothing."""
    folder = models_dir() / "materials"
    assert {p.suffix for p in folder.iterdir()} == {".npz", ".toml"}
    for path in folder.glob("*.npz"):
        assert load(path).features > 0
