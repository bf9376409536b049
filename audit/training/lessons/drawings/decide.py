"""How a length with its uncertainty is held against a limit."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from audit.rules.region import Region
from audit.settings import Settings
from audit.training.lessons.drawings import svg


def says(value: float, u95: float, limit: float) -> str:
    """What a length alone allows to say: a flag, or unsure (JCGM 106, guard band)."""
    return "flag" if value - u95 > limit else "unsure"


_FULL = 240.0
"""A range that ends beyond this has its words at its left."""


def _end(b: float) -> str:
    return "end" if b > _FULL else "start"


def _beside(a: float, b: float, y: float) -> svg.Point:
    """Where the words of a range stand: beside it, clear of the limit's line."""
    return (a - 9, y + 4) if b > _FULL else (b + 9, y + 4)


def guard_band(data: Mapping[str, Any], _: Region, identity: str) -> str:
    """Lengths with their uncertainty against the limit for copper: `lengths` of (mm, ± mm)."""
    limit = Settings().copper_limit_mm
    reach = max(v + u for v, u in data["lengths"]) * 1.05
    left, right, top = 60.0, 346.0, 42.0
    scale = (right - left) / reach
    low = top + 40 * len(data["lengths"])
    at = left + limit * scale
    body = [
        svg.line([(at, top - 14), (at, low)], width=2, dash="6 4"),
        svg.words(at + 5, top - 18, f"limit {limit:g} mm", bold=True),
    ]
    for n, (value, u95) in enumerate(data["lengths"]):
        y = top + 12 + n * 40
        a, b, middle = (left + max(0.0, v) * scale for v in (value - u95, value + u95, value))
        body += [
            svg.words(0, y + 4, says(value, u95, limit), bold=True),
            svg.line([(a, y), (b, y)], width=2.4),
            *(svg.line([(x, y - 5), (x, y + 5)], width=1.6) for x in (a, b)),
            f'<circle cx="{middle:.1f}" cy="{y:.1f}" r="4" fill="{svg.INK}"/>',
            svg.words(
                *_beside(a, max(b, at), y), f"{value:.1f} ± {u95:.1f} mm", anchor=_end(max(b, at))
            ),
        ]
    body.append(svg.line([(left, low + 4), (right, low + 4)]))
    for mm in range(int(reach) + 1):
        x = left + mm * scale
        body.append(svg.line([(x, low + 4), (x, low + 9)]))
        body.append(svg.words(x, low + 23, f"{mm}", anchor="middle"))
    body.append(svg.words(right, low + 40, "mm of copper seen", anchor="end"))
    return svg.page(body, low + 48, identity)
