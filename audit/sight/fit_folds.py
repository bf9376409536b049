"""Which photos a forest is kept from, so that it can tell of them as of photos that it never saw."""

from __future__ import annotations

from functools import cache

import numpy as np

FOLDS = 4
"""Trees that weigh what forests tell must not learn from forests much worse than those they will weigh, so
most photos go into each."""
SECOND_LOOK, LINES = 0, 1
"""Lots by which photos are dealt. Were both dealt alike, a forest of lines would be asked of maps told by a
forest of the second look of which it learned none: so asked, it lost half as much again (log loss, halves)."""


@cache
def fold_of(n: int, lot: int) -> int:
    """The fold of photo `n`, 0 to `FOLDS` - 1, each once in every `FOLDS` photos that follow each other.

    Parameters
    ----------
    n : int
        From 0.
    lot : int
        `SECOND_LOOK` or `LINES`.

    Examples
    --------
    >>> sorted(fold_of(n, LINES) for n in range(8, 12))
    [0, 1, 2, 3]
    """
    deal = np.random.default_rng([n // FOLDS, FOLDS, lot]).permutation(FOLDS)
    return int(deal[n % FOLDS])
