"""The decision rule: from a length and its uncertainty to flag, clear or unsure.

A guard band after JCGM 106:2012, 8.3: flag only when the whole interval lies
beyond the limit. Clear is never a matter of the length alone: the reading must
have earned it, and the smallest fault that could have been seen at that place
must, with its uncertainty, be within the limit.
"""

from __future__ import annotations

import math

from audit.measure.contract import Length, State

_NORMAL_K = 2.0


def exceed_probability(length: Length, limit: float) -> float:
    """Probability that the true length exceeds the limit, by a normal distribution.

    For an `at_least` bound it is a lower bound, for `at_most` an upper one.
    """
    u = max(length.u95 / _NORMAL_K, 1e-6)
    return 0.5 * (1.0 + math.erf((length.value - limit) / (u * math.sqrt(2.0))))


def decide(
    length: Length | None, limit: float, *, earned_clear: bool, smallest_seen: float | None
) -> State:
    """State of one length.

    Parameters
    ----------
    length : Length or None
        None when it could not be measured.
    limit : float
        mm that are tolerated.
    earned_clear : bool
        Whether the order met along the cable was read and allows `clear`.
    smallest_seen : float or None
        Smallest length that would have been seen there, mm, its U95 included;
        None when not known.

    Returns
    -------
    str
        `flag`, `clear` or `unsure`.

    Examples
    --------
    >>> decide(Length(value=2.0, u95=0.4), 0.5, earned_clear=False, smallest_seen=0.4)
    'flag'
    >>> decide(Length(value=0.0, u95=0.3), 0.5, earned_clear=True, smallest_seen=0.4)
    'clear'
    >>> decide(Length(value=0.0, u95=0.3), 0.5, earned_clear=True, smallest_seen=0.9)
    'unsure'
    >>> decide(Length(value=0.1, u95=0.3), 0.0, earned_clear=True, smallest_seen=None)
    'unsure'
    """
    if length is None:
        return "unsure"
    if length.bound != "at_most" and length.value - length.u95 > limit:
        return "flag"
    fits = smallest_seen is not None and smallest_seen <= limit
    within = length.bound != "at_least" and length.value + length.u95 <= limit
    if length.value > limit:
        return "unsure"
    # A limit of zero can't be proved by a length that has an uncertainty: the
    # order along the cable proves it instead, and the caller says so.
    if earned_clear and (within or limit == 0.0) and (fits or limit == 0.0):
        return "clear"
    return "unsure"
