"""The files of a job folder: what lies in `photos/`, and names that must not leave the folder.

Names are kept as they are on disk. What would harm on another machine (a name
Windows can't store, two names that differ in case only) is told, not refused.
"""

from __future__ import annotations

import os
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PurePosixPath, PureWindowsPath

from pathvalidate import ValidationError as NameRefused
from pathvalidate import validate_filename

from audit.errors import JobError, LidoffError, Where
from audit.job.text import odd_character, open_refused, same_key

PHOTOS = "photos"
PHOTO_SUFFIXES = frozenset(
    {".jpg", ".jpeg", ".jpe", ".png", ".tif", ".tiff", ".webp", ".heic", ".heif"}
)
_LITTER = frozenset({"thumbs.db", "desktop.ini", ".ds_store", ".gitkeep", ".nomedia"})
MAX_PHOTOS = 20_000


@dataclass(frozen=True)
class PhotoFile:
    """One photo found on disk.

    Parameters
    ----------
    path : str
        Relative to the job folder, with `/`, as it is on disk.
    size : int
        Bytes.
    mtime_ns : int
        Last change, ns since 1970 UTC.
    """

    path: str
    size: int
    mtime_ns: int

    @property
    def name(self) -> str:
        """File name without folders."""
        return PurePosixPath(self.path).name


@dataclass
class Found:
    """What a look into `photos/` gave: photos, problems that block, and remarks that don't."""

    photos: list[PhotoFile] = field(default_factory=list)
    problems: list[LidoffError] = field(default_factory=list)
    remarks: list[LidoffError] = field(default_factory=list)


def find_photos(root: Path) -> Found:
    """List `photos/` with its sub-folders, in the order of names.

    Parameters
    ----------
    root : path
        The job folder.
    """
    found = Found()
    top = root / PHOTOS
    try:
        if not top.exists():
            raise JobError(
                "the folder photos is missing", Where(f"{PHOTOS}/"), "make it and put the photos in"
            )
        if not top.is_dir():
            raise JobError(
                "photos is a file, not a folder",
                Where(PHOTOS),
                "rename it, make a folder of that name and put the photos in",
            )
        if _outside(root, top):
            raise JobError(
                "this link leads out of the job folder", Where(PHOTOS), "copy the photos in"
            )
    except JobError as problem:
        found.problems.append(problem)
        return found
    except OSError as exc:
        found.problems.append(open_refused(top, PHOTOS, exc))
        return found
    _scan(root, found)
    found.remarks += _beside(root)
    found.remarks += _clashes(found.photos)
    return found


def _scan(root: Path, found: Found) -> None:
    pending = [root / PHOTOS]
    while pending:
        folder = pending.pop()
        shown = _shown(root, folder)
        try:
            with os.scandir(folder) as listing:
                entries = sorted(listing, key=lambda e: e.name)
        except OSError as exc:
            found.problems.append(open_refused(folder, f"{shown}/", exc))
            continue
        for entry in entries:
            if entry.name.casefold() in _LITTER or entry.name.startswith("._"):
                continue
            if entry.is_dir(follow_symlinks=False):
                pending.append(Path(entry.path))
            else:
                _take(root, Path(entry.path), found)
        if len(found.photos) > MAX_PHOTOS:
            found.problems.append(
                JobError(f"more than {MAX_PHOTOS} files", Where(f"{PHOTOS}/"), "split the job")
            )
            return
    found.photos.sort(key=lambda p: p.path)


def _take(root: Path, path: Path, found: Found) -> None:
    shown = _shown(root, path)
    where = Where(shown)
    odd = odd_character(path.name)
    if odd:
        found.problems.append(JobError(f"the file name holds {odd}", where, "rename the file"))
        return
    try:
        if path.is_symlink() and path.exists() and _outside(root, path):
            raise JobError("this link leads out of the job folder", where, "copy the photo in")
        if path.is_symlink() and path.is_dir():
            raise JobError("a link to a folder is not followed", where, "copy the photos in")
        info = path.stat()
        if not path.is_file():
            raise JobError("this is not a regular file", where, "move it out of photos")
    except JobError as problem:
        found.problems.append(problem)
        return
    except (OSError, RuntimeError):  # a link to nothing, or in a circle
        found.problems.append(JobError("this link leads to nothing", where, "delete the link"))
        return
    if path.suffix.lower() not in PHOTO_SUFFIXES:
        found.remarks.append(
            JobError(
                "the name does not end as a photo's does",
                where,
                "rename it if it is a photo, else move it out of photos",
            )
        )
    found.remarks += _portable(shown)
    found.photos.append(PhotoFile(shown, info.st_size, info.st_mtime_ns))


def _portable(shown: str) -> list[LidoffError]:
    for part in PurePosixPath(shown).parts:
        try:
            validate_filename(part, platform="windows", max_len=200)
        except NameRefused:
            return [
                JobError(
                    "another computer may not be able to store a file of this name",
                    Where(shown),
                    "rename it with letters, digits, - and _",
                )
            ]
    return []


def _beside(root: Path) -> list[LidoffError]:
    try:
        names = sorted(p.name for p in root.iterdir() if p.suffix.lower() in PHOTO_SUFFIXES)
    except OSError:  # a folder that may be entered but not listed
        return []
    return [
        JobError("this photo lies beside job.toml and is not read", Where(n), "move it into photos")
        for n in names
    ]


def _clashes(photos: Sequence[PhotoFile]) -> list[LidoffError]:
    first: dict[str, str] = {}
    remarks: list[LidoffError] = []
    for photo in photos:
        other = first.setdefault(same_key(photo.path), photo.path)
        if other != photo.path:
            remarks.append(
                JobError(
                    f"this name and {other!r} are one and the same on many computers",
                    Where(photo.path),
                    "rename one of them",
                )
            )
    return remarks


def _shown(root: Path, path: Path) -> str:
    text = path.relative_to(root).as_posix()
    # Bytes that are no text in the file system's encoding can't be printed or stored as JSON.
    return text.encode("utf-8", "surrogateescape").decode("utf-8", "replace")


def _outside(root: Path, path: Path) -> bool:
    return not path.resolve().is_relative_to(root.resolve())


def there(root: Path, name: str) -> Path | None:
    """The path of a file of the job, or None where there is none.

    Raises
    ------
    JobError
        When it is a link that leads out of the folder, to nothing, or in a circle.
    """
    path = root / name
    if not path.is_symlink():
        return path if path.exists() else None
    try:
        outside = _outside(root, path)
    except (OSError, RuntimeError):
        outside = False
    if outside:
        raise JobError("this link leads out of the job folder", Where(name), "copy the file in")
    if not path.exists():
        raise JobError("this link leads to nothing", Where(name), "delete the link")
    return path


def inside(name: str) -> PurePosixPath | None:
    """A name from a job file as a relative path, or None where it would leave the folder.

    Parameters
    ----------
    name : str
        With `/` or `\\`, as its writer's computer has it.
    """
    windows = PureWindowsPath(name)
    path = PurePosixPath(*windows.parts)
    if windows.anchor or name.startswith("~") or ".." in path.parts or not path.parts:
        return None
    return path


def photo_index(photos: Iterable[PhotoFile]) -> Mapping[str, list[str]]:
    """Photos by every name a person may give them: with and without folders, any case."""
    index: dict[str, list[str]] = {}
    for photo in photos:
        parts = PurePosixPath(photo.path).parts
        for start in range(len(parts)):
            key = same_key(unicodedata.normalize("NFC", "/".join(parts[start:])))
            index.setdefault(key, []).append(photo.path)
    return index
