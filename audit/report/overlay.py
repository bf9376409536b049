"""What was found, as an SVG layer over a photo in the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from audit.measure.contract import Box, LookRecord
from audit.report.annotate import DASH, Place, lines_of, padded

_GROW = 0.006
"""Outlines stand off the evidence by this share of the photo's width."""
_APART = 8.5
"""Numbers in the margins stand so far apart, per cent of the width: as wide as they are on a narrow phone."""
_ROOM = int(100 / _APART)
"""So many of them have room in one margin."""
_HIGH = 0.028
"""Height of a number within the photo, of the photo's width."""


@dataclass(frozen=True)
class Tag:
    """A place's number in the margin above or below the photo.

    Parameters
    ----------
    place : Place
    above : bool
    x : float
        Its middle, per cent of the photo's width.
    """

    place: Place
    above: bool
    x: float


def margin_tags(found: Sequence[Place], size: tuple[int, int]) -> tuple[Tag, ...]:
    """Put the numbers into the margins, so that none of them covers anything.

    A number that has no room in the margin nearer to it goes into the other; those
    after both are full have no tag.

    Parameters
    ----------
    found : sequence of Place
    size : tuple of int
        Width and height of the photo, px.

    Returns
    -------
    tuple of Tag
        One for each place while there is room, the worst first; within a margin
        none overlaps another, and they stand in the order of the places from left to right.
    """
    margins: dict[bool, list[Place]] = {True: [], False: []}
    for place in found[: 2 * _ROOM]:
        above = place.box[1] + place.box[3] < size[1]
        margins[above if len(margins[above]) < _ROOM else not above].append(place)
    tags: list[Tag] = []
    for is_above, places in margins.items():
        ordered = sorted(places, key=_middle)
        at = _spread([_middle(p) / size[0] * 100 for p in ordered])
        tags += [Tag(p, is_above, x) for p, x in zip(ordered, at, strict=True)]
    return tuple(sorted(tags, key=lambda t: t.place.number))


def _middle(place: Place) -> float:
    return (place.box[0] + place.box[2]) / 2


def _spread(wanted: Sequence[float]) -> list[float]:
    """Places near those wanted (rising), far enough apart and within 0 to 100."""
    if not wanted:
        return []
    gap = _APART
    placed: list[float] = []
    for x in wanted:
        placed.append(max(x, placed[-1] + gap) if placed else max(x, gap / 2))
    limit = 100 - gap / 2
    for n in range(len(placed) - 1, -1, -1):
        placed[n] = min(placed[n], limit)
        limit = placed[n] - gap
    return placed


def overlay_svg(record: LookRecord, tags: Sequence[Tag], rest: Sequence[Place] = ()) -> str:
    """Outlines of the places, leaders to their numbers, lines and paths that were found.

    The numbers of tags are not in it: the page puts them into the margins as links
    of constant size.

    Parameters
    ----------
    record : LookRecord
    tags : sequence of Tag
    rest : sequence of Place
        Places without a tag: their numbers are written beside their outlines, since they are
        shown on request alone.

    Returns
    -------
    str
        An `<svg>` element with classes `lines`, `paths`, `rest` and `place flag|unsure|clear`;
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
    untagged = "".join(
        _box(place, record.size_px) + _number(place, record.size_px) for place in rest
    )
    boxes = "".join(_box(tag.place, record.size_px, _leader(tag, record.size_px)) for tag in tags)
    return (
        f'<svg class="over" viewBox="0 0 {width} {height}" preserveAspectRatio="none" '
        f'aria-hidden="true"><g class="lines">{lines}</g><g class="paths">{paths}</g>'
        f'<g class="rest">{untagged}</g>{boxes}</svg>'
    )


def _path(points: Sequence[tuple[float, float]]) -> str:
    steps = "L".join(f"{x:.0f} {y:.0f}" for x, y in points)
    return f'<path class="under" d="M{steps}"/><path d="M{steps}"/>'


def _outline(place: Place, size: tuple[int, int]) -> Box:
    return padded(place.box, size[0] * _GROW)


def _leader(tag: Tag, size: tuple[int, int]) -> str:
    x0, y0, x1, y1 = _outline(tag.place, size)
    start, stop = (0, y0) if tag.above else (size[1], y1)
    d = f'd="M{tag.x * size[0] / 100:.0f} {start:.0f}L{(x0 + x1) / 2:.0f} {stop:.0f}"'
    return f'<path class="leader under" {d}/><path class="leader" {d}/>'


def _number(place: Place, size: tuple[int, int]) -> str:
    x0, y0, _, _ = _outline(place, size)
    high = size[0] * _HIGH
    return (
        f'<text x="{x0:.0f}" y="{max(y0, high):.0f}" font-size="{high:.0f}">{place.number}</text>'
    )


def _box(place: Place, size: tuple[int, int], leader: str = "") -> str:
    x0, y0, x1, y1 = _outline(place, size)
    dash = " ".join(str(d) for d in DASH[place.state])
    style = f' stroke-dasharray="{dash}"' if dash else ""
    rect = f'x="{x0:.0f}" y="{y0:.0f}" width="{x1 - x0:.0f}" height="{y1 - y0:.0f}"'
    return f'<g class="place {place.state}">{leader}<rect class="under" {rect}/><rect {rect}{style}/></g>'
