"""The pictures of one photo that go into the report: the whole, and a crop of each place.

Made once, as small JPEG files without any metadata, and read back when the
page is written, so that memory does not grow with the number of photos.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
from dataclasses import asdict, dataclass
from pathlib import Path

from PIL import Image, ImageDraw

from audit.measure.contract import Box, LookRecord
from audit.photo.decode import read_photo
from audit.report.annotate import places
from audit.settings import Settings

_VERSION = 1
_CONTEXT = 0.45
"""Share of a place's longer side that is shown round it."""
_LEAST_MM = 9.0
_LEAST_PX = 120.0
_BAR_MM = (1, 2, 5, 10, 20, 50)


@dataclass(frozen=True)
class PictureTask:
    """Make the pictures of one photo.

    Parameters
    ----------
    path : pathlib.Path
        The photo.
    record : LookRecord
        What was read from it.
    folder : pathlib.Path
        Where the pictures go.
    width : int
        Longer side of the whole picture, px.
    crop_width : int
        Width of a crop, px.
    settings : Settings
    """

    path: Path
    record: LookRecord
    folder: Path
    width: int
    crop_width: int
    settings: Settings

    @property
    def key(self) -> str:
        """Name of this task's files: what they are made from."""
        parts = [
            self.record.sha256,
            [p.box for p in places(self.record)],
            self.record.scale.px_per_mm if self.record.scale else None,
            self.width,
            self.crop_width,
            _VERSION,
        ]
        return hashlib.sha256(json.dumps(parts).encode()).hexdigest()[:32]


@dataclass(frozen=True)
class Crop:
    """One enlarged place: its number, its file, its size in px, and what the bar is, if any."""

    number: int
    file: str
    size: tuple[int, int]
    bar_mm: int | None


@dataclass(frozen=True)
class Pictures:
    """Files of one photo, in the task's folder.

    Parameters
    ----------
    whole : str
    size : tuple of int
        Of the whole picture, px.
    crops : tuple of Crop
    """

    whole: str
    size: tuple[int, int]
    crops: tuple[Crop, ...]


def make_pictures(task: PictureTask) -> Pictures | None:
    """Write one photo's pictures, or find them there from an earlier run.

    Parameters
    ----------
    task : PictureTask

    Returns
    -------
    Pictures or None
        None when the photo can't be read (any more).
    """
    kept = kept_pictures(task)
    if kept is not None:
        return kept
    try:
        photo = read_photo(task.path, task.settings)
    except Exception:  # the look says why; a picture less must not end the report
        return None
    picture = Image.fromarray(photo.rgb)
    task.folder.mkdir(parents=True, exist_ok=True)
    made = Pictures(
        *_save_whole(picture, task),
        crops=tuple(
            _save_crop(picture, place.number, place.box, task) for place in places(task.record)
        ),
    )
    _save(task.folder / f"{task.key}.json", json.dumps(asdict(made)).encode())
    return made


def kept_pictures(task: PictureTask) -> Pictures | None:
    """One photo's pictures from an earlier run, if all of them are there."""
    path = task.folder / f"{task.key}.json"
    try:
        data = json.loads(path.read_bytes())
        made = Pictures(
            data["whole"],
            tuple(data["size"]),
            tuple(
                Crop(c["number"], c["file"], tuple(c["size"]), c["bar_mm"]) for c in data["crops"]
            ),
        )
    except (OSError, ValueError, KeyError, TypeError):
        return None
    files = [made.whole, *(c.file for c in made.crops)]
    return made if all((path.parent / f).is_file() for f in files) else None


def _save(path: Path, data: bytes) -> None:
    """Whole or not there; a copy lost in a power cut is made again."""
    # Two copies of one photo may be drawn at once: each under a name of its own until it is whole.
    part = path.with_name(f".{path.name}.{os.getpid()}.part")
    part.write_bytes(data)
    part.replace(path)


def _save_jpeg(picture: Image.Image, path: Path) -> None:
    data = io.BytesIO()
    picture.save(data, "JPEG", quality=82, optimize=True)
    _save(path, data.getvalue())


def _save_whole(picture: Image.Image, task: PictureTask) -> tuple[str, tuple[int, int]]:
    small = picture.copy()
    small.thumbnail((task.width, task.width), Image.Resampling.LANCZOS, reducing_gap=2.0)
    name = f"{task.key}.jpg"
    _save_jpeg(small, task.folder / name)
    return name, small.size


def crop_box(box: Box, size: tuple[int, int], px_per_mm: float | None) -> tuple[int, int, int, int]:
    """The part of the photo that a crop shows: the place with some of what is round it.

    Parameters
    ----------
    box : tuple of 4 float
        The place, px.
    size : tuple of int
        Width and height of the photo, px.
    px_per_mm : float or None

    Returns
    -------
    tuple of int
        x0, y0, x1, y1 within the photo; 4:3 where the photo allows it.
    """
    width, height = box[2] - box[0], box[3] - box[1]
    least = _LEAST_MM * px_per_mm if px_per_mm else _LEAST_PX
    grow = 1 + 2 * _CONTEXT
    tall = max(height * grow, width * grow * 0.75, least * 0.75)
    tall = min(tall, size[1], size[0] * 0.75)
    wide = tall / 0.75
    x = min(max((box[0] + box[2] - wide) / 2, 0), size[0] - wide)
    y = min(max((box[1] + box[3] - tall) / 2, 0), size[1] - tall)
    return (round(x), round(y), round(x + wide), round(y + tall))


def _save_crop(picture: Image.Image, number: int, box: Box, task: PictureTask) -> Crop:
    px_per_mm = task.record.scale.px_per_mm if task.record.scale else None
    region = crop_box(box, picture.size, px_per_mm)
    wide, tall = region[2] - region[0], region[3] - region[1]
    factor = task.crop_width / wide
    size = (task.crop_width, max(1, round(tall * factor)))
    way = Image.Resampling.LANCZOS if factor < 1 else Image.Resampling.BICUBIC
    cut = picture.crop(region).resize(size, way)
    bar = None
    if px_per_mm:
        cut, bar = _with_bar(cut, px_per_mm * factor)
    name = f"{task.key}-{number}.jpg"
    _save_jpeg(cut, task.folder / name)
    return Crop(number, name, cut.size, bar)


def _with_bar(cut: Image.Image, px_per_mm: float) -> tuple[Image.Image, int]:
    """Put a scale bar under a crop: below it, so that nothing is covered."""
    fits = [mm for mm in _BAR_MM if mm * px_per_mm <= cut.width * 0.5]
    bar = fits[-1] if fits else _BAR_MM[0]
    strip = 32
    out = Image.new("RGB", (cut.width, cut.height + strip), "#ffffff")
    out.paste(cut, (0, 0))
    draw = ImageDraw.Draw(out)
    y, x0, x1 = cut.height + strip // 2, 8, 8 + round(bar * px_per_mm)
    draw.line((x0, y, x1, y), fill="#111111", width=2)
    for x in (x0, x1):
        draw.line((x, y - 5, x, y + 5), fill="#111111", width=2)
    draw.text((x1 + 8, y), f"{bar} mm", fill="#111111", anchor="lm", font_size=20)
    return out, bar
