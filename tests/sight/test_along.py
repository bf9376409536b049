"""Lines across a cable told by all places along it together: steps, stretches, and where they lie."""

from __future__ import annotations

import numpy as np
import pytest

from audit.sight.crossings import (
    AGAIN,
    EDGE_FOREST,
    FORESTS,
    GRIP_FOREST,
    TRACKS,
    WALL_FOREST,
    Crossings,
    Places,
    change,
    find_crossings,
    places_along,
    stretch,
    told_along,
)
from audit.sight.types import F64

from .drawn import fitting, grey_image

WIDTH = 32.0


def places(n: int = 60, grain: float = 4.0) -> Places:
    s = np.arange(n) * grain
    tracks = np.stack([np.stack([np.full(n, t * WIDTH), s], -1) for t in TRACKS], 1)
    return Places(s, tracks, np.zeros((n, 3, 1), np.float32), WIDTH)


def noisy(past: np.ndarray, seed: int = 1) -> F64:
    rng = np.random.default_rng(seed)
    p = np.where(past, 0.8, 0.2) + rng.normal(0, 0.15, past.shape)
    return np.asarray(np.clip(p, 0, 1), np.float64)


def step(at: int, n: int = 60) -> F64:
    return noisy(np.repeat(np.arange(n)[:, None] >= at, 3, 1))


@pytest.mark.parametrize("at", [8, 23, 50])
def test_a_step_is_found_where_it_is(at: int) -> None:
    found = change(places(), step(at))
    assert found is not None
    assert found.at == pytest.approx(at * 4.0, abs=8.0)
    assert 0 < found.sd < 16


@pytest.mark.parametrize("seed", range(5))
def test_the_step_is_the_most_likely_of_all(seed: int) -> None:
    """Against every split tried one by one (Page, Biometrika 41 (1954), 100-115, for one change)."""
    rng = np.random.default_rng(seed)
    prob = rng.uniform(0.03, 0.97, (24, 3))
    prob[:6], prob[18:] = prob[:6] * 0.3, 1 - 0.3 * prob[18:]
    mean = np.clip(prob.mean(1), 0.02, 0.98)
    likely = [np.log(1 - mean[:k]).sum() + np.log(mean[k:]).sum() for k in range(25)]
    found = change(places(24), prob)
    assert found is not None
    assert found.at == pytest.approx(4.0 * int(np.argmax(likely)))


@pytest.mark.parametrize("level", [0.05, 0.95])
def test_one_side_alone_is_no_line(level: float) -> None:
    assert change(places(), np.full((60, 3), level)) is None


def test_too_few_places_are_no_line() -> None:
    assert change(places(4), step(2, 4)) is None
    assert stretch(places(4), step(2, 4)) is None


def test_a_slanted_line_is_followed_by_its_tracks() -> None:
    past = np.stack([np.arange(60) >= k for k in (27, 30, 33)], 1)
    found = change(places(), noisy(past))
    assert found is not None
    assert found.found[0] < found.found[1] < found.found[2]


@pytest.mark.parametrize("seed", range(5))
def test_a_stretch_is_the_one_with_the_greatest_sum(seed: int) -> None:
    """Against every stretch tried one by one (the problem of Bentley, CACM 27 (1984), 865-871)."""
    past = np.zeros((40, 3), bool)
    past[14:23] = True
    prob = noisy(past, seed)
    mean = np.clip(prob.mean(1), 0.02, 0.98)
    odds = np.log(mean / (1 - mean))
    best = max(odds[a:b].sum() for a in range(40) for b in range(a + 1, 41))
    found = stretch(places(40), prob)
    assert found is not None
    assert found[2] == pytest.approx(best)
    assert found[0].at == pytest.approx(14 * 4.0, abs=8)
    assert found[1].at == pytest.approx(23 * 4.0, abs=8)


def test_no_place_in_the_grip_is_no_grip() -> None:
    assert stretch(places(), np.full((60, 3), 0.1)) is None


def along(y: float) -> tuple[np.ndarray, F64]:
    """Axis of the drawn cable, px of the picture: from the top down."""
    return np.array([0.0]), np.stack([np.full(400, 801.0), np.linspace(0, y, 400)], -1)


def crossings(tell: object = told_along) -> Crossings:
    _, axis = along(840.0)
    return find_crossings(fitting().map(), grey_image(), axis, 64.0, 600.0, 3, tell)  # type: ignore[arg-type]


def test_lines_lie_where_the_places_say() -> None:
    """Wall drawn at y 400 px of the picture, grip 456 to 496, the sheath's end at 600."""
    true = {WALL_FOREST: (400, 9e9), GRIP_FOREST: (456, 496), EDGE_FOREST: (600, 9e9)}
    first = {again: once for once, again in AGAIN.items()}

    def tell(at: Places, forest: str) -> F64:
        low, high = true[first.get(forest, forest)]
        inside = (at.tracks[..., 1] >= low) & (at.tracks[..., 1] < high)
        return np.where(inside, 0.9, 0.1)

    got = crossings(tell)
    assert got.wall and got.edge and got.grip
    grain = float(got.places.s[1] - got.places.s[0])
    assert got.wall.points[:, 1].mean() == pytest.approx(400, abs=grain)
    assert got.edge.points[:, 1].mean() == pytest.approx(600, abs=grain)
    assert got.grip[0].points[:, 1].mean() == pytest.approx(456, abs=grain)
    assert got.grip[1].points[:, 1].mean() == pytest.approx(496, abs=grain)


def test_stored_forests_take_what_is_described() -> None:
    got = crossings()
    assert set(got.told) == set(FORESTS)
    for told in got.told.values():
        assert told.shape == (len(got.places.s), len(TRACKS))
        assert np.isfinite(told).all()
        assert told.min() >= 0 and told.max() <= 1


def test_the_stored_forests_find_the_drawn_end_of_the_sheath() -> None:
    got = crossings()
    assert got.edge is not None
    assert got.edge.points[:, 1].mean() == pytest.approx(600, abs=16)


def test_places_beyond_the_picture_are_described_without_harm() -> None:
    axis = np.stack([np.full(30, 2.0), np.linspace(-40, 200, 30)], -1)
    got = places_along(fitting().map(), grey_image(), axis, 40.0, 100.0, 0)
    assert np.isfinite(got.rows).all()
