"""Spots that look like a fault: what trees are shown of them, and which of them are told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.sight import spots as module
from audit.sight.spot_features import CELL, Grid, grid_of, spot_features, worth_asking
from audit.sight.spots import (
    APART,
    AT_MOST,
    COPPER,
    CUT,
    CUT_FROM,
    JOINT,
    LOOKS,
    PROVENANCE,
    TOLD_FROM,
    _highest,
    spots_of,
)
from audit.sight.types import F32, AnalysisImage, MaterialMap
from tests.sight.drawn import STEP, Drawing, fitting


@pytest.fixture(scope="module")
def drawing() -> Drawing:
    return fitting(copper_mm=4.0)


@pytest.fixture(scope="module")
def image(drawing: Drawing) -> AnalysisImage:
    return drawing.image()


def _turned(image: AnalysisImage, grid: Grid) -> tuple[AnalysisImage, Grid]:
    """The photo held the other way: a quarter turn to the left."""
    linear, first, second = (
        np.ascontiguousarray(np.rot90(p)) for p in (image.linear, grid.first, grid.second)
    )
    return AnalysisImage(linear, image.scale, image.balance), Grid(first, second, grid.cell)


def test_a_turned_photo_shows_the_same(drawing: Drawing, image: AnalysisImage) -> None:
    grid = grid_of(drawing.map(), drawing.map())
    y, x = worth_asking(grid)
    w = grid.first.shape[1]
    rows, ways = spot_features(image, grid, y, x)
    turned, their_ways = spot_features(*_turned(image, grid), w - 1 - x, y)
    # Where nothing has a direction its sign is chance, and a few samples fall elsewhere.
    assert np.median(np.abs(rows - turned)) < 1e-3
    assert np.mean(np.abs(rows - turned) < 0.05) > 0.97
    # A quarter turn to the left: what went right goes up.
    for way in (0, 2):
        right, down = ways[:, way], ways[:, way + 1]
        off = np.hypot(their_ways[:, way] - down, their_ways[:, way + 1] + right)
        assert np.mean(off < 0.05) > 0.9


def test_what_lies_inward_is_told_from_what_lies_outward(
    drawing: Drawing, image: AnalysisImage
) -> None:
    """A cell at the sheath's end has sheath on one side and cores on the other, whichever way is up."""
    grid = grid_of(drawing.map(), drawing.map())
    at = np.array([300 // CELL]), np.array([400 // CELL])
    row = spot_features(image, grid, *at)[0][0]
    first_way = 8 * 11 + 1  # planes at the cell itself, and how the two ways agree
    outward, inward = (row[first_way + k * 11 :][:11] for k in (2, 3))  # 6 cells back and on
    assert outward[0] > 0.3 > inward[0]
    assert inward[1:5].sum() > 0.3 > outward[1:5].sum()


def test_only_cells_by_a_core_are_asked_of(drawing: Drawing) -> None:
    grid = grid_of(drawing.map(), drawing.map())
    y, x = worth_asking(grid)
    core = np.argwhere(grid.first[..., 1:6].sum(-1) > 0.4)
    away = np.min(np.hypot(y[:, None] - core[:, 0], x[:, None] - core[:, 1]), 1)
    assert 0 < away.max() <= 13
    assert set(map(tuple, core)) <= set(zip(y.tolist(), x.tolist(), strict=True))


def _stored(monkeypatch: pytest.MonkeyPatch, folder: Path, told: F32, reach: F32) -> None:
    (folder / "materials").mkdir()
    (folder / "materials" / PROVENANCE).touch()
    monkeypatch.setattr(module, "models_dir", lambda: folder)
    _set_reach(monkeypatch, told, reach)


def _set_reach(
    monkeypatch: pytest.MonkeyPatch,
    told: F32,
    reach: F32,
    by: tuple[str, ...] = (LOOKS,),
    kind: str = COPPER,
) -> None:
    """Let the trees that see those maps tell one kind so."""

    def stored(name: str, rows: F32) -> F32:
        if "box" in name:
            return np.tile(reach, (len(rows), 1))
        mine = told if kind in name and any(b in name for b in by) else 0 * told
        return np.stack([1 - mine, mine], -1)

    monkeypatch.setattr(module, "stored", stored)


def test_a_spot_is_told_where_it_is(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, drawing: Drawing, image: AnalysisImage
) -> None:
    found = drawing.map()
    y, x = worth_asking(grid_of(found, found))
    told = np.zeros(len(y), np.float32)
    told[100] = 0.7
    _stored(monkeypatch, tmp_path, told, np.array([-2, -1, 2, 1], np.float32))
    (spot,) = spots_of(image, found, found, found)
    assert spot.kind == COPPER
    assert spot.probability == pytest.approx(0.7)
    left, top, right, bottom = spot.box
    side = CELL * STEP
    assert (right - left, bottom - top) == (pytest.approx(4 * side), pytest.approx(2 * side))
    # The middle of cell k lies k cells and a half from the corner of the picture's first pixel.
    assert (left + right) / 2 == pytest.approx((x[100] + 0.5) * side - 0.5)
    assert (top + bottom) / 2 == pytest.approx((y[100] + 0.5) * side - 0.5)


def test_either_kind_of_trees_tells_spots_by_a_level_of_its_own(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, drawing: Drawing, image: AnalysisImage
) -> None:
    found = drawing.map()
    told = np.zeros(len(worth_asking(grid_of(found, found))[0]), np.float32)
    told[100] = (TOLD_FROM[LOOKS] + TOLD_FROM[JOINT]) / 2
    reach = np.array([-2, -1, 2, 1], np.float32)
    _stored(monkeypatch, tmp_path, told, reach)
    assert len(spots_of(image, found, found, found)) == 1
    _set_reach(monkeypatch, told, reach, (JOINT,))
    assert spots_of(image, found, found, found) == ()
    _set_reach(monkeypatch, 2 * told, reach, (JOINT,))
    assert len(spots_of(image, found, found, found)) == 1
    _set_reach(monkeypatch, 2 * told, reach, (LOOKS, JOINT))
    assert len(spots_of(image, found, found, found)) == 2


def test_a_cpc_cut_short_is_told_of_from_less_on_by_both_looks_maps(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, drawing: Drawing, image: AnalysisImage
) -> None:
    found = drawing.map()
    told = np.zeros(len(worth_asking(grid_of(found, found))[0]), np.float32)
    told[100] = (CUT_FROM + TOLD_FROM[LOOKS]) / 2
    reach = np.array([-2, -1, 2, 1], np.float32)
    _stored(monkeypatch, tmp_path, told, reach)
    for by, kind, n in ((LOOKS, COPPER, 0), (LOOKS, CUT, 1), (JOINT, CUT, 0)):
        _set_reach(monkeypatch, told, reach, (by,), kind)
        assert len(spots_of(image, found, found, found)) == n


def test_what_is_unlikely_is_passed_over(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, drawing: Drawing, image: AnalysisImage
) -> None:
    found = drawing.map()
    n = len(worth_asking(grid_of(found, found))[0])
    _stored(
        monkeypatch,
        tmp_path,
        np.full(n, 0.9 * TOLD_FROM[LOOKS], np.float32),
        np.ones(4, np.float32),
    )
    assert spots_of(image, found, found, found) == ()


def _two_five_cells_apart(found: MaterialMap) -> F32:
    """How likely a fault is told of every cell: two in one row, and nothing else."""
    y, x = worth_asking(grid_of(found, found))
    told = np.zeros(len(y), np.float32)
    other = int(np.flatnonzero((y == y[100]) & (x == x[100] + 5))[0])
    told[100], told[other] = 0.7, 0.6
    return told


def test_a_spot_whose_box_is_mostly_a_likelier_one_s_is_passed_over(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, drawing: Drawing, image: AnalysisImage
) -> None:
    """Two places 5 cells apart, both with a box 20 cells long, overlap by 15 of 25; with 4 cells they don't."""
    found = drawing.map()
    told = _two_five_cells_apart(found)
    _stored(monkeypatch, tmp_path, told, np.array([-10, -1, 10, 1], np.float32))
    assert [s.probability for s in spots_of(image, found, found, found)] == [pytest.approx(0.7)]
    _set_reach(monkeypatch, told, np.array([-2, -1, 2, 1], np.float32))
    assert len(spots_of(image, found, found, found)) == 2


def test_sides_told_in_the_wrong_order_hide_no_other_spot(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, drawing: Drawing, image: AnalysisImage
) -> None:
    found = drawing.map()
    told = _two_five_cells_apart(found)
    _stored(monkeypatch, tmp_path, told, np.array([2, -1, -2, 1], np.float32))
    spots = spots_of(image, found, found, found)
    assert len(spots) == 2
    assert all(s.box[0] < s.box[2] and s.box[1] < s.box[3] for s in spots)


def test_of_many_spots_the_likeliest_are_told(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, drawing: Drawing, image: AnalysisImage
) -> None:
    found = drawing.map()
    y, x = worth_asking(grid_of(found, found))
    told = np.linspace(0.2, 0.9, len(y)).astype(np.float32)
    _stored(monkeypatch, tmp_path, told, np.array([-1, -1, 1, 1], np.float32))
    spots = spots_of(image, found, found, found)
    assert len(spots) == AT_MOST
    # Boxes of 2 cells by 2 that lie 4 apart never overlap.
    apart = len(_highest(told, np.stack([x, y], -1).astype(np.float64), TOLD_FROM[LOOKS]))
    assert {s.more for s in spots} == {apart - AT_MOST}
    assert apart > AT_MOST
    assert spots[0].probability == pytest.approx(0.9)
    assert [s.probability for s in spots] == sorted((s.probability for s in spots), reverse=True)


def test_without_a_core_or_without_trees_there_are_no_spots(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, drawing: Drawing, image: AnalysisImage
) -> None:
    bare = Drawing().map()
    assert spots_of(image, bare, bare, bare) == ()
    monkeypatch.setattr(module, "models_dir", lambda: tmp_path)
    assert spots_of(image, *3 * (drawing.map(),)) == ()


def test_the_stored_trees_find_drawn_copper(drawing: Drawing, image: AnalysisImage) -> None:
    """4 mm of copper before a terminal, in a drawing that no tree has seen, is a likely spot; 0 mm is a less likely one."""

    def likeliest(d: Drawing, picture: AnalysisImage) -> float:
        told = [s for s in spots_of(picture, *3 * (d.map(),)) if s.kind == COPPER]
        # The copper's middle: x = 500, y = 442 of the map.
        near = [
            s.probability
            for s in told
            if np.hypot(s.box[::2].mean() / STEP - 500, s.box[1::2].mean() / STEP - 442) < 4 * 4
        ]
        return max(near, default=0.0)

    whole = fitting(copper_mm=0.0)
    assert likeliest(drawing, image) > likeliest(whole, whole.image())


def test_a_second_map_of_another_step_lies_on_the_same_cells(drawing: Drawing) -> None:
    found = drawing.map()
    finer = MaterialMap(np.repeat(np.repeat(found.prob, 2, 0), 2, 1), found.step / 2)
    grid = grid_of(found, finer)
    assert np.abs(grid.first - grid.second).max() < 1e-5
    assert grid.cell == pytest.approx((CELL * STEP, CELL * STEP))


def test_a_cell_is_as_high_as_the_map_holds_cells() -> None:
    """A map of 402 by 302 px has 100 by 76 cells (75.5, rounded to even): they fill it both ways."""
    found = MaterialMap(np.zeros((302, 402, 15), np.float32), STEP)
    width, height = grid_of(found, found).cell
    assert width == pytest.approx(402 / 100 * STEP)
    assert height == pytest.approx(302 / 76 * STEP)


LEAST = TOLD_FROM[LOOKS]
LIKELY = [0.0, 0.9 * LEAST, 1.1 * LEAST, 0.1, 0.5, 1.0]


@given(
    st.lists(st.tuples(st.integers(0, 30), st.integers(0, 30)), min_size=1, unique=True), st.data()
)
def test_of_spots_near_each_other_the_likeliest_is_told(
    places: list[tuple[int, int]], data: st.DataObject
) -> None:
    told = np.array([data.draw(st.sampled_from(LIKELY)) for _ in places], np.float32)
    at = np.array(places, np.float64)
    kept = _highest(told, at, LEAST)
    for n, k in enumerate(kept):
        assert told[k] >= LEAST
        assert all(np.hypot(*(at[k] - at[j])) >= APART for j in kept[:n])
    for left in np.flatnonzero(told >= LEAST):
        near = [j for j in kept if np.hypot(*(at[left] - at[j])) < APART]
        assert any(told[j] >= told[left] for j in near)
