"""The figures a score is told in. Statistics are scipy's; this file gives them names."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict
from scipy.stats import binned_statistic, binomtest, quantile_test

BINS = 10
"""Equal bins of `score` in the reliability table."""


class _Figures(BaseModel):
    model_config = ConfigDict(frozen=True)


class Share(_Figures):
    """`count` out of `of`, with its exact 95 % interval; null where `of` is 0."""

    count: int
    of: int
    value: float | None
    low: float | None
    high: float | None


class Spread(_Figures):
    """Errors told by bias (mean), median and 95th percentile of their size, in their unit.

    `_low` and `_high` are 95 % limits; null where there are too few for one.
    """

    n: int
    bias: float | None = None
    median_abs: float | None = None
    p95_abs: float | None = None
    median_low: float | None = None
    median_high: float | None = None
    p95_low: float | None = None
    p95_high: float | None = None


class ReliabilityBin(_Figures):
    """One bin of `score`: how many, the mean score, and how often the fault was there."""

    low: float
    high: float
    n: int
    mean_score: float
    fault_rate: float


class Reliability(_Figures):
    """Reliability table and expected calibration error; null where there is nothing."""

    n: int
    ece: float | None
    bins: tuple[ReliabilityBin, ...]


def share(count: int, of: int) -> Share:
    """Proportion with its 95 % Clopper-Pearson interval.

    Parameters
    ----------
    count, of : int
        0 <= count <= of.

    References
    ----------
    Clopper and Pearson, The use of confidence or fiducial limits illustrated
    in the case of the binomial, Biometrika 26 (1934), 404-413.

    Examples
    --------
    >>> s = share(19, 20)
    >>> round(s.low, 4), round(s.high, 4)
    (0.7513, 0.9987)
    """
    if of == 0:
        return Share(count=0, of=0, value=None, low=None, high=None)
    interval = binomtest(count, of).proportion_ci(confidence_level=0.95, method="exact")
    return Share(
        count=count, of=of, value=count / of, low=float(interval.low), high=float(interval.high)
    )


def spread(errors: Sequence[float]) -> Spread:
    """Bias, median and 95th percentile of the absolute error of signed errors, in their unit.

    The percentiles' limits hold for any distribution: they are errors of the
    sample, chosen by binomial probability (`scipy.stats.quantile_test`).

    References
    ----------
    Conover, Practical nonparametric statistics, 3rd ed. (1999), section 3.2.

    Examples
    --------
    >>> s = spread([1, -2, 3, -4, 5, -6, 7, -8, 9, -10])
    >>> s.median_abs, s.median_low, s.median_high
    (5.5, 2.0, 9.0)
    """
    if not errors:
        return Spread(n=0)
    signed = np.asarray(errors, dtype=float)
    median, p95 = np.percentile(np.abs(signed), [50, 95])
    limits = [_limits(np.abs(signed), at) for at in (0.5, 0.95)]
    return Spread(
        n=len(errors),
        bias=float(signed.mean()),
        median_abs=float(median),
        p95_abs=float(p95),
        median_low=limits[0][0],
        median_high=limits[0][1],
        p95_low=limits[1][0],
        p95_high=limits[1][1],
    )


def _limits(sizes: NDArray[np.float64], at: float) -> tuple[float | None, float | None]:
    """95 % limits of a quantile; none on a side where the sample is too small to give one."""
    low, high = quantile_test(sizes, q=0.0, p=at).confidence_interval(confidence_level=0.95)
    return None if np.isnan(low) else float(low), None if np.isnan(high) else float(high)


def reliability(scores: Sequence[float], faults: Sequence[bool]) -> Reliability:
    """Reliability table over equal bins of the score, and its expected calibration error.

    The error is the mean over all findings of the distance between their bin's
    mean score and the share of faults in that bin; 0 is best.

    Parameters
    ----------
    scores : sequence of float
        Stated probabilities, 0 to 1.
    faults : sequence of bool
        Whether the fault was there, same length.

    References
    ----------
    Naeini, Cooper and Hauskrecht, Obtaining well calibrated probabilities
    using Bayesian binning, AAAI 2015 (equal-width bins).

    Examples
    --------
    >>> reliability([0.25, 0.25, 0.25, 0.25], [True, False, False, False]).ece
    0.0
    """
    if not scores:
        return Reliability(n=0, ece=None, bins=())
    stated, there = np.asarray(scores, float), np.asarray(faults, float)
    means, edges, _ = binned_statistic(stated, (stated, there), "mean", BINS, (0.0, 1.0))
    counts, _, _ = binned_statistic(stated, stated, "count", BINS, (0.0, 1.0))
    full = counts > 0
    ece = float(np.average(np.abs(means[0] - means[1])[full], weights=counts[full]))
    bins = tuple(
        ReliabilityBin(
            low=float(edges[i]),
            high=float(edges[i + 1]),
            n=int(counts[i]),
            mean_score=float(means[0][i]),
            fault_rate=float(means[1][i]),
        )
        for i in np.flatnonzero(full)
    )
    return Reliability(n=len(scores), ece=ece, bins=bins)
