"""What was found, drawn over a photo on screen, each piece linked with list and ribbon."""

from __future__ import annotations

from collections.abc import Sequence

from audit.measure.contract import CableRecord, LookRecord
from audit.report.annotate import DASH, Place, lines_of, padded

_GROW = 0.006
"""Outlines stand off the evidence by this share of the photo's width."""


def overlay_svg(record: LookRecord, found: Sequence[Place]) -> str:
    """Outlines, lines and paths as an SVG element of the photo's size.

    Parameters
    ----------
    record : LookRecord
    found : sequence of Place

    Returns
    -------
    str
        `<g class="place" data-place>` for each place, `<path data-cable data-seg>`
        for each segment of a reading; empty when the photo's size is unknown.
    """
    if record.size_px is None:
        return ""
    width, height = record.size_px
    lines = "".join(_stroke(shape) for shape in lines_of(record))
    paths = "".join(_segments(n, cable) for n, cable in enumerate(record.cables))
    boxes = "".join(_box(place, width * _GROW) for place in found)
    return (
        f'<svg class="over" viewBox="0 0 {width} {height}" preserveAspectRatio="none" '
        f'aria-hidden="true" focusable="false"><g class="lines">{lines}</g>'
        f'<g class="paths">{paths}</g><g class="places">{boxes}</g></svg>'
    )


def _steps(points: Sequence[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)


def _stroke(points: Sequence[tuple[float, float]]) -> str:
    return f'<path class="under" d="{_steps(points)}"/><path d="{_steps(points)}"/>'


def _segments(number: int, cable: CableRecord) -> str:
    return "".join(
        f'<g class="seg" data-cable="{number}" data-seg="{n}">'
        f'<path class="reach" d="{_steps(s.path_px)}"/>{_stroke(s.path_px)}</g>'
        for n, s in enumerate(cable.reading)
        if len(s.path_px) > 1
    )


def _box(place: Place, by: float) -> str:
    x0, y0, x1, y1 = padded(place.box, by)
    dash = " ".join(str(d) for d in DASH[place.state])
    style = f' stroke-dasharray="{dash}"' if dash else ""
    rect = f'x="{x0:.1f}" y="{y0:.1f}" width="{x1 - x0:.1f}" height="{y1 - y0:.1f}"'
    return (
        f'<g class="place {place.state}" data-place="{place.number}">'
        f'<rect class="under" {rect}/><rect {rect}{style}/></g>'
    )
