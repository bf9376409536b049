"""What helps to link a photo: its time, and the label on the site card in it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from audit.job.label import PhotoTag
from audit.measure.contract import LookRecord
from audit.settings import Settings


@dataclass(frozen=True)
class TagTask:
    """One photo to look for a label in.

    Parameters
    ----------
    path : pathlib.Path
    settings : Settings
    card : bool
        Whether to look for the site card; else only the time is read.
    """

    path: Path
    settings: Settings
    card: bool


def tag_task(task: TagTask) -> PhotoTag:
    """Read time and label of one photo inside a worker; what can't be read is None."""
    from PIL import Image

    from audit.photo.exif import read_exif

    try:
        with Image.open(task.path) as image:
            taken = read_exif(image).taken
    except Exception:  # the look says what is wrong with the file
        return PhotoTag()
    return PhotoTag(taken=taken, card_label=_card_label(task) if task.card else None)


def _card_label(task: TagTask) -> str | None:
    from audit.card.find import find_card
    from audit.photo.decode import read_photo

    try:
        return find_card(read_photo(task.path, task.settings)).label
    except Exception:
        return None


def tag_of(record: LookRecord, before: PhotoTag | None) -> PhotoTag:
    """What the whole reading says, where it says it, else what was read before."""
    extra: dict[str, Any] = record.model_extra or {}
    before = before or PhotoTag()
    return PhotoTag(
        taken=_time(extra.get("taken")) or before.taken,
        card_label=extra.get("label") or before.card_label,
        sha256=record.sha256,
        camera=before.camera,
    )


def _time(text: Any) -> datetime | None:
    try:
        return datetime.fromisoformat(text)
    except (TypeError, ValueError):
        return None
