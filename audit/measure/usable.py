"""Whether a photo can be judged: sharpness at the cable, light, glare, scale, cable in the frame."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from audit.measure.scale import WorkScale
from audit.photo.quality import Quality, measure_quality, quality_at
from audit.photo.types import Photo
from audit.resources import load_toml
from audit.settings import Settings
from audit.sight.types import Readings, Strands

Box = tuple[float, float, float, float]
WITHOUT_CABLES = frozenset({"plate", "face", "back", "above"})
"""Views that need not show a cable: its lack makes them no worse."""


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
    figures = _figures(whole, place, scale, readings, strands)
    reasons = []
    mm = scale.px_per_mm
    if place.edge_px is not None and mm:
        blur_mm = place.edge_px / mm
        if place.edge_px > limits["edge_px"] and blur_mm > limits["edge_mm"]:
            reasons.append(
                f"not sharp at the cable (edges {blur_mm:.1f} mm wide): hold the phone still, tap on the cable to focus"
            )
    if place.median_luminance < limits["dark_median"] or place.clipped_dark > limits["dark_share"]:
        reasons.append("too dark at the cable: light it from the side with a torch")
    if place.clipped_light > limits["light_share"] or whole.glare > limits["glare_share"]:
        reasons.append("blown out or glare at the cable: move the light aside, not the work")
    if mm is not None and mm < settings.min_px_per_mm and not scale.rough:
        reasons.append(
            f"too far away ({mm:.1f} px per mm, {settings.min_px_per_mm:g} wanted): go nearer"
        )
    if view not in WITHOUT_CABLES and not _cable_shown(readings, strands, view):
        reasons.append("no cable was found: the opened entry must be in the frame")
    return Usability(not reasons, tuple(reasons), figures)


def _cable_shown(readings: Readings, strands: Strands, view: str | None) -> bool:
    """Whether a cable is in the picture: one stray core is none, a lid leaves but the sheath."""
    if view == "closed" and strands.sheaths:
        return True
    return bool(readings.cables) or len(readings.tips) > 1


def _figures(
    whole: Quality, place: Quality, scale: WorkScale, readings: Readings, strands: Strands
) -> dict[str, float | None]:
    mm = scale.px_per_mm
    return {
        "edge_px": place.edge_px,
        "edge_mm": None if place.edge_px is None or not mm else place.edge_px / mm,
        "whole_edge_px": whole.edge_px,
        "median_luminance": place.median_luminance,
        "clipped_dark": place.clipped_dark,
        "clipped_light": place.clipped_light,
        "glare": place.glare,
        "whole_glare": whole.glare,
        "noise": place.noise,
        "px_per_mm": mm,
        "cables": float(len(readings.cables)),
        "tips": float(len(readings.tips)),
        "core_score": float(np.mean([s.score for s in strands.cores])) if strands.cores else 0.0,
    }
