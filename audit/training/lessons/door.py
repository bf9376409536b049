"""The one door through which pictures leave for lessons: what tells place, person or device stays.

A picture that leaves is drawn anew from its pixels, so that no byte of the file it was read from
goes with it. What stands in the pixels is looked for as far as a program can: the label field of
the site card is covered, rating plates and readable codes are refused.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from audit.card.find import find_card
from audit.card.geometry import load_card
from audit.errors import LidoffError, Where
from audit.measure.contract import Box, LookRecord
from audit.photo.types import Photo
from audit.report.annotate import annotated
from audit.report.pictures import crop_box

RGB = NDArray[np.uint8]
Points = NDArray[np.float64]
_SIDE = 1100
"""Longer side of a picture that leaves, px: about 190 px per cm at its size in print."""
_LINE = 3
"""Width of outlines on it, px: it is printed 57 mm wide."""
_LOOKED_AT = 1600
_CLOSE = 640
_CLOSE_MM, _CLOSE_SHARE = 11.0, 0.12
"""A close up shows at least so much, before what is round it: mm, or share of the width."""
_QUALITY = 82
_COVER = (236, 236, 232)
_MARGIN_MM = 1.5


class NotForLessons(LidoffError):  # noqa: N818 - the photo is no error, it just stays here
    """A photo that must not leave, with the reason."""


@dataclass(frozen=True)
class Shot:
    """A picture ready to leave.

    Parameters
    ----------
    jpeg : bytes
        Without metadata.
    size : tuple of int
        Width and height, px.
    alt : str
        What it shows, for whoever can't see it.
    """

    jpeg: bytes = field(repr=False)
    size: tuple[int, int]
    alt: str

    def told(self, alt: str) -> Shot:
        """The same picture with other words."""
        return replace(self, alt=alt)


@dataclass(frozen=True)
class Cleared:
    """A photo that may leave.

    Parameters
    ----------
    picture : PIL.Image.Image
        RGB, upright, full size, the card's label field covered.
    covered : bool
        Whether a label field was covered.
    """

    picture: Image.Image = field(repr=False)
    covered: bool


def clear_for_lessons(
    photo: Photo,
    view: str | None,
    name: str,
    covers: Sequence[Points] = (),
    *,
    card_known: bool = False,
) -> Cleared:
    """Cover what tells a place or a person, or refuse the photo.

    A card of which no whole marker is seen is not found: what shows of its label has to be
    covered by hand.

    Parameters
    ----------
    photo : Photo
    view : str or None
        What it shows; a rating plate is refused.
    name : str
        How messages call it.
    covers : sequence of numpy.ndarray
        Further areas to cover: corners (n, 2), px of the upright photo.
    card_known : bool
        Whether a card is in the photo, and where, is known already: its label is among `covers`,
        and none is looked for.

    Raises
    ------
    NotForLessons
        When it shows a rating plate, a readable code, or a site card of which not enough is
        seen to cover its label.
    """
    where = Where(name)
    if view == "plate":
        raise NotForLessons("it shows a rating plate, which names make and device", where)
    rgb = photo.rgb.copy()
    for area in covers:
        _cover(rgb, area)
    found = not card_known and _cover_label(photo, rgb, where, by_hand=bool(covers))
    covered = found or bool(covers)
    picture = Image.fromarray(rgb)
    if _reads_code(picture):
        raise NotForLessons(
            "a code in it can be read (a label or a product), and it is not on a site card",
            where,
            "choose another photo",
        )
    return Cleared(picture, covered)


def _cover_label(photo: Photo, rgb: RGB, where: Where, *, by_hand: bool) -> bool:
    """Cover the card's label field in `rgb`; whether it was found."""
    sight = find_card(photo)
    if sight.mm_to_px is not None:
        _cover(rgb, label_area(sight.mm_to_px))
        return True
    if sight.markers and not by_hand:
        raise NotForLessons(
            "a part of a site card is in it, and its label can't be found to cover it",
            where,
            "cover it by hand with --cover, or choose another photo",
        )
    return False


def _cover(rgb: RGB, corners: Points) -> None:
    cv2.fillPoly(rgb, [np.rint(corners).astype(np.int32)], _COVER)


def label_area(mm_to_px: Points) -> Points:
    """Where a card's label field lies in a photo: corners (4, 2), px.

    Parameters
    ----------
    mm_to_px : numpy.ndarray
        Homography (3, 3) from card mm.
    """
    return np.asarray(cv2.perspectiveTransform(_label_field(), mm_to_px)[0], dtype=np.float64)


def card_label_area(corners_px: Sequence[tuple[float, float]]) -> Points:
    """The same from the card's outer corners, top left first, clockwise as printed."""
    outline = load_card().outline_mm.astype(np.float32)
    seen = np.asarray(corners_px, dtype=np.float32)
    return label_area(np.asarray(cv2.getPerspectiveTransform(outline, seen), dtype=np.float64))


def box_area(box: Box) -> Points:
    """A rectangle's corners (4, 2)."""
    x0, y0, x1, y1 = box
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], dtype=np.float64)


def _label_field() -> Points:
    """Corners (1, 4, 2) of the strip with code and label, to the card's lower edge, in mm."""
    card = load_card()
    left, top, _, _ = card.qr_box_mm
    x0, x1 = left - _MARGIN_MM, card.label_right_mm + _MARGIN_MM
    y0, y1 = top - _MARGIN_MM, card.height_mm
    return np.array([[[x0, y0], [x1, y0], [x1, y1], [x0, y1]]], dtype=np.float64)


def _reads_code(picture: Image.Image) -> bool:
    """Whether a QR code (ISO/IEC 18004) or a bar code (EAN, UPC) can be read in what leaves of it.

    Pictures leave no larger than `_SIDE`; a little more is looked at, to be sure.
    """
    small = picture.convert("L")
    small.thumbnail((_LOOKED_AT, _LOOKED_AT), Image.Resampling.LANCZOS, reducing_gap=2.0)
    grey = np.asarray(small)
    try:
        found, texts, *_ = cv2.QRCodeDetector().detectAndDecodeMulti(grey)
    except (cv2.error, UnicodeDecodeError):  # it asserts on figures that are no code
        found, texts = False, ()
    if found and any(texts):
        return True
    try:
        text, *_ = cv2.barcode.BarcodeDetector().detectAndDecode(grey)
    except (cv2.error, UnicodeDecodeError):
        return False
    return bool(text)


def bare(picture: Image.Image, alt: str) -> Shot:
    """The photo as it is."""
    return _shot(picture, _SIDE, alt)


def marked(picture: Image.Image, record: LookRecord, alt: str) -> Shot:
    """The photo with the record's findings and lines drawn on it."""
    small = picture.copy()
    small.thumbnail((_SIDE, _SIDE), Image.Resampling.LANCZOS, reducing_gap=2.0)
    return _shot(annotated(small, record, _LINE), _SIDE, alt)


def close_up(picture: Image.Image, box: Box, px_per_mm: float | None, alt: str) -> Shot | None:
    """One place of the photo, enlarged, with some of what is round it; None where it shows a code."""
    least = _CLOSE_MM * px_per_mm if px_per_mm else _CLOSE_SHARE * picture.width
    wide, tall = max(box[2] - box[0], least), max(box[3] - box[1], least * 0.75)
    x, y = (box[0] + box[2]) / 2, (box[1] + box[3]) / 2
    area = (x - wide / 2, y - tall / 2, x + wide / 2, y + tall / 2)
    cut = picture.crop(crop_box(area, picture.size, px_per_mm))
    if _reads_code(cut):  # what was too small to be read in the whole may be read here
        return None
    if cut.width < _CLOSE:
        size = (_CLOSE, max(1, round(cut.height * _CLOSE / cut.width)))
        cut = cut.resize(size, Image.Resampling.BICUBIC)
    return _shot(cut, _CLOSE, alt)


def _shot(picture: Image.Image, side: int, alt: str) -> Shot:
    small = picture.convert("RGB")
    small.thumbnail((side, side), Image.Resampling.LANCZOS, reducing_gap=2.0)
    small = Image.fromarray(np.asarray(small))  # carries nothing but pixels
    out = io.BytesIO()
    small.save(out, "JPEG", quality=_QUALITY, optimize=True)
    return Shot(out.getvalue(), small.size, alt)
