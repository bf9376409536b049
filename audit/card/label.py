"""The fitting's label, from the QR code on the card."""

from __future__ import annotations

import unicodedata

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.card.geometry import load_card

_PPM = 24.0
"""Scale of the squared view, px per mm: about 14 px a module of the smallest code."""
_MARGIN_MM = 2.5


def clean_label(text: str) -> str | None:
    """A label as it may be used: trimmed, printable, NFC, not too long; else None.

    Examples
    --------
    >>> clean_label(" F01 ")
    'F01'
    """
    label = unicodedata.normalize("NFC", text).strip()
    if not label or len(label) > load_card().label_max or not label.isprintable():
        return None
    return label


def read_label(grey: NDArray[np.uint8], mm_to_px: NDArray[np.float64]) -> str | None:
    """Read the card's QR code (ISO/IEC 18004).

    Parameters
    ----------
    grey : numpy.ndarray
        Shape (H, W), uint8, full size.
    mm_to_px : numpy.ndarray
        Homography (3, 3) from card mm to OpenCV's px (centres at whole numbers).

    Returns
    -------
    str or None
        The label; None when there is no code, or it can't be read, or holds no label.
    """
    left, top, right, bottom = load_card().qr_box_mm
    left, top = left - _MARGIN_MM, top - _MARGIN_MM
    size = round((right + _MARGIN_MM - left) * _PPM), round((bottom + _MARGIN_MM - top) * _PPM)
    to_mm = np.array([[1 / _PPM, 0, left], [0, 1 / _PPM, top], [0, 0, 1.0]])
    view = np.asarray(
        cv2.warpPerspective(
            grey, mm_to_px @ to_mm, size, flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
        ),
        dtype=np.uint8,
    )
    if float(view.std()) < 4.0:
        return None  # blank
    reader = cv2.QRCodeDetector()
    side = (right - load_card().qr_box_mm[0]) * _PPM
    low = _MARGIN_MM * _PPM
    frame = np.array(
        [[[low, low], [low + side, low], [low + side, low + side], [low, low + side]]],
        dtype=np.float32,
    )
    _, binary = cv2.threshold(view, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    for picture in (view, np.asarray(binary), cv2.resize(view, None, fx=0.5, fy=0.5)):
        try:
            text, _, _ = reader.detectAndDecode(picture)
            if not text and picture is not view and picture.shape == view.shape:
                text, _ = reader.decode(picture, frame)
        except cv2.error:
            continue  # the reader asserts on some figures that are no code
        if text:
            return clean_label(text)
    return None
