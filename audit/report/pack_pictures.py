"""Annotated photos for the pack, and the smaller ones for its report."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field

from PIL import Image

from audit.checklist.models import PhotoEntry
from audit.errors import PhotoError
from audit.photo.decode import read_photo
from audit.record.evidence import JobEvidence, photo_path
from audit.report.annotate import annotated
from audit.report.pdf_data import PdfPicture
from audit.settings import Settings

_ANNOTATED = 2000
"""Longer side of an annotated photo, px."""
_IN_REPORT = ((40, 1000), (150, 760), (100_000, 480))
"""Up to so many photos: longer side of a picture in the report, px."""


@dataclass(frozen=True)
class Drawn:
    """One photo, annotated.

    Parameters
    ----------
    file : str
        As the checklist names it.
    jpeg : bytes
        Large, without metadata.
    small : PdfPicture
    """

    file: str
    jpeg: bytes = field(repr=False)
    small: PdfPicture = field(repr=False)


def draw_all(job: JobEvidence, settings: Settings) -> Iterator[Drawn]:
    """Annotate all photos that can be read, one after the other.

    Parameters
    ----------
    job : JobEvidence
    settings : Settings
    """
    width = next(w for most, w in _IN_REPORT if len(job.checklist.photos) <= most)
    for entry in sorted(job.checklist.photos, key=lambda p: p.file):
        found = _draw(job, entry, width, settings)
        if found is not None:
            yield found


def _draw(job: JobEvidence, entry: PhotoEntry, width: int, settings: Settings) -> Drawn | None:
    if entry.look.size_px is None:
        return None
    try:
        photo = read_photo(photo_path(job.root, entry.file), settings)
    except PhotoError:
        return None
    picture = Image.fromarray(photo.rgb)
    picture.thumbnail((_ANNOTATED, _ANNOTATED), Image.Resampling.LANCZOS, reducing_gap=2.0)
    large = annotated(picture, entry.look)
    small = large.copy()
    small.thumbnail((width, width), Image.Resampling.LANCZOS, reducing_gap=2.0)
    return Drawn(entry.file, _jpeg(large, 85), PdfPicture(_jpeg(small, 80), small.size))


def _jpeg(picture: Image.Image, quality: int) -> bytes:
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=quality)
    return out.getvalue()
