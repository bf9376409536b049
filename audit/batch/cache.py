"""Finished photos of an audit, kept so that a killed run goes on where it stopped."""

from __future__ import annotations

import hashlib
import json
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from pydantic import ValidationError
from pydantic_core import to_jsonable_python

import audit
from audit.batch.atomic import write_bytes
from audit.measure.contract import LookRecord
from audit.resources import models_dir

if TYPE_CHECKING:
    from audit.batch.photos import LookTask

_SEEING = ("photo", "card", "sight", "measure")
"""The packages whose code decides what is read from a photo."""
_CHUNK = 1 << 20


def file_sha256(path: Path) -> str | None:
    """Hexadecimal SHA-256 of a regular file (FIPS 180-4), or None when it can't be read."""
    digest = hashlib.sha256()
    try:
        if not path.is_file():
            return None
        with path.open("rb") as source:
            while block := source.read(_CHUNK):
                digest.update(block)
    except OSError:
        return None
    return digest.hexdigest()


@cache
def tool_fingerprint() -> str:
    """Hash of everything shipped that decides what a photo says: version, code, data files."""
    digest = hashlib.sha256(audit.__version__.encode())
    package = Path(audit.__file__).parent
    files = [p for name in _SEEING for p in sorted((package / name).rglob("*.py"))]
    data = models_dir()
    apart = {"rules", "lessons"}
    files += [p for p in sorted(data.rglob("*")) if p.is_file() and not apart & set(p.parts)]
    for path in files:
        root = data if path.is_relative_to(data) else package
        digest.update(path.relative_to(root).as_posix().encode() + b"\0")
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _canonical(value: Any) -> bytes:
    plain = to_jsonable_python(value)
    return json.dumps(plain, sort_keys=True, separators=(",", ":")).encode()


class LookCache:
    """Records by what they were made from.

    The key covers the photo's bytes, the settings, the declared facts, the
    marks, and the tool itself; the photo's name is not part of it. A record
    that can't be read back counts as absent.

    Parameters
    ----------
    folder : pathlib.Path
        Made when first needed.
    fingerprint : str, optional
        Stands for the tool; by default `tool_fingerprint()`.
    """

    def __init__(self, folder: Path, fingerprint: str | None = None) -> None:
        self._folder = folder
        self._fingerprint = fingerprint if fingerprint is not None else tool_fingerprint()

    def _path(self, photo: str, task: LookTask) -> Path:
        parts = [photo, self._fingerprint, task.settings, task.marks, task.declared]
        return self._folder / f"{hashlib.sha256(_canonical(parts)).hexdigest()}.json"

    def get(self, task: LookTask) -> LookRecord | None:
        """Return the record of an earlier run under this task's name, or None."""
        photo = file_sha256(task.path)
        if photo is None:
            return None
        try:
            record = LookRecord.model_validate_json(self._path(photo, task).read_bytes())
        except (OSError, ValidationError, ValueError):
            return None
        return record.model_copy(update={"photo": task.name})

    def put(self, task: LookTask, record: LookRecord) -> None:
        """Keep a record; the file is whole or not there.

        The record's own hash is taken, which is that of the bytes that were
        read: the file may have been replaced since. Without one nothing is kept.
        """
        if record.sha256:
            write_bytes(self._path(record.sha256, task), record.to_json().encode())
