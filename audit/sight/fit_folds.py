"""Which photos a forest is kept from, so that it can tell of them as of photos that it never saw."""

from __future__ import annotations

from functools import cache

import numpy as np

FOLDS = 4
"""What a forest tells of photos that it never saw gets plainer with the photos that it did see: grown on
half of them, those of lines had half as much again to learn from, by log loss, as on three quarters. Trees
that weigh what such forests tell must not learn from forests much worse than those they will weigh."""


@cache
def fold_of(n: int) -> int:
    """The fold of photo `n`, 0 to `FOLDS` - 1: by lot, each once in every `FOLDS` photos that follow each other.

    Examples
    --------
    >>> sorted(fold_of(n) for n in range(8, 12))
    [0, 1, 2, 3]
    """
    lot = np.random.default_rng([n // FOLDS, FOLDS]).permutation(FOLDS)
    return int(lot[n % FOLDS])
