"""Where everything stands on the site card, in mm, and what colour it should be."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from audit.errors import ModelsError, Where
from audit.resources import load_toml

_FILE = "card.toml"
Points = NDArray[np.float64]


@dataclass(frozen=True)
class Patch:
    """One colour patch.

    Parameters
    ----------
    name : str
    box_mm : tuple of float
        Left, top, right, bottom on the card.
    srgb : tuple of int
        Nominal colour, 8-bit sRGB.
    neutral : bool
        Whether it is one of the greys.
    """

    name: str
    box_mm: tuple[float, float, float, float]
    srgb: tuple[int, int, int]
    neutral: bool


@dataclass(frozen=True, eq=False)
class CardGeometry:
    """The site card; lengths in mm, origin at its top left corner, x right, y down.

    Parameters
    ----------
    width_mm, height_mm : float
    print_u95_rel : float
        Expanded relative uncertainty (k = 2) of the printed size.
    dictionary : str
        Name of the ArUco dictionary.
    marker_mm : float
        Side of a marker's black square.
    marker_ids : tuple of int
        Clockwise from top left.
    marker_corners_mm : numpy.ndarray
        Shape (4, 4, 2): marker, corner (clockwise from its top left), x and y.
    patches : tuple of Patch
        Neutral ones first, from white to black.
    qr_box_mm : tuple of float
        Left, top, right, bottom of the QR code.
    label_right_mm : float
        Where the box for the label ends.
    label_max : int
        Longest label, in characters.
    ruler_mm : tuple of float
        Left end, top of the band, bottom of the band, length.
    words : str
        Printed beside the ruler.
    """

    width_mm: float
    height_mm: float
    print_u95_rel: float
    dictionary: str
    marker_mm: float
    marker_ids: tuple[int, ...]
    marker_corners_mm: Points
    patches: tuple[Patch, ...]
    qr_box_mm: tuple[float, float, float, float]
    label_right_mm: float
    label_max: int
    ruler_mm: tuple[float, float, float, float]
    words: str

    @property
    def outline_mm(self) -> Points:
        """Outer corners (4, 2): top left, top right, bottom right, bottom left."""
        w, h = self.width_mm, self.height_mm
        return np.array([[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]])


def _marker_corners(centres: list[list[float]], side: float) -> Points:
    half = side / 2.0
    around = np.array([[-half, -half], [half, -half], [half, half], [-half, half]])
    return np.asarray(np.asarray(centres, dtype=np.float64)[:, None, :] + around[None])


def _patch_row(row: dict[str, Any], patches: dict[str, Any], neutral: bool) -> list[Patch]:
    out = []
    for i, (name, srgb) in enumerate(zip(row["names"], row["srgb"], strict=True)):
        left = patches["left_mm"] + i * patches["pitch_mm"]
        box = (
            left,
            row["top_mm"],
            left + patches["width_mm"],
            row["top_mm"] + patches["height_mm"],
        )
        red, green, blue = srgb
        out.append(Patch(name, box, (red, green, blue), neutral))
    return out


@cache
def load_card() -> CardGeometry:
    """Read the site card's geometry from ``models/card.toml``.

    Raises
    ------
    audit.errors.ModelsError
        When the file is missing or lacks a value.
    """
    data = load_toml(_FILE)
    try:
        markers, patches = data["markers"], data["patches"]
        label, ruler = data["label"], data["ruler"]
        left, top, side = label["qr_left_mm"], label["qr_top_mm"], label["qr_side_mm"]
        return CardGeometry(
            width_mm=data["width_mm"],
            height_mm=data["height_mm"],
            print_u95_rel=data["print_u95_rel"],
            dictionary=markers["dictionary"],
            marker_mm=markers["side_mm"],
            marker_ids=tuple(markers["ids"]),
            marker_corners_mm=_marker_corners(markers["centres_mm"], markers["side_mm"]),
            patches=(
                *_patch_row(patches["upper"], patches, neutral=True),
                *_patch_row(patches["lower"], patches, neutral=False),
            ),
            qr_box_mm=(left, top, left + side, top + side),
            label_right_mm=label["box_right_mm"],
            label_max=label["max_length"],
            ruler_mm=(ruler["left_mm"], *ruler["band_y_mm"], ruler["length_mm"]),
            words=ruler["words"],
        )
    except (KeyError, TypeError, ValueError) as exc:
        raise ModelsError(
            f"the site card's data lack something ({exc})", Where(_FILE), "install lidoff again"
        ) from exc
