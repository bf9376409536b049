"""A length in mm with its expanded uncertainty, as a budget of named parts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from uncertainties import ufloat

from audit.measure.contract import Bound, Length

K = 2.0
"""Coverage factor of every U95 (JCGM 100:2008, 6.2; normal distribution)."""


@dataclass(frozen=True)
class PixelLength:
    """A length along a path on the photo.

    Parameters
    ----------
    px : float
        Length along the path, px of the full photo; may be negative where signed.
    u_start_px, u_end_px : float
        Standard uncertainty of where each end lies along the path, px.
    bound : str
        `exact`; `at_least` when an end is out of sight; `at_most` when hidden.
    tilt_deg : float
        Standard uncertainty of the angle between the path and the picture's plane.
    """

    px: float
    u_start_px: float
    u_end_px: float
    bound: Bound = "exact"
    tilt_deg: float = 12.0


def spread(readings: Sequence[float]) -> float:
    """Standard uncertainty of one of several readings of a length, by how far they differ, in their unit.

    Their experimental standard deviation (JCGM 100:2008, 4.2.2); 0 for fewer than two.

    Examples
    --------
    >>> spread([4.0, 6.0, 5.0]), spread([4.0])
    (1.0, 0.0)
    """
    return float(np.std(readings, ddof=1)) if len(readings) > 1 else 0.0


def to_mm(length: PixelLength, px_per_mm: float, scale_u95_rel: float) -> Length:
    """Turn a length on the photo into mm.

    Parameters
    ----------
    length : PixelLength
    px_per_mm : float
        Scale at the place, > 0.
    scale_u95_rel : float
        Relative expanded uncertainty of the scale.

    Returns
    -------
    Length
        mm, `u95` with k = 2.

    Raises
    ------
    ValueError
        When the scale is not positive.

    Notes
    -----
    Propagation of uncertainty after JCGM 100:2008, 5.1.2, by `uncertainties`:
    the two ends, the scale, and foreshortening. A path tilted by t shows
    cos(t) of its length; with t of standard deviation s about zero the mean
    shortening is s²/2 and its standard deviation s²/sqrt(2), for small s.

    Examples
    --------
    >>> got = to_mm(PixelLength(40.0, 0.5, 0.5, tilt_deg=0.0), 8.0, 0.04)
    >>> got.value, round(got.u95, 3)
    (5.0, 0.267)
    """
    if not px_per_mm > 0:
        raise ValueError("scale must be positive")
    start = ufloat(0.0, length.u_start_px)
    end = ufloat(length.px, length.u_end_px)
    scale = ufloat(px_per_mm, px_per_mm * scale_u95_rel / K)
    s2 = math.radians(length.tilt_deg) ** 2
    stretch = ufloat(1.0, s2 / math.sqrt(2))
    mm = (end - start) / scale * stretch
    return Length(value=float(mm.n), u95=float(K * mm.s), bound=length.bound)
