"""The site card as a PDF, true to scale."""

from __future__ import annotations

import json
from itertools import groupby
from pathlib import Path
from typing import Any, Literal

import cv2
import numpy as np
import segno
import typst
from numpy.typing import NDArray

from audit.card.geometry import load_card
from audit.card.label import clean_label
from audit.errors import UsageError, Where

Paper = Literal["a4", "letter"]
_TEMPLATE = Path(__file__).with_name("card.typ")
_TYPST_PAPER = {"a4": "a4", "letter": "us-letter"}
_FIRST_PAGE, _OTHER_PAGES = {"a4": 6, "letter": 6}, {"a4": 8, "letter": 8}
"""Cards a page; the first also says how to use them."""
MAX_LABELS = 500
Box = tuple[float, float, float, float]


def print_cards(labels: list[str], paper: Paper = "a4") -> bytes:
    """Lay out the site card as a PDF (PDF/UA-1), vector shapes true to scale.

    Parameters
    ----------
    labels : list of str
        One card each, with the label as QR code (ISO/IEC 18004) and in letters. An empty
        list gives a page of cards with room to write a label.
    paper : str
        ``a4`` or ``letter``.

    Returns
    -------
    bytes
        The PDF.

    Raises
    ------
    audit.errors.UsageError
        When a label can't be printed or read back, or there are too many.
    """
    if len(labels) > MAX_LABELS:
        raise UsageError(
            f"{len(labels)} labels are more than the {MAX_LABELS} that go in one file",
            next_step="print them in several files",
        )
    cards = [_labelled(label) for label in labels]
    if not cards:
        cards = [{"label": None, "qr": None}] * _FIRST_PAGE[paper]
    data = {**_face(), "paper": _TYPST_PAPER[paper], "pages": _pages(cards, paper), "how": True}
    return bytes(
        typst.compile(
            str(_TEMPLATE),
            format="pdf",
            sys_inputs={"data": json.dumps(data)},
            ignore_system_fonts=True,
            pdf_standards=["ua-1"],
        )
    )


def _labelled(text: str) -> dict[str, Any]:
    label = clean_label(text)
    if label is None:
        most = load_card().label_max
        raise UsageError(
            f"the label {text!r} can't be printed",
            Where(field="--label"),
            f"use 1 to {most} printable characters",
        )
    return {"label": label, "qr": _boxes(_qr(label), load_card().qr_box_mm)}


def _qr(label: str) -> NDArray[np.bool_]:
    """Dark modules of the label's QR code; error correction as high as its size allows."""
    code = segno.make_qr(label, error="l", boost_error=True)
    return np.array([[bool(v) for v in row] for row in code.matrix])


def _boxes(dark: NDArray[np.bool_], frame: Box) -> list[Box]:
    """Horizontal runs of true cells as boxes in mm, the whole filling `frame`."""
    left, top, right, bottom = frame
    rows, cols = dark.shape
    w, h = (right - left) / cols, (bottom - top) / rows
    out: list[Box] = []
    for r in range(rows):
        for value, run in groupby(range(cols), key=lambda c: bool(dark[r, c])):
            cells = list(run)
            if value:
                x0, x1 = left + cells[0] * w, left + (cells[-1] + 1) * w
                out.append((x0, top + r * h, x1, top + (r + 1) * h))
    return out


def _pages(cards: list[dict[str, Any]], paper: Paper) -> list[dict[str, Any]]:
    first = _FIRST_PAGE[paper]
    size = _OTHER_PAGES[paper]
    rest = [cards[i : i + size] for i in range(first, len(cards), size)]
    return [
        {"first": True, "cards": cards[:first]},
        *({"first": False, "cards": some} for some in rest),
    ]


def _face() -> dict[str, Any]:
    """Everything that is the same on every card."""
    card = load_card()
    black: list[Box] = []
    white: list[Box] = []
    book = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, card.dictionary))
    for marker_id, corners in zip(card.marker_ids, card.marker_corners_mm, strict=True):
        (left, top), (right, bottom) = corners[0], corners[2]
        frame = (float(left), float(top), float(right), float(bottom))
        black.append(frame)
        cells = cv2.aruco.generateImageMarker(book, marker_id, book.markerSize + 2)
        white += _boxes(np.asarray(cells) > 127, frame)
    return {
        "title": "Site card",
        "width": card.width_mm,
        "height": card.height_mm,
        "black": black,
        "white": white,
        "patches": [{"box": p.box_mm, "srgb": p.srgb} for p in card.patches],
        "ruler": card.ruler_mm,
        "words": card.words,
        "qr": card.qr_box_mm,
        "label_right": card.label_right_mm,
    }
