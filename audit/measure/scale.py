"""Scale at the work: from the card, from the cable's own width, or both held against each other."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from audit.card.scale import card_scale
from audit.card.types import CardSight
from audit.measure.cable_table import find_size
from audit.measure.contract import ScaleFrom
from audit.measure.declared import Declared
from audit.settings import Settings
from audit.sight.types import CORES, Strands

TYPICAL_CORE_MM = 2.65
"""Middle of the core diameters of lighting cable (0.75 to 2.5 mm², 2.2 to 3.4 mm): a rough scale
where nothing is declared."""
TYPICAL_U95_REL = 0.32
DECLARED_U95_REL = 0.09
"""Spread of core diameters among makers of one size, expanded (from memory)."""
WIDTH_SD_PX = 1.0
"""Standard uncertainty of a core's width on the analysis picture, px."""


@dataclass(frozen=True)
class WorkScale:
    """Scale at the work.

    Parameters
    ----------
    px_per_mm : float or None
        px of the full photo.
    u95_rel : float or None
    depth_mm, depth_u95_mm : float or None
        How far the work lies from the card's plane.
    source : str
        As in the contract.
    rough : bool
        From a core of unknown size.
    notes : tuple of str
        What a person should know, such as card and cable disagreeing.
    """

    px_per_mm: float | None
    u95_rel: float | None
    depth_mm: float | None
    depth_u95_mm: float | None
    source: ScaleFrom
    rough: bool = False
    notes: tuple[str, ...] = ()


WIDTH_LOSS = 1.2
"""What the material map loses of a core's width, px of the map (median over
sample_images/bench/tune): mixed pixels at a core's edges are given to its surroundings."""


def core_width_px(strands: Strands, full_scale: float) -> tuple[float, float] | None:
    """Usual width of the insulated cores, px of the full photo, and its relative U95.

    Long, well-seen strands count more; None when there is none.
    """
    widths, weights = [], []
    for s in strands.cores:
        if s.material not in CORES:
            continue
        n = len(s.width)
        # The ends are pinched by what covers them.
        middle = s.width[n // 8 : n - n // 8] if n > 16 else s.width
        widths.append(float(np.median(middle)))
        weights.append(s.length * s.score)
    if not widths:
        return None
    order = np.argsort(widths)
    w = np.asarray(widths)[order]
    c = np.cumsum(np.asarray(weights)[order])
    width = float(w[np.searchsorted(c, 0.5 * c[-1])]) + WIDTH_LOSS * strands.step
    spread = WIDTH_SD_PX / width / np.sqrt(min(len(w), 4))
    return width * full_scale, float(2 * spread)


def from_core(strands: Strands, full_scale: float, declared: Declared) -> WorkScale | None:
    """Scale from the cores' width and the declared size, or roughly without one."""
    width = core_width_px(strands, full_scale)
    if width is None:
        return None
    px, u_px = width
    size = find_size(declared.cable_size)
    mm, u_mm = (size.core_mm, DECLARED_U95_REL) if size else (TYPICAL_CORE_MM, TYPICAL_U95_REL)
    return WorkScale(px / mm, float(np.hypot(u_px, u_mm)), None, None, "core", rough=size is None)


def work_scale(
    card: CardSight,
    at_px: tuple[float, float],
    strands: Strands,
    full_scale: float,
    declared: Declared,
    settings: Settings,
    shape: tuple[int, ...],
) -> WorkScale:
    """The scale that lengths are measured with.

    Parameters
    ----------
    card : CardSight
    at_px : (x, y)
        Where the work is, px of the full photo.
    strands : Strands
    full_scale : float
        px of the full photo for one px of the analysis picture.
    declared : Declared
    settings : Settings
    shape : tuple of int
        Height and width of the photo.

    Returns
    -------
    WorkScale
        The card and a declared cable are combined, weighted by their
        variances, where they agree within their U95 (JCGM 100, 5.1); where
        they do not, the wider doubt is kept and said.
    """
    cable = from_core(strands, full_scale, declared)
    measured = card_scale(card, at_px, settings, shape)
    if measured is None:
        return cable or WorkScale(None, None, None, None, "none")
    base = WorkScale(
        measured.px_per_mm, measured.u95_rel, measured.depth_mm, measured.depth_u95_mm, "card"
    )
    if cable is None or cable.px_per_mm is None or cable.u95_rel is None:
        return base
    ratio = cable.px_per_mm / measured.px_per_mm
    allowed = float(np.hypot(cable.u95_rel, measured.u95_rel))
    if abs(np.log(ratio)) > allowed:
        if cable.rough:
            return base
        doubt = max(measured.u95_rel, abs(float(np.log(ratio))))
        note = (
            f"card and cable disagree on the scale by {abs(ratio - 1) * 100:.0f} %: "
            "the card may lie nearer or farther than the work, or the cable is not the declared one"
        )
        return WorkScale(
            measured.px_per_mm, doubt, base.depth_mm, base.depth_u95_mm, "card", notes=(note,)
        )
    if cable.rough:
        return base
    wa, wb = measured.u95_rel**-2, cable.u95_rel**-2
    log = wb * np.log(ratio) / (wa + wb)
    px_per_mm = float(measured.px_per_mm * np.exp(log))
    u95 = float((wa + wb) ** -0.5)
    depth = None
    if measured.camera_mm is not None:
        depth = float(measured.camera_mm * (np.exp(-log) - 1))
    return WorkScale(px_per_mm, u95, depth, measured.depth_u95_mm, "card")
