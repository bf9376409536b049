"""How near the camera was, from the width of the cores: sets the scale that the map is made at.

A sheath, a grip and a terminal are told by their size against the cores beside
them. The forests are fitted on, and asked about, pictures in which a millimetre
is always about as many pixels, so a close-up and a view from the ladder look
alike to them. No length is measured by this guess.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from audit.sight.strands import core_strands
from audit.sight.types import MaterialMap, Strand

CORE_MM = 2.65
"""Usual width of an insulated core, mm: 2.3 to 3.4 for 1.0 to 2.5 mm2 (BS 6004, from memory)."""
MAP_PX_PER_MM = 3.5
"""px of the map for a millimetre at the work."""
LEAST_STEP, MOST_STEP = 1.3, 7.0
COARSE_SIDE = 640
"""Long side of the first, coarse map, px."""


def step_for(px_per_mm: float) -> float:
    """px of the analysis picture for one px of the map, at a scale of `px_per_mm` (analysis px)."""
    return float(np.clip(px_per_mm / MAP_PX_PER_MM, LEAST_STEP, MOST_STEP))


def coarse_step(shape: tuple[int, ...]) -> float:
    """Step of the coarse map of a picture of this shape (h, w)."""
    return max(1.0, max(shape[:2]) / COARSE_SIDE)


ROUND_MM = 32.0
"""What lies farther than this from every core, mm, is looked at coarsely only."""


@dataclass(frozen=True)
class Nearness:
    """What a coarse map tells of the picture.

    Parameters
    ----------
    px_per_mm : float
        px of the analysis picture per mm; good to about a quarter: cores of
        1.0 and of 2.5 mm2 are not told apart.
    box : (x0, y0, x1, y1)
        The work and `ROUND_MM` round it, px of the analysis picture, not cut
        to the picture.
    """

    px_per_mm: float
    box: tuple[float, float, float, float]

    @property
    def core_px(self) -> float:
        """Usual width of the cores it was guessed from, px of the analysis picture."""
        return self.px_per_mm * CORE_MM

    def changed(self, factor: float) -> Nearness:
        """The same work, taken to be nearer by a factor: what lies round it is wider in px."""
        scale = self.px_per_mm * factor
        more = ROUND_MM * (scale - self.px_per_mm)
        x0, y0, x1, y1 = self.box
        return Nearness(scale, (x0 - more, y0 - more, x1 + more, y1 + more))


def long_cores(coarse: MaterialMap) -> list[Strand]:
    """Cores of a map that are long enough to tell their width."""
    return [s for s in core_strands(coarse) if s.length > 4 * float(np.median(s.width))]


def nearness(coarse: MaterialMap) -> Nearness | None:
    """Scale and place of the work, guessed from the cores of a coarse map.

    Parameters
    ----------
    coarse : MaterialMap

    Returns
    -------
    Nearness or None
        None when no core is long enough to tell its width.
    """
    long = long_cores(coarse)
    if not long:
        return None
    widths = np.array([float(np.median(s.width)) for s in long])
    weights = np.array([s.length * s.score for s in long])
    order = np.argsort(widths)
    share = np.cumsum(weights[order]) / weights.sum()
    px_per_mm = float(widths[order][int(np.searchsorted(share, 0.5))]) / CORE_MM
    points = np.concatenate([s.path for s in long])
    pad = ROUND_MM * px_per_mm
    # An offcut that lies about is no reason to look closely at all between.
    (x0, y0), (x1, y1) = (
        np.quantile(points, 0.02, axis=0) - pad,
        np.quantile(points, 0.98, axis=0) + pad,
    )
    return Nearness(px_per_mm, (float(x0), float(y0), float(x1), float(y1)))
