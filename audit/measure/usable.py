"""Whether a photo can be judged: sharpness at the cable, light, glare, scale, cable in the frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from audit.measure.cable_table import core_sizes
from audit.measure.scale import WorkScale
from audit.measure.verdicts import CABLE, END, real_probability
from audit.photo.quality import Quality, blur_along, measure_quality, quality_at
from audit.photo.types import Photo
from audit.resources import load_toml
from audit.settings import Settings
from audit.sight.types import Readings, Strands

Box = tuple[float, float, float, float]
WITHOUT_CABLES = frozenset({"plate", "face", "back", "above"})
"""Views that need not show a cable: its lack makes them no worse."""
BLUR_FIGURES = ("blur_px", "place_blur_px", "whole_blur_px")
"""The first of these that was measured tells the blur."""
_BESIDE = 0.8
"""How far from its middle line a strand's edges are taken to lie, in its widths."""
LEAST_THERE = 0.25
"""So few cables and ends, by the sum of their probabilities, are none. By cross-validation 404 of 405 usable
photos of opened fittings that the trees are fitted on have 0.39 and more (one, refused for its scale too, 0.1);
of 8 that show no opened entry or lie too far off, and passed otherwise, 5 have less than 0.2."""
NOTHING_SHOWN = "no cable was found: the opened entry must be in the frame"


@dataclass(frozen=True)
class Usability:
    """Whether a photo can be judged, and if not, why and how to take it again."""

    usable: bool
    reasons: tuple[str, ...]
    figures: dict[str, float | None]


def work_box(readings: Readings, strands: Strands, full: float, size: tuple[int, int]) -> Box:
    """Box round cores and sheath ends, padded, px of the full photo; the middle when none."""
    pts = [t.path for t in readings.tips]
    pts += [c.edge.points for c in readings.cables if c.edge is not None]
    if not pts:
        pts = [s.path for s in strands.cores]
    if not pts:
        return (size[0] * 0.2, size[1] * 0.2, size[0] * 0.8, size[1] * 0.8)
    xy = np.concatenate(pts) * full
    lo, hi = np.quantile(xy, 0.03, axis=0), np.quantile(xy, 0.97, axis=0)
    pad = 0.02 * max(size)
    return (
        float(max(0, lo[0] - pad)),
        float(max(0, lo[1] - pad)),
        float(min(size[0], hi[0] + pad)),
        float(min(size[1], hi[1] + pad)),
    )


def judge(
    photo: Photo,
    readings: Readings,
    strands: Strands,
    scale: WorkScale,
    full: float,
    settings: Settings,
    view: str | None = None,
) -> Usability:
    """Judge one photo.

    Parameters
    ----------
    photo : Photo
    readings, strands, scale
        What was read from it.
    full : float
        px of the full photo for one px of the analysis picture.
    settings : Settings
    view : str, optional
        What the photo is declared to show.

    Returns
    -------
    Usability
        Limits are in `models/photo_limits.toml`.
    """
    limits = load_toml("photo_limits.toml")
    size = (photo.width, photo.height)
    whole = measure_quality(photo)
    place = quality_at(photo, work_box(readings, strands, full, size))
    blur = _blur(photo, strands, full)
    figures = _figures(whole, place, blur, scale, readings, strands, full)
    checks = (
        _not_sharp(figures, limits),
        _too_dark(place, limits),
        _blown_out(place, whole, limits),
        _too_far(scale, settings) or _too_thin(figures, scale, settings, view),
        None if _work_shown(figures, readings, strands, view, limits) else NOTHING_SHOWN,
    )
    reasons = tuple(reason for reason in checks if reason is not None)
    return Usability(not reasons, reasons, figures)


def _not_sharp(figures: dict[str, float | None], limits: dict[str, float]) -> str | None:
    """Blur of the strands; where too few edges lie along them, of the place, or of the whole photo."""
    mm = figures["px_per_mm"]
    px = next((v for k in BLUR_FIGURES if (v := figures[k]) is not None), None)
    if px is None or px <= limits["blur_px"]:
        return None
    if not mm:
        return "not sharp: hold the phone still, tap on the cable to focus"
    if px / mm <= limits["blur_mm"]:
        return None
    return (
        f"not sharp at the cable (edges {px / mm:.1f} mm wide): "
        "hold the phone still, tap on the cable to focus"
    )


def _too_dark(place: Quality, limits: dict[str, float]) -> str | None:
    if place.median_luminance < limits["dark_median"] or place.clipped_dark > limits["dark_share"]:
        return "too dark at the cable: light it from the side with a torch"
    return None


def _blown_out(place: Quality, whole: Quality, limits: dict[str, float]) -> str | None:
    if (
        place.clipped_light > limits["light_share"]
        or whole.flare > limits["flare"]
        or whole.glare > limits["glare_share"]
    ):
        return "blown out or glare at the cable: move the light aside, not the work"
    return None


def _too_far(scale: WorkScale, settings: Settings) -> str | None:
    mm = scale.px_per_mm
    if mm is None:
        return None
    # A scale from a core of unknown size has to be too small even at its upper end.
    most = mm * (1.0 + (scale.u95_rel or 0.0)) if scale.rough else mm
    if most >= settings.min_px_per_mm:
        return None
    return f"too far away ({mm:.1f} px per mm, {settings.min_px_per_mm:g} wanted): go nearer"


def _too_thin(
    figures: dict[str, float | None], scale: WorkScale, settings: Settings, view: str | None
) -> str | None:
    """Cores too thin in the picture to tell a scale from: of few px, a width is mostly blur.

    Three quarters of what is seen of cores are narrower than a usual core at the least scale wanted.
    Under a lid, and where no cable need be in view, there is no core to go by.
    """
    px = figures["core_px"]
    usual = sum(mm * share for mm, share in core_sizes())
    if scale.source == "card" or px is None or view == "closed" or view in WITHOUT_CABLES:
        return None
    if px >= settings.min_px_per_mm * usual:
        return None
    return f"too far away (cores about {px:.0f} px wide): go nearer"


def _work_shown(
    figures: dict[str, float | None],
    readings: Readings,
    strands: Strands,
    view: str | None,
    limits: dict[str, float],
) -> bool:
    """Whether the opened work is in the frame: a scrap of wire is none, a lid leaves but the sheath."""
    if view in WITHOUT_CABLES or (view == "closed" and strands.sheaths):
        return True
    if view != "closed" and _expected_there(readings) < LEAST_THERE:
        return False
    read = any(c.edge_seen or c.grip_out is not None or c.wall is not None for c in readings.cables)
    return read or (figures["core_widths"] or 0.0) >= limits["core_widths"]


def _blur(photo: Photo, strands: Strands, full: float) -> float | None:
    """Blur along cores and sheaths, px of the photo."""
    found = [s for s in (*strands.cores, *strands.sheaths) if len(s.path) > 1]
    reach = [_BESIDE * float(np.median(s.width)) * full for s in found]
    return blur_along(photo, [s.path * full for s in found], reach)


def _core_widths(strands: Strands) -> float:
    """How much core is seen: lengths in their own widths, weighted by score, summed."""
    return float(
        sum(s.length / max(float(np.median(s.width)), 1e-6) * s.score for s in strands.cores)
    )


def _expected_there(readings: Readings) -> float:
    """How many cables and ends are there, by what the trees say of each; what a person marked is."""
    kinds = [(CABLE, c.evidence) for c in readings.cables]
    kinds += [(END, t.evidence) for t in readings.tips]
    return sum(1.0 if row is None else real_probability(kind, row) for kind, row in kinds)


def _core_px(strands: Strands, full: float) -> float | None:
    """Width that three quarters of what is seen of cores do not exceed, px of the full photo."""
    if not strands.cores:
        return None
    widths = [float(np.median(s.width)) * full for s in strands.cores]
    seen = [s.length * s.score for s in strands.cores]
    if sum(seen) <= 0:
        return None
    return float(np.quantile(widths, 0.75, weights=seen, method="inverted_cdf"))


def _figures(
    whole: Quality,
    place: Quality,
    blur: float | None,
    scale: WorkScale,
    readings: Readings,
    strands: Strands,
    full: float,
) -> dict[str, float | None]:
    mm = scale.px_per_mm
    return {
        "edge_px": place.edge_px,
        "edge_mm": None if place.edge_px is None or not mm else place.edge_px / mm,
        "blur_px": blur,
        "place_blur_px": place.blur_px,
        "whole_blur_px": whole.blur_px,
        "flare": whole.flare,
        "median_luminance": place.median_luminance,
        "clipped_dark": place.clipped_dark,
        "clipped_light": place.clipped_light,
        "glare": place.glare,
        "whole_glare": whole.glare,
        "noise": place.noise,
        "px_per_mm": mm,
        "cables": float(len(readings.cables)),
        "tips": float(len(readings.tips)),
        "core_px": _core_px(strands, full),
        "core_widths": _core_widths(strands),
        "core_score": float(np.mean([s.score for s in strands.cores])) if strands.cores else 0.0,
    }
