"""How many fittings to look at, and how sure it is then that a faulty one is seen."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from scipy.special import gammaln
from scipy.stats import hypergeom

from audit.errors import UsageError

# A chance that equals the one asked for but for rounding counts as reached.
_ROUNDING = 1e-9
SERIES = (2, 3, 5, 8, 13, 20, 32, 50, 80, 125, 200, 315, 500, 800, 1250, 2000)
"""Sample sizes of ISO 2859-1 (preferred numbers, R 5 rounded), from memory."""


def chance_of_seeing(lot: int, bad: int, n: int) -> float:
    """Chance that a simple draw of n holds one of the bad fittings or more (hypergeometric).

    Parameters
    ----------
    lot : int
        Fittings in the lot.
    bad : int
        Bad ones among them, 0 to lot.
    n : int
        Fittings drawn, 0 to lot.

    Examples
    --------
    >>> round(chance_of_seeing(24, 2, 19), 4)
    0.9638
    """
    return float(hypergeom.sf(0, lot, bad, n))


def smallest_n(lot: int, bad: int, confidence: float) -> int:
    """Fewest fittings of which a simple draw shows one of the bad ones with this confidence.

    Parameters
    ----------
    lot : int
    bad : int
        Number of bad fittings that must not be overlooked, 1 to lot.
    confidence : float
        Above 0, below 1.

    Raises
    ------
    UsageError
        When a figure is out of its range.

    Examples
    --------
    >>> smallest_n(24, 2, 0.95)
    19
    """
    check_question(lot, bad, confidence)
    return first_n(lambda n: chance_of_seeing(lot, bad, n), lot, confidence)


def first_n(chance: Callable[[int], float], lot: int, confidence: float, least: int = 1) -> int:
    """First n from `least` up whose chance reaches the confidence; the whole lot always does."""
    return next((n for n in range(least, lot) if chance(n) >= confidence - _ROUNDING), lot)


def check_question(lot: int, bad: int, confidence: float) -> None:
    """Refuse what can't be asked.

    Raises
    ------
    UsageError
    """
    if not 1 <= bad <= lot:
        raise UsageError(
            f"--if-bad {bad} can't be: the lot holds {lot} fittings",
            next_step=f"give a number from 1 to {lot}",
        )
    if not 0 < confidence < 1:
        raise UsageError(
            f"--confidence {confidence:g} can't be",
            next_step="give a share above 0 and below 1, as 0.95",
        )


def least_chance(sizes: Sequence[int], taken: Sequence[int], bad: int) -> float:
    """Chance of seeing a bad fitting in a shared-out draw, wherever the bad ones lie.

    Each stratum's sample is a simple draw of its own. The chance depends on how the
    bad fittings lie among the strata; this is the least over all ways they can.

    Parameters
    ----------
    sizes, taken : sequence of int
        Of each stratum: fittings in it, and how many of them are drawn.
    bad : int
        Bad fittings in the lot, 0 to the sum of sizes.

    Notes
    -----
    Missing all of d bad fittings in a stratum of N with n drawn has the chance
    C(N - d, n) / C(N, n); strata are independent, so the worst spread is the largest
    product, found stratum by stratum.

    Examples
    --------
    >>> round(least_chance([24], [19], 2), 4)
    0.9638
    """
    best = np.full(bad + 1, -np.inf)
    best[0] = 0.0
    for size, n in zip(sizes, taken, strict=True):
        d = np.arange(min(bad, size - n) + 1)  # more can't all be missed
        missed = _log_missed(size, n, d)
        longer = np.full(bad + 1, -np.inf)
        for k, value in zip(d, missed, strict=True):
            np.maximum(longer[k:], best[: bad + 1 - k] + value, out=longer[k:])
        best = longer
    return float(1.0 - np.exp(best[bad]))


def _log_missed(size: int, n: int, d: np.ndarray) -> np.ndarray:
    """Logarithm of C(size - d, n) / C(size, n)."""
    rest = size - d
    return np.asarray(
        gammaln(rest + 1) - gammaln(rest - n + 1) - gammaln(size + 1) + gammaln(size - n + 1)
    )


def next_size(n: int, lot: int) -> int:
    """The next larger sample of the series; the whole lot where that is nearer than the series."""
    return next((s for s in SERIES if n < s < lot), lot)
