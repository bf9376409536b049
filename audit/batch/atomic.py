"""Files that are either old or new, never half-written."""

from __future__ import annotations

import contextlib
import errno
import os
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO


def sync_folder(folder: Path) -> None:
    """Push a folder's entries to the disk, where the system can do that."""
    if os.name == "nt":  # a folder can't be opened there; the rename is journalled anyway
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


@contextlib.contextmanager
def writing(path: Path) -> Iterator[IO[bytes]]:
    """Open a file that takes the place of `path` only when the block ends well.

    The bytes go to a temporary file in the same folder, are pushed to the
    disk, and the file is renamed over `path` (atomic by POSIX rename(2)). An
    error in the block leaves `path` as it was.

    Raises
    ------
    OSError
        When the folder can't be written, the disk is full, or something that is no regular
        file (a device, a pipe, a folder) is in the place.
    """
    if path.exists() and not path.is_file():
        # A rename would put a file in the place of the device itself.
        raise OSError(errno.EINVAL, "it is no regular file", str(path))
    path.parent.mkdir(parents=True, exist_ok=True)
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", suffix=".part", dir=path.parent)
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as out:
            yield out
            out.flush()
            os.fsync(out.fileno())
        temporary.chmod(0o644 & ~_umask())
        temporary.replace(path)
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def write_bytes(path: Path, data: bytes) -> None:
    """Put `data` in the place of `path` in one step; see `writing`."""
    with writing(path) as out:
        out.write(data)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask
