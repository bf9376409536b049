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
    assert _twice(np.arange(3.0)).tolist() == [0, 2, 4]
    assert asked == [True, False]


def test_where_the_disk_is_full_the_loop_runs_all_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    import numba

    asked: list[bool] = []

    def njit(cache: bool = False, **ways: object) -> object:
        asked.append(cache)

        def made(loop: object) -> object:
            def full(*_: object) -> None:
                raise OSError(28, "No space left on device")

            return full if cache else loop

        return made

    monkeypatch.setattr(numba, "njit", njit)
    assert _twice(np.arange(3.0)).tolist() == [0, 2, 4]
    assert asked == [True, False]


def _twice(values: np.ndarray) -> np.ndarray:
    compiled.cache_clear()
    try:
        compiled(_doubled)(values)
    finally:
        compiled.cache_clear()
    return values
