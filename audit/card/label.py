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
_MODULES = range(21, 58, 4)
"""Modules a side of versions 1 to 10; the longest label fits in version 5."""
_FINDER_SHARE = 0.9
"""Share of the three finder patterns' modules that must be as they should."""
Grey = NDArray[np.uint8]


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


def read_label(grey: Grey, mm_to_px: NDArray[np.float64]) -> str | None:
    """Read the card's QR code (ISO/IEC 18004).

    Its place on the card is known, so that its modules are read at their places and drawn anew,
    which reads codes that are too small or blurred for a search; a code that does not fill its
    place exactly is searched for in a squared view.

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
    view = _squared(grey, mm_to_px)
    if float(view.std()) < 4.0:
        return None  # blank
    margin = round(_MARGIN_MM * _PPM)
    clean = _redrawn(view[margin:-margin, margin:-margin])
    pictures = [*([] if clean is None else [clean]), view, cv2.resize(view, None, fx=0.5, fy=0.5)]
    reader = cv2.QRCodeDetector()
    for picture in pictures:
        try:
            text, _, _ = reader.detectAndDecode(picture)
        except (cv2.error, UnicodeDecodeError):
            continue  # the reader asserts on some figures that are no code
        if text:
            return clean_label(text)
    return None


def _squared(grey: Grey, mm_to_px: NDArray[np.float64]) -> Grey:
    """The code and a margin, seen straight on."""
    left, top, right, bottom = load_card().qr_box_mm
    left, top = left - _MARGIN_MM, top - _MARGIN_MM
    size = round((right + _MARGIN_MM - left) * _PPM), round((bottom + _MARGIN_MM - top) * _PPM)
    half = 0.5 / _PPM  # the middle of the first px lies half a px inside
    to_mm = np.array([[1 / _PPM, 0, left + half], [0, 1 / _PPM, top + half], [0, 0, 1.0]])
    how = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
    return np.asarray(cv2.warpPerspective(grey, mm_to_px @ to_mm, size, flags=how), dtype=np.uint8)


def _redrawn(code: Grey) -> Grey | None:
    """The code drawn anew from its modules, or None when no finder patterns are seen."""
    best: tuple[float, NDArray[np.bool_]] | None = None
    for count in _MODULES:
        dark = _modules(code, count)
        share = _finder_share(dark)
        if best is None or share > best[0]:
            best = share, dark
    if best is None or best[0] < _FINDER_SHARE:
        return None
    plain = np.where(np.pad(best[1], 4), 0, 255).astype(np.uint8)
    return np.kron(plain, np.ones((8, 8), dtype=np.uint8))


def _modules(code: Grey, count: int) -> NDArray[np.bool_]:
    """Dark modules (count, count), each against the mean of light and dark around it."""
    # The middle third of each module alone: blur mixes its borders with its neighbours.
    fine = cv2.resize(code, (3 * count, 3 * count), interpolation=cv2.INTER_AREA)[1::3, 1::3]
    level, _ = cv2.threshold(fine, 0, 255, cv2.THRESH_BINARY + cv2.THRESH_OTSU)
    dark: NDArray[np.bool_] = np.asarray(fine) <= level
    return dark


def _finder_share(dark: NDArray[np.bool_]) -> float:
    """How much of the finder patterns at three corners is as ISO/IEC 18004 draws them."""
    ring = np.zeros((8, 8), dtype=bool)
    ring[:7, :7] = True
    ring[1:6, 1:6] = False
    ring[2:5, 2:5] = True
    corners = (dark[:8, :8], dark[:8, ::-1][:, :8], dark[::-1][:8, :8])
    return float(np.mean([(part == ring).mean() for part in corners]))
