"""Small pieces of SVG that the drawings are put together from; 360 units wide, as a phone is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from html import escape

WIDE = 360.0
FONT = 12.5
INK = "currentColor"
CORES = {
    "brown": "#6b3f23",
    "blue": "#2f6db5",
    "black": "#1f1f21",
    "grey": "#8b9096",
    "red": "#b0272d",
    "yellow": "#d9bd21",
    "white": "#f3f2ec",
    "copper": "#c47a43",
}
"""As in the ribbon: the word stands beside each colour."""
Point = tuple[float, float]


def page(body: Iterable[str], tall: float, identity: str, wide: float = WIDE) -> str:
    """The whole drawing."""
    return (
        f'<svg class="drawing" xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {wide:g} {tall:.0f}" '
        f'width="{wide:g}" font-family="system-ui, sans-serif" font-size="{FONT:g}">'
        f"<defs>{_patterns(identity)}</defs>{''.join(body)}</svg>"
    )


def _patterns(i: str) -> str:
    return (
        f'<pattern id="{i}-gy" width="8" height="8" patternUnits="userSpaceOnUse" '
        'patternTransform="rotate(35)"><rect width="8" height="8" fill="#e8cf2a"/>'
        '<rect width="4" height="8" fill="#2f8a43"/></pattern>'
        f'<pattern id="{i}-x" width="8" height="8" patternUnits="userSpaceOnUse">'
        '<path d="M0 0l8 8M8 0l-8 8" stroke="currentColor" stroke-width=".7" opacity=".6"/></pattern>'
        f'<pattern id="{i}-s" width="9" height="9" patternUnits="userSpaceOnUse">'
        '<path d="M0 9l9-9" stroke="currentColor" stroke-width=".7" opacity=".55"/></pattern>'
        f'<pattern id="{i}-o" width="9" height="9" patternUnits="userSpaceOnUse">'
        '<circle cx="3" cy="3" r="1" fill="currentColor" opacity=".6"/></pattern>'
    )


def core_fill(colour: str, identity: str) -> str:
    """Fill of a core by the name of its colour."""
    return f"url(#{identity}-gy)" if colour == "green-and-yellow" else CORES[colour]


def rect(
    x: float, y: float, w: float, h: float, *, fill: str = "none", stroke: str = INK,
    width: float = 1.0, dash: str = "",
) -> str:  # fmt: skip
    """A rectangle."""
    style = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{w:.1f}" height="{h:.1f}" fill="{fill}" '
        f'stroke="{stroke}" stroke-width="{width:g}"{style}/>'
    )


def line(points: Sequence[Point], *, stroke: str = INK, width: float = 1.2, dash: str = "") -> str:
    """A polyline."""
    steps = "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
    style = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="M{steps}" fill="none" stroke="{stroke}" stroke-width="{width:g}"{style}/>'


def core(points: Sequence[Point], colour: str, identity: str, width: float = 4.0) -> str:
    """A conductor: its colour, with an outline that keeps it apart from any ground."""
    paint = "#8a9a2b" if colour == "green-and-yellow" else CORES[colour]
    outline = line(points, width=width + 1.6)
    if colour != "green-and-yellow":
        return outline + line(points, stroke=paint, width=width)
    return (
        outline
        + line(points, stroke="#e8cf2a", width=width)
        + line(points, stroke="#2f8a43", width=width, dash="5 5")
    )


def words(
    x: float, y: float, text: str, *, anchor: str = "start", bold: bool = False, size: float = FONT
) -> str:
    """One line of text; y is its base line."""
    weight = ' font-weight="650"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}"{weight} '
        f'fill="{INK}">{escape(text)}</text>'
    )


def across(x0: float, x1: float, y: float, text: str, *, above: bool = False) -> str:
    """A dimension from left to right with its figure."""
    return line([(x0, y), (x1, y)]) + _ticks([(x0, y), (x1, y)], upright=True) + words(
        (x0 + x1) / 2, y - 5 if above else y + 14, text, anchor="middle"
    )  # fmt: skip


def upright(x: float, y0: float, y1: float, text: str) -> str:
    """A dimension from top to bottom; its figure reads upwards at its left."""
    middle = (y0 + y1) / 2
    return (
        line([(x, y0), (x, y1)])
        + _ticks([(x, y0), (x, y1)], upright=False)
        + f'<g transform="translate({x - 5:.1f} {middle:.1f}) rotate(-90)">'
        + words(0, 0, text, anchor="middle")
        + "</g>"
    )


def _ticks(points: Sequence[Point], *, upright: bool) -> str:
    dx, dy = (0.0, 4.0) if upright else (4.0, 0.0)
    return "".join(line([(x - dx, y - dy), (x + dx, y + dy)]) for x, y in points)


def key(x: float, y: float, fill: str, text: str, *, dash: str = "") -> str:
    """A line of the legend: a patch and its word."""
    return rect(x, y - 10, 18, 12, fill=fill, dash=dash) + words(x + 26, y, text)
