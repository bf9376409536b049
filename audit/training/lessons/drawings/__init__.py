"""Drawings of the course, made from data: what a photo can't show, or shows less plainly."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from audit.errors import ModelsError, Where
from audit.rules.region import Region
from audit.training.lessons.drawings.cable import chain, core_colours, ribbon
from audit.training.lessons.drawings.decide import guard_band
from audit.training.lessons.drawings.floor import floor_section
from audit.training.lessons.drawings.supply import switch_side, volt_drop
from audit.training.lessons.drawings.zones import zones_plan, zones_section

Draw = Callable[[Mapping[str, Any], Region, str], str]

DRAWINGS: Mapping[str, Draw] = {
    "ribbon": ribbon,
    "chain": chain,
    "core-colours": core_colours,
    "zones-plan": zones_plan,
    "zones-section": zones_section,
    "floor-section": floor_section,
    "volt-drop": volt_drop,
    "switch-side": switch_side,
    "guard-band": guard_band,
}


def draw(name: str, data: Mapping[str, Any], region: Region, identity: str = "d") -> str:
    """Make one drawing.

    Parameters
    ----------
    name : str
    data : mapping
        What the drawing shows, as the lesson's file gives it.
    region : Region
        Whose figures are drawn.
    identity : str
        Tells its patterns from those of other drawings on a page: letters, digits, hyphens.

    Returns
    -------
    str
        An `<svg>` element in `currentColor`.

    Raises
    ------
    ModelsError
        When there is no such drawing, or its data lack something.
    """
    if name not in DRAWINGS:
        raise ModelsError(f"there is no drawing {name!r}", Where("lessons"), "install lidoff again")
    try:
        return DRAWINGS[name](data, region, identity)
    except (KeyError, TypeError, ValueError) as exc:
        raise ModelsError(
            f"drawing {name!r} lacks something ({exc})", Where("lessons"), "install lidoff again"
        ) from exc
