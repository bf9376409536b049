"""The chart of spoiled photos: a small panel for each harm, as SVG."""

from __future__ import annotations

from collections.abc import Iterator
from xml.sax.saxutils import escape

from tests.benchmarks.accuracy.stored import Harm, HarmLevel, Harms

ACROSS, WIDE, HIGH = 3, 300, 190
_LEFT, _RIGHT, _TOP, _BOTTOM, _LEGEND = 50, 14, 30, 42, 66
LINES = (
    ("flags that turn clear, or nothing is said, of flags", "#c2185b", ""),
    ("flags that turn unsure, of flags", "#6a4fd0", "7 4"),
    ("clear that turns to a flag, of clear", "#14808a", "2 4"),
    ("photos refused, of photos", "#555555", "12 3 2 3"),
)
"""What is drawn: name, colour and kind of line; points differ in shape too, so that nothing is
told by colour alone."""
SHAPES = (
    "m-3 -3h6v6h-6z",
    "m0 -4l4 7h-8z",
    "m0 -4l4 4l-4 4l-4 -4z",
    "m-3 -3l6 6m-6 0l6 -6",
)
"""Shape of the points of each line: square, triangle, diamond, cross; from their middle, px."""


def shares(level: HarmLevel, photos: int) -> tuple[float, ...]:
    """Shares 0 to 1 in the order of `LINES`; 0 of nothing is 0."""
    parts = (
        (level.flag_to_clear + level.flag_to_silent, level.flags),
        (level.flag_to_unsure, level.flags),
        (level.clear_to_flag, level.clears),
        (level.refused, photos if level.photos is None else level.photos),
    )
    return tuple(count / of if of else 0.0 for count, of in parts)


def svg(harms: Harms) -> str:
    """Draw all panels, the same scale on each."""
    rows = -(-len(harms.harms) // ACROSS)
    width, height = ACROSS * WIDE, rows * HIGH + _LEGEND
    told = [[shares(level, harms.photos) for level in one.levels] for one in harms.harms]
    top = _round_up(max((s for panel in told for level in panel for s in level), default=0.0))
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" '
        f'width="{width}" height="{height}" font-family="sans-serif" font-size="12" fill="#222222">',
        "<title>What becomes of findings as photos are spoiled more</title>",
        f'<rect width="{width}" height="{height}" fill="#ffffff"/>',
    ]
    for n, one in enumerate(harms.harms):
        x, y = n % ACROSS * WIDE, n // ACROSS * HIGH
        parts += [f'<g transform="translate({x} {y})">', *_panel(one, told[n], top), "</g>"]
    parts += [*_legend(rows * HIGH), "</svg>"]
    return "\n".join(parts) + "\n"


def _round_up(share: float) -> float:
    """The top of the scale: the next of 5, 10, 20, 50 or 100 %."""
    return next((top for top in (0.05, 0.1, 0.2, 0.5) if share <= top), 1.0)


def _panel(one: Harm, told: list[tuple[float, ...]], top: float) -> Iterator[str]:
    right, bottom = WIDE - _RIGHT, HIGH - _BOTTOM
    yield f'<text x="{_LEFT}" y="18" font-weight="bold">{escape(one.harm)}</text>'
    for part in (0.0, 0.5, 1.0):
        y = bottom - part * (bottom - _TOP)
        yield f'<path d="M{_LEFT} {y:.1f}H{right}" stroke="#cccccc"/>'
        label = f"{100 * part * top:g} %"
        yield f'<text x="{_LEFT - 6}" y="{y + 4:.1f}" text-anchor="end">{label}</text>'
    step = (right - _LEFT) / max(len(one.levels), 1)
    at = [_LEFT + step * (n + 0.5) for n in range(len(one.levels))]
    for x, level in zip(at, one.levels, strict=True):
        yield f'<text x="{x:.1f}" y="{bottom + 16}" text-anchor="middle">{level.level:g}</text>'
    middle = (_LEFT + right) / 2
    yield f'<text x="{middle:.1f}" y="{bottom + 33}" text-anchor="middle">{escape(one.unit)}</text>'
    for n, (_, colour, dash) in enumerate(LINES):
        points = [(x, bottom - t[n] / top * (bottom - _TOP)) for x, t in zip(at, told, strict=True)]
        yield _line(points, colour, dash)
        yield from (_point(n, x, y) for x, y in points)


def _line(points: list[tuple[float, float]], colour: str, dash: str) -> str:
    drawn = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    kind = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<polyline points="{drawn}" fill="none" stroke="{colour}" stroke-width="2"{kind}/>'


def _point(n: int, x: float, y: float) -> str:
    colour = LINES[n][1]
    return (
        f'<path class="point" d="M{x:.1f} {y:.1f}{SHAPES[n]}" fill="{colour}" stroke="{colour}"/>'
    )


def _legend(y: float) -> Iterator[str]:
    for n, (name, colour, dash) in enumerate(LINES):
        x, line = _LEFT + n % 2 * ACROSS * WIDE // 2, y + 20 + n // 2 * 22
        yield _line([(x, line - 4), (x + 40, line - 4)], colour, dash)
        yield _point(n, x + 20, line - 4)
        yield f'<text x="{x + 48}" y="{line}">{name}</text>'
