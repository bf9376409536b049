"""The outputs of an audit: both files old, or both new, whenever a run is killed."""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Iterable, Iterator
from pathlib import Path

from filelock import FileLock, Timeout

from audit.batch.atomic import sync_folder
from audit.errors import ResourceError, Where

OUT = "out"
CHECKLIST_JSON = "checklist.json"
CHECKLIST_HTML = "checklist.html"
_STAGING = ".new"
_READY = ".ready"


@contextlib.contextmanager
def only_run(out: Path) -> Iterator[None]:
    """Keep a second run off the same job; the system frees the lock of a killed one.

    Raises
    ------
    ResourceError
        When another run is at work.
    """
    out.mkdir(parents=True, exist_ok=True)
    lock = FileLock(out / ".lock")
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise ResourceError(
            "another run is at work on this job", Where(out), "wait until it has ended"
        ) from None
    try:
        settle(out)
        yield
    finally:
        lock.release()


def settle(out: Path) -> None:
    """Finish a replacement that a kill cut short; call it before reading the outputs.

    Files in `.ready` are complete and on the disk: moving them on can be
    repeated until it is done. What is in `.new` was never complete.
    """
    ready = out / _READY
    if ready.is_dir():
        for path in sorted(ready.iterdir()):
            path.replace(out / path.name)
        sync_folder(out)
        ready.rmdir()


def replace_outputs(out: Path, files: Iterable[tuple[str, Iterable[str]]]) -> None:
    """Put several files in the place of older ones as one step.

    All are first written beside, in full, and pushed to the disk; renaming
    their folder to `.ready` is the step that decides. Killed before it, the
    old files stand; killed after it, `settle` moves on what is left to move.

    Parameters
    ----------
    out : pathlib.Path
        The folder of outputs.
    files : iterable of (str, iterable of str)
        Name and text, piece by piece; written as UTF-8.

    Raises
    ------
    OSError
        When the disk is full or the folder can't be written; the old files stand.
    """
    settle(out)
    staging = out / _STAGING
    shutil.rmtree(staging, ignore_errors=True)
    staging.mkdir(parents=True)
    for name, pieces in files:
        with (staging / name).open("w", encoding="utf-8", newline="\n") as handle:
            handle.writelines(pieces)
            handle.flush()
            os.fsync(handle.fileno())
    sync_folder(staging)
    staging.replace(out / _READY)
    sync_folder(out)
    settle(out)
