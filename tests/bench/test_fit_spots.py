"""Trees of spots: what a photo teaches, and that what is stored says what was grown."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from audit.bench.fit_spots import (
    SpotOptions,
    SpotRows,
    grown_spots,
    held_eight_ways,
    rows_of_maps,
    store_spots,
)
from audit.bench.truth import TruthItem
from audit.errors import UsageError
from audit.sight.spots import BARE, COPPER, FAULTS, JOINT, LATE, PROVENANCE, forests_of
from audit.sight.trees import grown as tables_of
from tests.sight.drawn import STEP, fitting

PX_PER_MM = 4 * STEP
"""Of the drawing's picture; its photo is as large."""
OPTIONS = SpotOptions()


def _item(size_mm: float, **more: Any) -> TruthItem:
    """Copper of the drawing, x 497 to 503 and y 434 to 450 of its map."""
    told = {"check": "copper-beyond-terminal", "of": "e1", "fault": True, "visible": 1.0} | more
    box = tuple(v * STEP for v in (496, 434, 504, 450))
    return TruthItem(size_mm=size_mm, box_px=box, **told)


def _rows(*items: TruthItem, kinds: tuple[str, ...] = FAULTS) -> SpotRows:
    drawing = fitting(copper_mm=4.0)
    truth: Any = SimpleNamespace(items=items, scale=SimpleNamespace(px_per_mm=PX_PER_MM))
    found = drawing.map()
    rng = np.random.default_rng(1)
    return rows_of_maps(drawing.image(), found, found, truth, OPTIONS, rng, kinds)


def test_a_fault_is_learned_at_its_middle_and_not_round_it() -> None:
    rows = _rows(_item(4.0))
    copper = rows.fault[:, FAULTS.index(COPPER)]
    # Cells are 1 mm here: within 1.6 mm of the middle lie about 8, within 4.5 about 64.
    assert 4 <= (copper == 1).sum() <= 12
    assert 40 <= (copper == -1).sum() <= 70
    others = np.delete(rows.fault, FAULTS.index(COPPER), 1)
    assert (others == 0).all()
    sides = rows.reach[copper == 1, FAULTS.index(COPPER)]
    # The box is 2 cells by 4, wherever in it the cell lies.
    assert sides[:, 2] - sides[:, 0] == pytest.approx(2)
    assert sides[:, 3] - sides[:, 1] == pytest.approx(4)
    assert np.isnan(rows.reach[copper != 1, FAULTS.index(COPPER)]).all()


def test_a_late_sleeve_is_learned_by_trees_of_its_own() -> None:
    """Those of a bare CPC learn it neither as theirs nor as sound."""
    item = _item(4.0, how="late-sleeve", check="cpc-unsleeved")
    mine = _rows(item, kinds=(LATE,)).fault
    assert mine.shape[1] == 1
    assert 4 <= (mine == 1).sum() <= 12
    theirs = _rows(item).fault
    assert (theirs != 1).all() and (theirs[:, FAULTS.index(BARE)] == -1).any()
    assert (np.delete(theirs, FAULTS.index(BARE), 1) == 0).all()
    whole = _rows(_item(4.0, check="cpc-unsleeved"), kinds=(LATE,)).fault
    assert (whole != 1).all() and (whole == -1).any()


def test_no_spot_learns_of_insulation_missing_along_a_core() -> None:
    """It is followed along the core (`audit.sight.laid_bare`)."""
    fault = _rows(_item(4.0, how="laid-bare"), kinds=(*FAULTS, LATE)).fault
    assert (fault != 1).all()
    assert (fault[:, FAULTS.index(COPPER)] == -1).any()


@pytest.mark.parametrize("item", [_item(0.6), _item(4.0, visible=0.2)])
def test_of_what_is_too_small_or_hidden_nothing_is_learned(item: TruthItem) -> None:
    copper = _rows(item).fault[:, FAULTS.index(COPPER)]
    assert (copper == 1).sum() == 0
    assert (copper == -1).any()


def test_of_a_sound_place_it_is_learned_that_nothing_is_there() -> None:
    assert (_rows(_item(0.0, fault=False)).fault == 0).all()


def test_cells_that_were_left_out_are_stood_for() -> None:
    """The weights of the cells taken add up to all that were worth asking, within chance."""
    rows = _rows(_item(4.0))
    from audit.sight.spot_features import grid_of, worth_asking

    found = fitting(copper_mm=4.0).map()
    asked = len(worth_asking(grid_of(found, found))[0])
    assert rows.weight.sum() == pytest.approx(asked, rel=0.1)


def _taught(rng: np.random.Generator) -> SpotRows:
    """The first figure tells a fault, the second how far it reaches, across the way half as far as along it."""
    features = rng.normal(0, 1, (1200, 6)).astype(np.float16)
    there = features[:, :1].astype(np.float32) > 0.5
    fault = np.repeat(there, len(FAULTS), 1).astype(np.int8)
    ways = np.eye(4, dtype=np.float32)[rng.integers(0, 2, 1200)]
    shape = np.where(ways[:, :1] == 1, [[-1, -0.5, 1, 0.5]], [[-0.5, -1, 0.5, 1]])
    sides = shape.astype(np.float32) * (3 + features[:, 1:2].astype(np.float32))
    reach = np.where(there, sides, np.nan)[:, None].repeat(len(FAULTS), 1).astype(np.float32)
    return SpotRows(features, ways, fault, reach, np.ones(1200, np.float32))


def test_what_is_stored_says_what_was_grown(tmp_path: Path) -> None:
    """xgboost's own predictions against the tables that are stored."""
    pytest.importorskip("xgboost")
    rng = np.random.default_rng(0)
    grown = grown_spots([_taught(rng)], JOINT, SpotOptions(rounds=30, box_rounds=40), 7, workers=1)
    asked = rng.normal(0, 1, (80, 6)).astype(np.float32)
    likely, far = forests_of(COPPER, JOINT)
    told = tables_of(grown[likely], 2).told(asked)
    assert told == pytest.approx(grown[likely].predict_proba(asked), abs=1e-5)
    assert np.corrcoef(told[:, 1], asked[:, 0] > 0.5)[0, 1] > 0.9
    boxes = tables_of(grown[far], 4)
    for way in ([1, 0, 0, 0], [0, -1, 0, 0]):
        there = np.concatenate([asked, np.tile(np.float32(way), (80, 1))], -1)
        reach = boxes.told(there)
        assert reach == pytest.approx(grown[far].predict(there), abs=1e-4)
        assert np.corrcoef(reach[:, 3], asked[:, 1])[0, 1] > 0.9
        long, short = (reach[:, 2], reach[:, 3]) if way[0] else (reach[:, 3], reach[:, 2])
        assert np.median(long / short) == pytest.approx(2, rel=0.2)
    store_spots(grown, tmp_path, PROVENANCE, "photos = 2")
    stored = {p.name for p in tmp_path.iterdir()}
    assert stored == {PROVENANCE, *(n for kind in FAULTS for n in forests_of(kind, JOINT))}
    assert "photos = 2" in (tmp_path / PROVENANCE).read_text(encoding="utf-8")


def test_a_box_turns_with_the_way_the_photo_is_held() -> None:
    """From upright: a way to the right, and a box that reaches 1 left, 2 up, 3 right, 4 down."""
    way, box = np.float32([[1, 0, 0, 1]]), np.float32([[-1, -2, 3, 4]])
    rows, boxes = held_eight_ways(np.float32([[7]]), way, box)
    told = {tuple(r): tuple(b) for r, b in zip(rows.tolist(), boxes.tolist(), strict=True)}
    assert len(told) == 8
    assert told[7, 1, 0, 0, 1] == (-1, -2, 3, 4)
    # A quarter turn to the right: what went right goes down, what went down goes left.
    assert told[7, 0, 1, -1, 0] == (-4, -1, 2, 3)
    # Mirrored: left and right change, up and down do not.
    assert told[7, -1, 0, 0, 1] == (-3, -2, 1, 4)


def test_a_kind_without_a_fault_is_refused() -> None:
    pytest.importorskip("xgboost")
    rows = _taught(np.random.default_rng(0))
    rows.fault[:, FAULTS.index("cut")] = 0
    with pytest.raises(UsageError, match="kind cut"):
        grown_spots([rows], JOINT, SpotOptions(rounds=2, box_rounds=2), 7, workers=1)
    with pytest.raises(UsageError, match="no photo with truth"):
        grown_spots([], JOINT, SpotOptions(), 7, workers=1)
