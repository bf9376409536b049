"""Scale at a place in the photo, from the site card, with its uncertainty.

Uncertainties are expanded (k = 2) and combined by root sum of squares
(JCGM 100:2008, the GUM).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.card.geometry import load_card
from audit.card.pose import focal_px_of
from audit.card.types import CardSight, Points
from audit.settings import Settings

ASSUMED_FOCAL_35MM = 24.0
"""Where no pose tells: a phone's main camera, at the short end, which puts the camera near and so
makes the uncertainty from depth the larger."""
_PLANE_WEIGHT = 0.5
"""How far the card's plane is trusted beyond the card. The work may lie in that plane, or just as
far away as the card's middle, the card having a tilt of its own: held by a sheath or leaning on a
joist it mostly has. The scale lies between the two, and what parts them is doubt. Who can weigh the
two against other evidence takes them apart: `Scale.stretch` and `Scale.facing`."""
_CORNER_FLOOR_PX = 0.15
_CORNER_FLOOR_REL = 0.004
"""Standard uncertainty of a corner is never taken below these (px; share of a marker's side)."""

From = Literal["card", "conductor", "core", "sheath", "marks", "none"]


@dataclass(frozen=True, eq=False)
class Scale:
    """Scale at one place.

    Parameters
    ----------
    px_per_mm : float
        For lengths that face the camera at the work.
    u95_rel : float
        Expanded relative uncertainty (k = 2) of `px_per_mm` for a length in any direction.
    depth_mm : float
        How far behind the card's plane the work is taken to lie (negative: before it).
    depth_u95_mm : float
        Expanded uncertainty of that.
    from_ : str
        What the scale comes from.
    parts : mapping of str to float
        Expanded relative parts of `u95_rel`: ``corners``, ``tilt``, ``plane``, ``print``, ``depth``.
    stretch : tuple of float
        The card plane's two principal stretches at the place, px per mm, larger first.
    stretch_dir : tuple of float
        Unit vector in the picture along which the larger one holds.
    camera_mm : float or None
        Distance of the camera along the line of sight, used for the part of depth.
    facing : float or None
        px per mm of what faces the camera as far away as the card's middle.
    """

    px_per_mm: float
    u95_rel: float
    depth_mm: float
    depth_u95_mm: float
    from_: From
    parts: Mapping[str, float] = field(default_factory=dict)
    stretch: tuple[float, float] = (0.0, 0.0)
    stretch_dir: tuple[float, float] = (1.0, 0.0)
    camera_mm: float | None = None
    facing: float | None = None

    def along(self, dx: float, dy: float) -> float:
        """Scale, px per mm, for a length in the card's plane seen in direction (`dx`, `dy`)."""
        length = float(np.hypot(dx, dy))
        if length == 0.0 or min(self.stretch) <= 0.0:
            return self.px_per_mm
        ux, uy = self.stretch_dir
        cosine, sine = (dx * ux + dy * uy) / length, (dy * ux - dx * uy) / length
        return 1.0 / float(np.hypot(cosine / self.stretch[0], sine / self.stretch[1]))

    def at_depth(self, depth_mm: float, depth_u95_mm: float) -> Scale:
        """The scale for work known to lie `depth_mm` behind the card's plane.

        Raises
        ------
        ValueError
            When the camera's distance is unknown, or the work would lie behind the camera.
        """
        if self.camera_mm is None:
            raise ValueError("the camera's distance is unknown")
        was, now = self.camera_mm + self.depth_mm, self.camera_mm + depth_mm
        if now <= 0 or was <= 0:
            raise ValueError("the work would lie behind the camera")
        parts = {**self.parts, "depth": depth_u95_mm / now}
        ratio = was / now
        return replace(
            self,
            px_per_mm=self.px_per_mm * ratio,
            stretch=(self.stretch[0] * ratio, self.stretch[1] * ratio),
            u95_rel=_combine(parts),
            depth_mm=depth_mm,
            depth_u95_mm=depth_u95_mm,
            parts=parts,
        )


def _combine(parts: Mapping[str, float]) -> float:
    return float(np.sqrt(sum(v * v for v in parts.values())))


def local_matrix(mm_to_px: Points, at_px: tuple[float, float]) -> Points:
    """Derivative (2, 2) of px by mm of a homography at a place given in px."""
    inverse = np.linalg.inv(mm_to_px)
    x, y, w = inverse @ np.array([at_px[0], at_px[1], 1.0])
    X, Y = x / w, y / w
    a = mm_to_px
    d = a[2, 0] * X + a[2, 1] * Y + a[2, 2]
    u, v = at_px
    return np.array(
        [
            [(a[0, 0] - u * a[2, 0]) / d, (a[0, 1] - u * a[2, 1]) / d],
            [(a[1, 0] - v * a[2, 0]) / d, (a[1, 1] - v * a[2, 1]) / d],
        ]
    )


def _mean_stretch(mm_to_px: Points, at_px: tuple[float, float]) -> float:
    values = np.linalg.svd(local_matrix(mm_to_px, at_px), compute_uv=False)
    return float(values.mean())


def _corner_part(sight: CardSight, at_px: tuple[float, float]) -> float:
    """Expanded relative part from corner localisation, propagated through the homography."""
    card = load_card()
    mm = np.concatenate(
        [card.marker_corners_mm[card.marker_ids.index(m.id)] for m in sight.markers]
    )
    px = np.concatenate([m.corners_px for m in sight.markers])
    side = float(np.linalg.norm(px - np.roll(px, 1, axis=0), axis=1).min())
    free = max(1, 2 * len(mm) - 8)
    spread = (sight.residual_px or 0.0) * np.sqrt(len(mm) / free)  # a coordinate's own, not 2-D
    sigma = max(spread, _CORNER_FLOOR_PX, _CORNER_FLOOR_REL * side)
    here = _mean_stretch(sight.mm_to_px, at_px)  # type: ignore[arg-type]
    step, total = 0.1, 0.0
    for i in range(px.size):
        moved = px.copy()
        moved.flat[i] += step
        H, _ = cv2.findHomography(mm, moved, 0)
        if H is None:
            return 1.0
        total += ((_mean_stretch(np.asarray(H), at_px) / here - 1.0) / step) ** 2
    return float(2.0 * sigma * np.sqrt(total))


def card_scale(
    sight: CardSight,
    at_px: tuple[float, float],
    settings: Settings | None = None,
    shape: tuple[int, ...] | None = None,
) -> Scale | None:
    """Scale at a place, from the card.

    Parameters
    ----------
    sight : CardSight
    at_px : tuple of float
        The place, px of the upright full-size photo. It may lie outside the card; the
        further away, the larger the part from the corners.
    settings : audit.settings.Settings, optional
        `depth_u95_mm` is heeded: how far the work may lie before or behind the card.
    shape : tuple of int, optional
        Height and width of the photo; lets the camera's distance be taken from an assumed
        phone camera where Exif gives no focal length.

    Returns
    -------
    Scale or None
        None when the card was not found, or its plane is not seen at that place.
    """
    settings = settings or Settings()
    if not sight.found or sight.mm_to_px is None:
        return None
    if not _before_camera(sight.mm_to_px, at_px):
        return None
    U, s, _ = np.linalg.svd(local_matrix(sight.mm_to_px, at_px))
    px_per_mm, gap = _between(sight, float(s[0]))
    camera = _camera_mm(sight, px_per_mm, shape)
    parts = {
        "corners": _corner_part(sight, at_px),
        "tilt": float((s[0] - s[1]) / (s[0] + s[1])),
        "plane": gap,
        "print": load_card().print_u95_rel,
        "depth": settings.depth_u95_mm / camera,
    }
    return Scale(
        px_per_mm=px_per_mm,
        u95_rel=_combine(parts),
        depth_mm=0.0,
        depth_u95_mm=settings.depth_u95_mm,
        from_="card",
        parts=parts,
        stretch=(float(s[0]), float(s[1])),
        stretch_dir=(float(U[0, 0]), float(U[1, 0])),
        camera_mm=camera,
        facing=sight.focal_px / sight.depth_mm if sight.focal_px and sight.depth_mm else None,
    )


def _between(sight: CardSight, in_plane: float) -> tuple[float, float]:
    """Scale between that of the card's plane and that of the card's distance, and the doubt."""
    if not sight.focal_px or not sight.depth_mm:
        return in_plane, 0.0
    log = float(np.log(in_plane * sight.depth_mm / sight.focal_px))
    doubt = max(_PLANE_WEIGHT, 1 - _PLANE_WEIGHT) * abs(log)
    return in_plane * float(np.exp((_PLANE_WEIGHT - 1) * log)), doubt


def _before_camera(mm_to_px: NDArray[np.float64], at_px: tuple[float, float]) -> bool:
    """Whether the card's plane, seen at that place, lies on the same side as the card."""
    inverse = np.linalg.inv(mm_to_px)
    card = load_card()
    middle = np.array([card.width_mm / 2, card.height_mm / 2, 1.0])
    there = inverse @ np.array([at_px[0], at_px[1], 1.0])
    if abs(there[2]) < 1e-12:
        return False
    depth = float(mm_to_px[2] @ (there / there[2]))
    return depth * float(mm_to_px[2] @ middle) > 0


def _camera_mm(sight: CardSight, px_per_mm: float, shape: tuple[int, ...] | None) -> float:
    """Distance of the camera from the pose; without one, that of an assumed phone camera."""
    if sight.focal_px is not None:
        return sight.focal_px / px_per_mm
    if sight.distance_mm is not None:
        return sight.distance_mm
    if shape is None:
        return 250.0
    return focal_px_of(ASSUMED_FOCAL_35MM, shape) / px_per_mm
