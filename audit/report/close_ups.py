"""Each flag close up: its place in the photo and in the stages before it, side by side."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from audit.measure.contract import LookRecord
from audit.report import stages
from audit.report.annotate import Place, places
from audit.report.frame import Frame
from audit.report.sheet import WORDS, Key, font_px, sheet
from audit.report.stage_pictures import (
    READING_KEYS,
    finding_words,
    material_keys,
    painted_materials,
    painted_readings,
    painted_strands,
)
from audit.sight.types import CableReading, MaterialMap, Strands

_PANEL, _GAP = 396, 5
_MOST = 6
"""Flags that are shown; a photo with more of them is misread as a whole."""
_ROUND = 2.0
"""Side of what is shown, in sides of the flag's box: what lies round it tells why."""
_HEADS = ("the photo", "2  materials", "3  strands", "4  readings")


def close_ups(
    calibrated: Image.Image,
    materials: MaterialMap,
    strands: Strands,
    cables: Sequence[CableReading],
    cores: Sequence[NDArray[np.float64]],
    record: LookRecord,
) -> Image.Image | None:
    """A row a flag: photo, materials, strands and readings of its place.

    Parameters
    ----------
    calibrated : PIL.Image.Image
        The analysis picture; all but the record is in its px.
    materials, strands, cables, cores
        What the stages gave.
    record : LookRecord

    Returns
    -------
    PIL.Image.Image or None
        None where nothing is flagged at a place.
    """
    flags = [p for p in places(record) if p.state == "flag"][:_MOST]
    if not flags or record.size_px is None:
        return None
    scale = record.size_px[0] / calibrated.width
    rows, keys = [], {}
    for place in flags:
        frame = _frame(place, scale, calibrated.size)
        painted, ids = painted_materials(materials, frame)
        keys.update({key.text: key for key in material_keys(ids)})
        rows.append(
            (
                frame.cut(calibrated),
                painted,
                painted_strands(calibrated, strands, frame),
                painted_readings(calibrated, cables, frame, cores),
            )
        )
    legend: list[Key] = [*keys.values(), *READING_KEYS]
    flagged = record.model_copy(update={"findings": tuple(f for p in flags for f in p.findings)})
    return sheet(_laid(rows, flags), stages.CLOSE_UPS.title, legend, finding_words(flagged))


def _frame(place: Place, scale: float, size: tuple[int, int]) -> Frame:
    """A square round the place, within the picture, that fills a panel."""
    x0, y0, x1, y1 = (v / scale for v in place.box)
    side = min(_ROUND * max(x1 - x0, y1 - y0), *size)
    left = min(max((x0 + x1 - side) / 2, 0.0), size[0] - side)
    top = min(max((y0 + y1 - side) / 2, 0.0), size[1] - side)
    return Frame((left, top, left + side, top + side), _PANEL / side)


def _laid(rows: Sequence[tuple[Image.Image, ...]], flags: Sequence[Place]) -> Image.Image:
    """Panels in rows, the stages' names over them, the flag's number in the first."""
    wide = len(_HEADS) * (_PANEL + _GAP) - _GAP
    px = font_px(wide)
    head = round(1.6 * px)
    out = Image.new("RGB", (wide, head + len(rows) * (_PANEL + _GAP) - _GAP), "#ffffff")
    draw = ImageDraw.Draw(out)
    for n, name in enumerate(_HEADS):
        draw.text((n * (_PANEL + _GAP) + 8, head / 2), name, fill=WORDS, anchor="lm", font_size=px)
    for n, (row, place) in enumerate(zip(rows, flags, strict=True)):
        y = head + n * (_PANEL + _GAP)
        for k, panel in enumerate(row):
            out.paste(panel, (k * (_PANEL + _GAP), y))
        plate = (0, y, round(px * (0.9 + 0.6 * len(str(place.number)))), y + round(1.4 * px))
        draw.rectangle(plate, fill="#ffffff", outline=WORDS)
        middle = ((plate[0] + plate[2]) / 2, (plate[1] + plate[3]) / 2)
        draw.text(middle, str(place.number), fill=WORDS, anchor="mm", font_size=px)
    return out
