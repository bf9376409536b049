"""Places along a cable described by what was told of all of them."""

from __future__ import annotations

import numpy as np
import pytest

from audit.sight.told_again import ABOUT, told_about

GRAIN = 0.1
EACH = len(ABOUT) + 4


def told(turn: int, n: int = 60, low: float = 0.1, high: float = 0.9) -> np.ndarray:
    return np.repeat(np.where(np.arange(n) < turn, low, high)[:, None], 3, 1)


def test_words_are_heard_from_about_each_place() -> None:
    got = told_about([told(30)], GRAIN)
    assert got.shape == (60, 3, EACH)
    ahead = ABOUT.index(1.0)
    # One width on is ten places on: from place 20 the words are of the far side.
    assert got[19, 1, ahead] == pytest.approx(0.1)
    assert got[20, 1, ahead] == pytest.approx(0.9)


def test_words_do_not_reach_beyond_the_cable() -> None:
    got = told_about([told(30)], GRAIN)
    assert got[0, 0, 0] == pytest.approx(0.1)
    assert got[59, 0, len(ABOUT) - 1] == pytest.approx(0.9)


def test_each_place_knows_how_far_the_turn_lies() -> None:
    got = told_about([told(30)], GRAIN)
    away = got[:, 0, len(ABOUT)]
    assert away[30] == pytest.approx(0.0)
    assert away[35] == pytest.approx(0.5)
    assert away[0] == pytest.approx(-3.0)


def test_each_track_keeps_its_own_word_and_forests_stand_side_by_side() -> None:
    one = told(30)
    one[:, 2] = 0.5
    got = told_about([one, told(10)], GRAIN)
    assert got.shape[-1] == 2 * EACH
    assert got[5, :, EACH - 1] == pytest.approx([0.1, 0.1, 0.5])
    assert got[15, 0, 2 * EACH - 1] == pytest.approx(0.9)
