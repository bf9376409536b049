"""Scale at the work: from the card, from the cable's own width, or both held against each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from audit.card.scale import Scale, card_scale
from audit.card.types import CardSight
from audit.measure.cable_table import CableSize, core_sizes, find_size
from audit.measure.contract import ScaleFrom
from audit.measure.core_widths import (
    CardGuess,
    CoreWidth,
    WidthScale,
    card_alone,
    core_widths,
    scale_of,
)
from audit.measure.declared import Declared
from audit.settings import Settings
from audit.sight.types import Strands

DECLARED_U95_REL = 0.06
"""Spread of core diameters among makers of one size, expanded. Reasoned, not measured: resistance
holds a conductor's diameter to 1.5 % (IEC 60228), insulation is never thinner than the standard
says and for its cost seldom a tenth thicker, which is 5 % of the core."""
WORK_BEFORE_CARD_MM = 6.0
"""How much nearer the camera than the card the work is taken to lie: a card lies on what the
enclosure stands on, while cables come in about half way up its wall and terminals hold cores some
6 to 12 mm above its floor (enclosures of 20 to 30 mm; common practice, no source). Fitted to 52
photos of a set for fitting whose card is found: 6.3; over 524 drawn arrangements, those whose card the
enclosure would hide among them: 8."""
LEVEL_SHARE, _LEVEL, _UNEVEN = 0.4, 0.2, 0.85
"""Share of photos in which the card lies level with the enclosure, on the same surface, so that its
plane tells the scale; and standard deviation of the depth then and otherwise, in the setting
`depth_u95_mm`. Otherwise the card leans or is held, and only its distance tells. Fitted to the same
photos: 0.3, 3 mm and 18 mm."""
_BENT = 0.15
"""Standard deviation of either, as a share of what parts them."""
CLOSED_U95_REL = 0.6
"""With the lid on, most of what looks like cores is none."""
MISREAD = 0.5
"""No declaration is wrong by more than this in log diameter (thinnest to thickest core of the
table): if cores disagree more with the card, something else was measured."""


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


def _sizes(size: CableSize | None) -> list[tuple[float, float]]:
    return [(size.core_mm, 1.0)] if size else core_sizes()


def from_core(widths: Sequence[CoreWidth], declared: Declared) -> WorkScale | None:
    """Scale from the cores' widths and the declared size, or roughly without one."""
    size = find_size(declared.cable_size)
    found = scale_of(widths, _sizes(size), DECLARED_U95_REL)
    if found is None:
        return None
    closed = declared.view == "closed"
    u95 = max(found.u95_rel, CLOSED_U95_REL) if closed else found.u95_rel
    return WorkScale(found.px_per_mm, u95, None, None, "core", rough=closed or size is None)


def from_card(
    card: CardSight, at_px: tuple[float, float], settings: Settings, shape: tuple[int, ...]
) -> tuple[Scale, tuple[CardGuess, ...]] | None:
    """The card's scale at the depth where the work mostly lies, and the ways it may lie."""
    scale = card_scale(card, at_px, settings, shape)
    if scale is None or scale.camera_mm is None or scale.camera_mm <= 4 * WORK_BEFORE_CARD_MM:
        return None if scale is None else (scale, ())
    ways = card_ways(scale, settings.depth_u95_mm)
    there = scale.at_depth(-WORK_BEFORE_CARD_MM, settings.depth_u95_mm)
    alone = card_alone(ways)
    if alone is None:
        return there, ways
    u95 = float(np.hypot(alone.u95_rel, scale.parts["tilt"]))
    return replace(there, px_per_mm=alone.px_per_mm, u95_rel=u95), ways


def card_ways(scale: Scale, depth_u95_mm: float) -> tuple[CardGuess, ...]:
    """Level with the work or not: the scale at the work either way, as far as the card tells.

    Parameters
    ----------
    scale : Scale
        As `card_scale` gives it, with the camera's distance.
    depth_u95_mm : float
        The setting.
    """
    assert scale.camera_mm is not None
    work = scale.camera_mm - WORK_BEFORE_CARD_MM
    nearer = scale.camera_mm / work
    plane = scale.stretch[0]
    facing = scale.facing or plane
    apart = _BENT * abs(float(np.log(plane / facing)))
    seen = np.hypot(scale.parts["corners"], scale.parts["print"]) / 2

    def sigma(depth: float) -> float:
        return float(np.sqrt(seen**2 + apart**2 + (depth * depth_u95_mm / work) ** 2))

    return (
        CardGuess(LEVEL_SHARE, plane * nearer, sigma(_LEVEL)),
        CardGuess(1 - LEVEL_SHARE, facing * nearer, sigma(_UNEVEN)),
    )


def work_scale(
    card: CardSight,
    at_px: tuple[float, float],
    strands: Strands,
    full_scale: float,
    declared: Declared,
    settings: Settings,
    rgb: NDArray[np.uint8],
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
    rgb : (H, W, 3) uint8
        The upright full-size photo: cores are measured on it.

    Returns
    -------
    WorkScale
        Card and cores are combined by Bayes' rule (`audit.measure.core_widths`):
        with a declared size where they agree within their U95, without one as
        the card makes this or that size likely. Where they disagree, the
        card's scale is kept with the wider doubt, and that is said.
    """
    widths = core_widths(rgb, strands, full_scale)
    cable = from_core(widths, declared)
    by_card = from_card(card, at_px, settings, rgb.shape[:2])
    if by_card is None:
        return cable or WorkScale(None, None, None, None, "none")
    measured, ways = by_card
    base = WorkScale(
        measured.px_per_mm, measured.u95_rel, measured.depth_mm, measured.depth_u95_mm, "card"
    )
    if cable is None or cable.px_per_mm is None or cable.u95_rel is None:
        return base
    ratio = cable.px_per_mm / measured.px_per_mm
    allowed = float(np.hypot(cable.u95_rel, measured.u95_rel))
    if declared.view == "closed":
        return base
    if not cable.rough and abs(np.log(ratio)) > allowed:
        if abs(np.log(ratio)) > MISREAD:
            return base
        doubt = max(measured.u95_rel, abs(float(np.log(ratio))))
        note = (
            f"card and cable disagree on the scale by {abs(ratio - 1) * 100:.0f} %: "
            "the card may lie nearer or farther than the work, or the cable is not the declared one"
        )
        return replace(base, u95_rel=doubt, notes=(note,))
    both = scale_of(
        widths,
        _sizes(find_size(declared.cable_size)),
        DECLARED_U95_REL,
        ways or (CardGuess(1.0, measured.px_per_mm, measured.u95_rel / 2),),
    )
    if both is None:
        return base
    return _at_scale(both, measured)


def _at_scale(both: WidthScale, measured: Scale) -> WorkScale:
    """Card and cores together, with the depth from the card's plane that their scale amounts to."""
    if measured.camera_mm is None:
        return WorkScale(both.px_per_mm, both.u95_rel, None, None, "card")
    was = measured.camera_mm + measured.depth_mm
    now = was * measured.px_per_mm / both.px_per_mm
    return WorkScale(
        both.px_per_mm, both.u95_rel, now - measured.camera_mm, both.u95_rel * now, "card"
    )
