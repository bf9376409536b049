"""What was found, as an SVG layer over a photo in the page."""

from __future__ import annotations

from collections.abc import Sequence

from audit.measure.contract import LookRecord
from audit.report.annotate import DASH, Place, lines_of, padded

_GROW = 0.006
"""Outlines stand off the evidence by this share of the photo's width."""


def overlay_svg(record: LookRecord, found: Sequence[Place]) -> str:
    """Outlines of the places, lines that were found, and the paths that were followed.

    Numbers are not in it: the page puts them beside the outlines as links of
    constant size.

    Parameters
    ----------
    record : LookRecord
    found : sequence of Place

    Returns
    -------
    str
        An `<svg>` element with classes `lines`, `paths` and `place flag|unsure|clear`;
        empty when the photo's size is unknown.
    """
    if record.size_px is None:
        return ""
    width, height = record.size_px
    lines = "".join(_path(shape) for shape in lines_of(record))
    paths = "".join(
        _path(segment.path_px)
        for cable in record.cables
        for segment in cable.reading
        if len(segment.path_px) > 1
    )
    boxes = "".join(_box(place, width * _GROW) for place in found)
    return (
        f'<svg class="over" viewBox="0 0 {width} {height}" preserveAspectRatio="none" '
        f'aria-hidden="true"><g class="lines">{lines}</g><g class="paths">{paths}</g>{boxes}</svg>'
    )


def _path(points: Sequence[tuple[float, float]]) -> str:
    steps = "L".join(f"{x:.0f} {y:.0f}" for x, y in points)
    return f'<path class="under" d="M{steps}"/><path d="M{steps}"/>'


def _box(place: Place, by: float) -> str:
    x0, y0, x1, y1 = padded(place.box, by)
    dash = " ".join(str(d) for d in DASH[place.state])
    style = f' stroke-dasharray="{dash}"' if dash else ""
    rect = f'x="{x0:.0f}" y="{y0:.0f}" width="{x1 - x0:.0f}" height="{y1 - y0:.0f}"'
    return f'<g class="place {place.state}"><rect class="under" {rect}/><rect {rect}{style}/></g>'
