"""What was found, drawn on a photo: thin outlines beside the evidence, never over it."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from PIL import Image, ImageDraw

from audit.measure.contract import Box, FindingRecord, LookRecord

WORST_FIRST = ("flag", "unsure", "clear")
INK = {"flag": "#c2185b", "unsure": "#6a4fd0", "clear": "#14808a"}
"""Outline colours by state; the word and the kind of line tell it too."""
DASH = {"flag": (), "unsure": (9, 5), "clear": (2, 5)}
"""Kinds of line by state: drawn through, dashed, dotted; lengths in drawing px."""
_SAME_PLACE = 0.6


@dataclass(frozen=True)
class Place:
    """Findings that look at the same place of one photo.

    Parameters
    ----------
    number : int
        From 1, in the order worst first; it is written beside the outline and the crop.
    box : tuple of 4 float
        x0, y0, x1, y1 in px of the upright photo, within the picture.
    state : str
        The worst of its findings.
    findings : tuple of FindingRecord
    """

    number: int
    box: Box
    state: str
    findings: tuple[FindingRecord, ...]


def overlap(a: Box, b: Box) -> float:
    """Intersection over union of two boxes; 0 where either has no area."""
    width = min(a[2], b[2]) - max(a[0], b[0])
    height = min(a[3], b[3]) - max(a[1], b[1])
    if width <= 0 or height <= 0:
        return 0.0
    common = width * height
    return common / (_area(a) + _area(b) - common)


def _area(box: Box) -> float:
    return (box[2] - box[0]) * (box[3] - box[1])


def within(box: Box, size: tuple[int, int]) -> Box | None:
    """A box put in order and cut to the picture; None when nothing is left."""
    x0, x1 = sorted((box[0], box[2]))
    y0, y1 = sorted((box[1], box[3]))
    x0, y0 = max(0.0, x0), max(0.0, y0)
    x1, y1 = min(float(size[0]), x1), min(float(size[1]), y1)
    return (x0, y0, x1, y1) if x1 - x0 >= 1 and y1 - y0 >= 1 else None


def places(record: LookRecord) -> tuple[Place, ...]:
    """Group a photo's findings by place, worst first.

    Two findings of one state share a place when their boxes overlap by 0.6
    (intersection over union) or more.

    Parameters
    ----------
    record : LookRecord

    Returns
    -------
    tuple of Place
        Findings without a box have no place.
    """
    if record.size_px is None:
        return ()
    groups: list[tuple[Box, list[FindingRecord]]] = []
    for finding in sorted(record.findings, key=_badness):
        box = within(finding.box_px, record.size_px) if finding.box_px else None
        if box is None:
            continue
        for other, members in groups:
            if members[0].state == finding.state and overlap(other, box) >= _SAME_PLACE:
                members.append(finding)
                break
        else:
            groups.append((box, [finding]))
    return tuple(
        Place(number, box, members[0].state, tuple(members))
        for number, (box, members) in enumerate(groups, start=1)
    )


def _badness(finding: FindingRecord) -> tuple[int, float]:
    return (WORST_FIRST.index(finding.state), -(finding.value_mm or 0.0))


def padded(box: Box, by: float) -> Box:
    """A box grown by `by` px on every side, so that its line lies outside the evidence."""
    return (box[0] - by, box[1] - by, box[2] + by, box[3] + by)


def annotated(picture: Image.Image, record: LookRecord, line: int | None = None) -> Image.Image:
    """Draw places, grips, walls and sheath edges on a copy of a photo.

    Parameters
    ----------
    picture : PIL.Image.Image
        RGB, upright, of any size with the photo's proportions.
    record : LookRecord
    line : int, optional
        Width of the lines, px of `picture`; wider where it is to be printed small.

    Returns
    -------
    PIL.Image.Image
        RGB, same size.
    """
    out = picture.convert("RGB")
    if record.size_px is None:
        return out
    draw = ImageDraw.Draw(out)
    scale = out.width / record.size_px[0]
    line = line or max(1, round(out.width / 900))
    for shape in lines_of(record):
        points = [(x * scale, y * scale) for x, y in shape]
        stroke(draw, points, "#ffffff", line + 2, ())
        stroke(draw, points, "#102a43", line, ())
    # Worst last, so that its number lies on top.
    for place in reversed(places(record)):
        x0, y0, x1, y1 = padded(tuple(v * scale for v in place.box), 4 * line)  # type: ignore[arg-type]
        ring = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
        dash = tuple(d * line for d in DASH[place.state])
        stroke(draw, ring, "#ffffff", line + 2, dash)
        stroke(draw, ring, INK[place.state], line, dash)
        _tag(draw, str(place.number), (x0, y0), INK[place.state], 14 * line)
    return out


def lines_of(record: LookRecord) -> list[Sequence[tuple[float, float]]]:
    """Lines that were found or marked: walls, grips (closed), sheath edges; px of the photo."""
    shapes: list[Sequence[tuple[float, float]]] = []
    for cable in record.cables:
        if cable.entry.wall_px:
            shapes.append(cable.entry.wall_px)
        if cable.entry.grip_px:
            shapes.append((*cable.entry.grip_px, cable.entry.grip_px[0]))
        if cable.sheath_edge_px:
            shapes.append(cable.sheath_edge_px)
    return shapes


def stroke(
    draw: ImageDraw.ImageDraw,
    points: Iterable[tuple[float, float]],
    ink: str,
    width: int,
    dash: tuple[int, ...],
) -> None:
    """A polyline, drawn through or dashed (Pillow draws no dashes itself)."""
    points = list(points)
    if not dash:
        draw.line(points, fill=ink, width=width, joint="curve")
        return
    on, off = dash
    for (ax, ay), (bx, by) in itertools.pairwise(points):
        length = max(((bx - ax) ** 2 + (by - ay) ** 2) ** 0.5, 1e-6)
        at = 0.0
        while at < length:
            a, b = at / length, min(at + on, length) / length
            ends = [(ax + (bx - ax) * t, ay + (by - ay) * t) for t in (a, b)]
            draw.line(ends, fill=ink, width=width)
            at += on + off


def _tag(
    draw: ImageDraw.ImageDraw, text: str, corner: tuple[float, float], ink: str, size: int
) -> None:
    """The place's number, on a plate that stands outside the outline's corner."""
    width = size * (0.75 + 0.6 * len(text))
    x = max(0.0, corner[0])
    y = max(0.0, corner[1] - size * 1.3)
    draw.rectangle((x, y, x + width, y + size * 1.3), fill=ink)
    draw.text((x + width / 2, y + size * 0.65), text, fill="#ffffff", anchor="mm", font_size=size)
