"""Loops in machine code: the same figures, also where nothing can be kept for the next process."""

from __future__ import annotations

import numpy as np
import pytest

from audit.sight.compiled import compiled


def _doubled(values: np.ndarray) -> None:
    for k in range(len(values)):
        values[k] *= 2


def test_a_loop_does_what_it_did() -> None:
    values = np.arange(5.0)
    compiled(_doubled)(values)
    assert values.tolist() == [0, 2, 4, 6, 8]


def test_where_nothing_can_be_kept_the_loop_is_made_all_the_same(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    import numba

    asked: list[bool] = []

    def njit(cache: bool = False, **ways: object) -> object:
        asked.append(cache)
        if cache:
            raise RuntimeError("cannot cache function: no locator available")
        return lambda loop: loop

    monkeypatch.setattr(numba, "njit", njit)
    compiled.cache_clear()
    try:
        assert compiled(_doubled) is _doubled
        assert asked == [True, False]
    finally:
        compiled.cache_clear()
