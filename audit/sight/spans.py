"""The runs met along a cable, from the lines that cross it."""

from __future__ import annotations

import itertools

from audit.sight.types import Line

Span = tuple[str, float, float]


def spans_of(
    end: float,
    edge: Line | None,
    wall: Line | None,
    grip: tuple[Line, Line] | None,
    wall_px: float,
) -> tuple[Span, ...]:
    """Runs along the axis from the found or marked lines, so that reading and lengths agree.

    Parameters
    ----------
    end : float
        Length of the axis, px.
    edge, wall : Line or None
    grip : (Line, Line) or None
        Outer and inner edge.
    wall_px : float
        Thickness the wall is drawn with, px.

    Returns
    -------
    tuple of (what, from, to)
        `sheath`, `wall`, `grip` or `core`, px along the axis, without gaps.
    """
    blocks: list[Span] = []
    if wall is not None:
        blocks.append(("wall", wall.at, min(wall.at + wall_px, end)))
    if grip is not None:
        blocks.append(("grip", grip[0].at, grip[1].at))
    cuts = {0.0, end} | {v for _, a, b in blocks for v in (a, b)}
    if edge is not None:
        cuts.add(edge.at)
    out: list[Span] = []
    for a, b in itertools.pairwise(sorted(c for c in cuts if 0 <= c <= end)):
        mid = (a + b) / 2
        what = "sheath" if edge is not None and mid < edge.at else "core"
        # The grip is the last block and beats the wall where both lie.
        what = next((name for name, lo, hi in blocks[::-1] if lo <= mid < hi), what)
        if out and out[-1][0] == what:
            out[-1] = (what, out[-1][1], b)
        elif b - a > 1e-6:
            out.append((what, a, b))
    return tuple(out)
