"""What a finished look proves: upper limits and intervals. Statistics are scipy's."""

from __future__ import annotations

from scipy.stats import binomtest, hypergeom

ONE_SIDED = 0.95
"""Confidence of the upper limits."""
_ROUNDING = 1e-12


def upper_share(faulty: int, n: int, confidence: float = ONE_SIDED) -> float:
    """One-sided upper limit on the share of faulty fittings (Clopper-Pearson).

    For a long run of work of which these n are a fair sample.

    Parameters
    ----------
    faulty, n : int
        0 <= faulty <= n; with n = 0 nothing is known, and the limit is 1.
    confidence : float
        0 to 1.

    References
    ----------
    Clopper and Pearson, Biometrika 26 (1934), 404-413.

    Examples
    --------
    >>> round(upper_share(0, 20), 4)
    0.1391
    """
    if n == 0:
        return 1.0
    test = binomtest(faulty, n, alternative="less")
    return float(test.proportion_ci(confidence_level=confidence, method="exact").high)


def upper_count(faulty: int, n: int, lot: int, confidence: float = ONE_SIDED) -> int:
    """One-sided upper limit on the number of faulty fittings in a lot (exact, hypergeometric).

    The largest number D of faulty fittings in the lot with which so few, or fewer, would
    still have been seen with a chance above 1 - confidence.

    Parameters
    ----------
    faulty, n, lot : int
        Seen faulty, looked at, in the lot: 0 <= faulty <= n <= lot.
    confidence : float

    Returns
    -------
    int
        `faulty` to `lot - (n - faulty)`; those seen are counted in.

    Examples
    --------
    >>> upper_count(0, 19, 24)
    1
    """
    most = lot - (n - faulty)
    for d in range(most, faulty, -1):
        if hypergeom.cdf(faulty, lot, d, n) > 1 - confidence + _ROUNDING:
            return d
    return faulty


def interval(faulty: int, n: int, confidence: float = 0.95) -> tuple[float, float] | None:
    """Two-sided Clopper-Pearson interval of a share, or None where nothing was looked at.

    Examples
    --------
    >>> [round(x, 6) for x in interval(0, 20)]
    [0.0, 0.168433]
    """
    if n == 0:
        return None
    found = binomtest(faulty, n).proportion_ci(confidence_level=confidence, method="exact")
    return float(found.low), float(found.high)
