"""A picture with its words: what it is above it, what is drawn below it, names beside things.

Whoever opens one picture alone, or sends it on, must be able to read it.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

PAPER, WORDS = "#ffffff", "#10263d"
_PLAIN = str.maketrans({"−": "-", "–": "-", "—": "-", "•": "-", "²": "2", "×": "x", "≥": ">="})
"""Pillow's own font, which is always there, holds none of these."""
Painter = Callable[[Image.Image, tuple[int, int, int, int]], None]
"""Draws a sample into x0, y0, x1, y1 of a picture."""


@dataclass(frozen=True)
class Key:
    """One entry of a legend: a sample and what it stands for."""

    text: str
    paint: Painter


@cache
def _font(size: float) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


def font_px(width: int) -> int:
    """Height of the words on a picture so wide, px: legible when it is shown 1000 px wide."""
    return max(14, round(width / 66))


def faded(picture: Image.Image) -> Image.Image:
    """The photo in pale grey, so that what is drawn on it stands out and keeps its colour."""
    grey = picture.convert("L").convert("RGB")
    return Image.blend(grey, Image.new("RGB", picture.size, PAPER), 0.45)


def sheet(
    picture: Image.Image, title: str, keys: Sequence[Key], lines: Iterable[str]
) -> Image.Image:
    """Put a heading above a picture, its legend and some sentences below.

    Parameters
    ----------
    picture : PIL.Image.Image
        RGB.
    title : str
    keys : sequence of Key
    lines : iterable of str
        Each begins a new line, and is wrapped to the width.

    Returns
    -------
    PIL.Image.Image
        RGB, as wide as the picture; the picture begins `head_px` below the top.
    """
    size = font_px(picture.width)
    pad, pitch = size // 2, round(size * 1.45)
    room = picture.width - 2 * pad
    column = max([_wide(k.text, size) + 3 * size for k in keys], default=room)
    columns = max(1, int(room // column))
    rows = -(-len(keys) // columns)
    wrapped = [w for line in lines for w in wrap(line, room, size)]
    head = head_px(picture.width)
    foot = pad + (rows + len(wrapped)) * pitch + pad
    out = Image.new("RGB", (picture.width, head + picture.height + foot), PAPER)
    out.paste(picture, (0, head))
    draw = ImageDraw.Draw(out)
    draw.text((pad, head / 2), title, fill=WORDS, anchor="lm", font_size=size * 1.2)
    y = head + picture.height + pad
    for n, key in enumerate(keys):
        x, top = round(pad + n % columns * column), y + n // columns * pitch
        box = (x, top + 2, x + round(1.6 * size), top + pitch - 6)
        key.paint(out, box)
        middle = (top + 2 + top + pitch - 6) / 2
        draw.text((x + 2.1 * size, middle), key.text, fill=WORDS, anchor="lm", font_size=size)
    y += rows * pitch
    for n, text in enumerate(wrapped):
        draw.text((pad, y + n * pitch + pitch / 2), text, fill=WORDS, anchor="lm", font_size=size)
    return out


def head_px(width: int) -> int:
    """Height of the heading over a picture so wide, px."""
    return round(font_px(width) * 2.1)


def _wide(text: str, size: float) -> float:
    return float(_font(size).getlength(text))


def wrap(text: str, room: float, size: float) -> list[str]:
    """Break a text into lines no wider than `room` px; a word longer than that stands alone."""
    out = [""]
    for word in text.translate(_PLAIN).split():
        longer = f"{out[-1]} {word}".strip()
        if out[-1] and _wide(longer, size) > room:
            out.append(word)
        else:
            out[-1] = longer
    return out


class Labels:
    """Names beside things: none over another, and none over what is to be seen.

    Parameters
    ----------
    draw : PIL.ImageDraw.ImageDraw
    size : tuple of int
        Of the picture, px.
    """

    def __init__(self, draw: ImageDraw.ImageDraw, size: tuple[int, int]) -> None:
        self._draw = draw
        self._size = size
        self._px = round(font_px(size[0]) * 0.9)
        self._seen: list[tuple[float, float, float, float]] = []
        self._named: list[tuple[float, float, float, float]] = []

    def keep_free(self, points: NDArray[np.float64], within: float = 6.0) -> None:
        """Put no name over these points, nor `within` px of them."""
        for x, y in points[:: max(1, len(points) // 40)]:
            self._seen.append((x - within, y - within, x + within, y + within))

    def put(self, at: tuple[float, float], text: str, ink: str, clear: float = 0.0) -> None:
        """Write a name near a point, `clear` px from it or more; a line leads to it."""
        wide, high = _wide(text, self._px) + 0.7 * self._px, 1.3 * self._px
        best: tuple[float, tuple[float, float, float, float]] | None = None
        for step, turn in itertools.product(range(8), range(12)):
            away = clear + step * 1.3 * high
            angle = turn * np.pi / 6
            dx, dy = float(np.cos(angle)), float(np.sin(angle))
            x = at[0] + dx * (away + wide / 2 * (clear > 0)) - wide / 2
            y = at[1] + dy * (away + high / 2 * (clear > 0)) - high / 2
            x = min(max(x, 2.0), self._size[0] - wide - 2)
            y = min(max(y, 2.0), self._size[1] - high - 2)
            box = (x, y, x + wide, y + high)
            # A name over another is never read; a name over a line only hides a bit of it.
            cost = 1000 * _met(box, self._named) + 20 * _met(box, self._seen) + away
            if best is None or cost < best[0]:
                best = (cost, box)
        assert best is not None
        self._write(at, text, ink, best[1])

    def _write(
        self,
        at: tuple[float, float],
        text: str,
        ink: str,
        box: tuple[float, float, float, float],
    ) -> None:
        x0, y0, x1, y1 = box
        end = (min(max(at[0], x0), x1), min(max(at[1], y0), y1))
        if end != at:
            self._draw.line([at, end], fill=PAPER, width=5)
            self._draw.line([at, end], fill=WORDS, width=2)
        self._draw.rectangle(box, fill=PAPER, outline=ink, width=2)
        middle = ((x0 + x1) / 2, (y0 + y1) / 2)
        self._draw.text(middle, text, fill=WORDS, anchor="mm", font_size=self._px)
        self._named.append(box)


def _met(
    box: tuple[float, float, float, float], others: Iterable[tuple[float, float, float, float]]
) -> int:
    """How many of the other boxes this one lies over."""
    return sum(box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in others)
