"""How well two judges agree: Cohen's kappa with its interval."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import norm


@dataclass(frozen=True)
class Agreement:
    """Agreement of two judges.

    Parameters
    ----------
    n : int
        Things judged by both.
    agreed : int
        Judged alike.
    kappa : float or None
        -1 to 1, higher is better: 1 all alike, 0 as by chance. None where chance alone
        would make all alike (both used one word only), or one judge used one word only:
        kappa is not defined then, or nought whatever the other said.
    se : float or None
        Asymptotic standard error.
    low, high : float or None
        95 % interval, cut to -1 and 1.
    """

    n: int
    agreed: int
    kappa: float | None
    se: float | None
    low: float | None
    high: float | None


def cohen_kappa(table: Sequence[Sequence[int]], level: float = 0.95) -> Agreement:
    """Cohen's kappa of a square table of counts.

    Parameters
    ----------
    table : sequence of sequence of int
        Shape (k, k): rows one judge, columns the other, the same words in the same order.
    level : float
        Of the interval, 0 to 1.

    Returns
    -------
    Agreement

    Raises
    ------
    ValueError
        When the table is not square, holds a negative count, or nothing.

    References
    ----------
    Cohen, A coefficient of agreement for nominal scales, Educational and
    Psychological Measurement 20 (1960), 37-46. Standard error: Fleiss, Cohen and
    Everitt, Large sample standard errors of kappa and weighted kappa,
    Psychological Bulletin 72 (1969), 323-327 (both from memory).

    Examples
    --------
    >>> round(cohen_kappa([[20, 5], [10, 15]]).kappa, 4)
    0.4
    """
    counts = np.asarray(table, dtype=float)
    if counts.ndim != 2 or counts.shape[0] != counts.shape[1] or (counts < 0).any():
        raise ValueError("kappa needs a square table of counts")
    n = counts.sum()
    if n == 0:
        raise ValueError("kappa of nothing")
    p = counts / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    alike = float(np.trace(p))
    chance = float(rows @ columns)
    agreed = round(float(np.trace(counts)))
    if rows.max() == 1 or columns.max() == 1:
        return Agreement(int(n), agreed, None, None, None, None)
    kappa = (alike - chance) / (1 - chance)
    se = _standard_error(p, rows, columns, kappa, chance, n)
    reach = float(norm.ppf(0.5 + level / 2)) * se
    return Agreement(int(n), agreed, kappa, se, max(-1.0, kappa - reach), min(1.0, kappa + reach))


def _standard_error(
    p: np.ndarray, rows: np.ndarray, columns: np.ndarray, kappa: float, chance: float, n: float
) -> float:
    """Asymptotic standard error under no assumption on kappa (Fleiss, Cohen, Everitt 1969)."""
    diagonal = np.diag(p)
    a = float(np.sum(diagonal * (1 - (rows + columns) * (1 - kappa)) ** 2))
    off = p * (columns[:, None] + rows[None, :]) ** 2
    b = (1 - kappa) ** 2 * float(off.sum() - np.trace(off))
    c = (kappa - chance * (1 - kappa)) ** 2
    return float(np.sqrt(max(0.0, a + b - c) / n)) / (1 - chance)
