"""Photos for the screen: upright, without metadata, only those that the checklist names."""

from __future__ import annotations

import hashlib
import io
import threading
from collections import OrderedDict
from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from PIL import Image, ImageDraw

from audit.batch.atomic import write_bytes
from audit.checklist.models import PhotoEntry
from audit.errors import PhotoError, Where
from audit.photo.decode import read_photo
from audit.record.evidence import photo_path
from audit.settings import Settings

Size = Literal["small", "screen", "full"]
LONGER_SIDE = {"small": 240, "screen": 1600}
"""px of the longer side; `full` is every pixel of the photo."""
_KEPT = ("small", "screen")
_MEMORY = 96 * 1024 * 1024
"""Bytes of full-size pictures that are held, so that zooming is quick and memory stays flat."""
_QUALITY = {"small": 80, "screen": 88, "full": 95}
_AT_ONCE = 2
Cover = Sequence[tuple[float, float]]
_COVER = (128, 128, 128)


def photo_key(file: str) -> str:
    """Name of a photo in addresses: 16 hex digits from its name in the checklist."""
    return hashlib.sha256(file.encode("utf-8", "surrogatepass")).hexdigest()[:16]


class Pictures:
    """Makes and keeps pictures of photos: upright, nothing of a photo's metadata in them.

    Parameters
    ----------
    settings : Settings
        Bounds of what is decoded.
    folder : pathlib.Path or None
        Where the smaller pictures are kept; None keeps them in memory alone.
    """

    def __init__(self, settings: Settings, folder: Path | None = None) -> None:
        self._settings = settings
        self._folder = folder
        self._held: OrderedDict[tuple[str, str], bytes] = OrderedDict()
        self._lock = threading.Lock()
        self._decoding = threading.Semaphore(_AT_ONCE)

    def jpeg(
        self, path: Path, sha256: str, size: Size, changed: PhotoError, cover: Cover = ()
    ) -> bytes:
        """One photo as JPEG.

        Parameters
        ----------
        path : pathlib.Path
        sha256 : str
            Of the photo that is meant.
        size : {'small', 'screen', 'full'}
        changed : PhotoError
            Raised when the file holds another photo by now.
        cover : sequence of points
            Corners of a part that is painted over, px of the upright photo; empty for none.

        Raises
        ------
        PhotoError
            When it can't be read.
        """
        key = (sha256, size)
        with self._lock:
            if key in self._held:
                self._held.move_to_end(key)
                return self._held[key]
        kept = self._kept(sha256, size)
        if kept is not None:
            return kept
        with self._decoding:
            photo = read_photo(path, self._settings)
            if photo.sha256 != sha256:
                raise changed
            picture = Image.fromarray(photo.rgb)
            if cover:
                ImageDraw.Draw(picture).polygon([tuple(p) for p in cover], fill=_COVER)
            return self._make(picture, sha256, size)

    def _file(self, folder: Path, sha256: str, size: str) -> Path:
        return folder / f"{sha256[:32]}-{size}.jpg"

    def _kept(self, sha256: str, size: Size) -> bytes | None:
        if size not in _KEPT or self._folder is None:
            return None
        try:
            return self._file(self._folder, sha256, size).read_bytes()
        except OSError:
            return None

    def _make(self, picture: Image.Image, sha256: str, size: Size) -> bytes:
        sizes: tuple[Size, ...] = (size,) if size == "full" else ("screen", "small")
        made: dict[str, bytes] = {}
        for each in sizes:
            if each in LONGER_SIDE:
                side = LONGER_SIDE[each]
                picture.thumbnail((side, side), Image.Resampling.LANCZOS, reducing_gap=3.0)
            made[each] = _encoded(picture, each)
            self._keep(sha256, each, made[each])
        return made[size]

    def _keep(self, sha256: str, size: Size, data: bytes) -> None:
        if size in _KEPT and self._folder is not None:
            write_bytes(self._file(self._folder, sha256, size), data)
            return
        with self._lock:
            self._held[(sha256, size)] = data
            while sum(map(len, self._held.values())) > _MEMORY and len(self._held) > 1:
                self._held.popitem(last=False)


class PhotoDesk:
    """Pictures of one job's photos.

    Parameters
    ----------
    root : pathlib.Path
        The job folder.
    settings : Settings
        Bounds of what is decoded.
    """

    def __init__(self, root: Path, settings: Settings) -> None:
        self._root = root
        self.pictures = Pictures(settings, root / "out" / ".cache")

    def jpeg(self, entry: PhotoEntry, size: Size) -> bytes:
        """One photo as JPEG.

        Parameters
        ----------
        entry : PhotoEntry
        size : {'small', 'screen', 'full'}

        Raises
        ------
        PhotoError
            When it can't be read, or is no longer the photo that was judged.
        """
        if entry.sha256 is None:
            raise PhotoError("this photo could not be read", Where(entry.file))
        changed = PhotoError(
            "the photo is not the one that was read", Where(entry.file), "run lidoff audit again"
        )
        return self.pictures.jpeg(photo_path(self._root, entry.file), entry.sha256, size, changed)


def _encoded(picture: Image.Image, size: Size) -> bytes:
    out = io.BytesIO()
    # Full size is what a fault is judged on: colour at every pixel, little loss.
    sampling = 0 if size == "full" else 2
    picture.save(out, "JPEG", quality=_QUALITY[size], subsampling=sampling)
    return out.getvalue()
