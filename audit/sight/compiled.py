"""Loops over numbers in machine code, kept for the next process where there is a place to keep it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any, ParamSpec, TypeVar

P = ParamSpec("P")
T = TypeVar("T")


@cache
def compiled(loop: Callable[P, T]) -> Callable[P, T]:
    """The loop in machine code (Numba), made at its first call in a process and kept beside its file, or
    in the user's cache.

    Parameters
    ----------
    loop : callable
        Of NumPy arrays and numbers, that calls nothing but NumPy's functions of single numbers and what
        was compiled itself. Nothing keeps it from reading past the end of an array.
    """
    from numba import njit

    ways: dict[str, Any] = {"boundscheck": False, "error_model": "numpy", "nogil": True}
    try:
        made: Callable[P, T] = njit(cache=True, **ways)(loop)
    except RuntimeError:  # neither place can be written to: it is made again in each process
        made = njit(**ways)(loop)

    def call(*args: P.args, **more: P.kwargs) -> T:
        nonlocal made
        try:
            return made(*args, **more)
        except OSError:  # no room to keep it: nothing else in a loop asks the system for anything
            made = njit(**ways)(loop)
            return made(*args, **more)

    return call
