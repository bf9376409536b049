"""What finding the site card hands on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
LostAt = Literal[
    "no marker candidates",
    "one marker only",
    "pose does not fit",
    "scale inconsistent",
    "looks like a picture of a card",
]


@dataclass(frozen=True, eq=False)
class MarkerSeen:
    """One of the card's markers.

    Parameters
    ----------
    id : int
    corners_px : numpy.ndarray
        Shape (4, 2), clockwise from the marker's own top left corner.
    """

    id: int
    corners_px: Points


@dataclass(frozen=True, eq=False)
class CardSight:
    """What was seen of the site card in one photo.

    px are those of the upright full-size photo, origin at the top left corner
    of the top left pixel (a pixel's centre is at .5).

    Parameters
    ----------
    found : bool
        Whether place and scale may be relied on.
    lost_at : str or None
        The step at which it was lost, when not found.
    markers : tuple of MarkerSeen
        Those that were seen, also when the card was lost later.
    corners_px : numpy.ndarray or None
        (4, 2), outer corners of the card: top left, top right, bottom right,
        bottom left of the card as printed; they may lie outside the picture.
    mm_to_px : numpy.ndarray or None
        Homography (3, 3) from card mm to px.
    residual_px : float or None
        Root mean square distance of the corners from the homography.
    distance_mm : float or None
        From the camera to the card's middle; rough where Exif gives no focal length.
    depth_mm : float or None
        The same along the camera's axis; `focal_px` over it is the scale, px per mm, of
        anything that faces the camera as far away as the card's middle.
    tilt_deg : float or None
        Between the card's normal and the line of sight.
    focal_px : float or None
        Focal length the pose was found with.
    focal_known : bool
        Whether it came from Exif.
    label : str or None
        The fitting's label, from the card's QR code.
    notes : tuple of str
        What a person should know, such as a marker left out as damaged.
    """

    found: bool
    lost_at: LostAt | None = None
    markers: tuple[MarkerSeen, ...] = ()
    corners_px: Points | None = None
    mm_to_px: Points | None = None
    residual_px: float | None = None
    distance_mm: float | None = None
    depth_mm: float | None = None
    tilt_deg: float | None = None
    focal_px: float | None = None
    focal_known: bool = False
    label: str | None = None
    notes: tuple[str, ...] = ()
