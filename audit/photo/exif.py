"""The few Exif facts that are used: when, which way up, which lens."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from PIL import ExifTags, Image

_OFFSET = re.compile(r"[+-](0\d|1[0-4]):[0-5]\d")
_TIMES = (
    (ExifTags.Base.DateTimeOriginal, ExifTags.Base.OffsetTimeOriginal),
    (ExifTags.Base.DateTimeDigitized, ExifTags.Base.OffsetTimeDigitized),
    (ExifTags.Base.DateTime, ExifTags.Base.OffsetTime),
)


@dataclass(frozen=True)
class ExifFacts:
    """What Exif (JEITA CP-3451 / CIPA DC-008) says of a photo; None where it is silent or odd."""

    taken: datetime | None = None
    utc_offset: str | None = None
    orientation: int = 1
    focal_35mm: float | None = None


def read_exif(image: Image.Image) -> ExifFacts:
    """Read the facts; damaged Exif counts as none, since it never makes a photo unreadable.

    Parameters
    ----------
    image : PIL.Image.Image
        Opened, not necessarily loaded; read before the picture is turned upright.
    """
    try:
        exif = image.getexif()
        tags: dict[int, Any] = {**dict(exif), **dict(exif.get_ifd(ExifTags.IFD.Exif))}
    except Exception:  # Pillow raises a dozen kinds on damaged Exif, and none matters
        return ExifFacts()
    # pillow-heif turns the picture itself and leaves the number under another name.
    turned = image.info.get("original_orientation") or tags.get(ExifTags.Base.Orientation)
    taken, offset = _taken(tags)
    return ExifFacts(
        taken=taken,
        utc_offset=offset,
        orientation=turned if isinstance(turned, int) and 1 <= turned <= 8 else 1,
        focal_35mm=_focal(tags.get(ExifTags.Base.FocalLengthIn35mmFilm)),
    )


def _taken(tags: dict[int, Any]) -> tuple[datetime | None, str | None]:
    for time_tag, offset_tag in _TIMES:
        text = tags.get(time_tag)
        if not isinstance(text, str):
            continue
        try:
            taken = datetime.strptime(text.strip("\0 ")[:19], "%Y:%m:%d %H:%M:%S")
        except ValueError:
            continue
        offset = str(tags.get(offset_tag, "")).strip("\0 ")
        return taken, offset if _OFFSET.fullmatch(offset) else None
    return None, None


def _focal(value: Any) -> float | None:
    try:
        focal = float(value)
    except (TypeError, ValueError, ZeroDivisionError):
        return None
    # 0 means unknown in the standard; beyond these no phone or camera lens is meant.
    return focal if math.isfinite(focal) and 5.0 <= focal <= 2000.0 else None
