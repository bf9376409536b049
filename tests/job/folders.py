"""Job folders for tests, written from texts."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from audit.errors import JobProblems, LidoffError
from audit.job.read import load_job

JPEG_HEAD = b"\xff\xd8\xff\xe0\x00\x10JFIF\x00"

SMALL = """\
[job]
name = "Small"

[[room]]
name = "Bathroom"
kind = "bathroom"
size_m = [2.0, 3.0]

[[room]]
name = "Landing"

[[fitting]]
label = "F01"
room = "Bathroom"
ip = "IP65"

[[fitting]]
label = "F02"
room = "Landing"
"""


def write_job(
    folder: Path,
    toml: str | bytes = SMALL,
    csv: str | bytes | None = None,
    photos: Mapping[str, bytes] | tuple[str, ...] = (),
) -> Path:
    """Write a job folder; photos given as names get a JPEG's first bytes and their own name."""
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    put(folder / "job.toml", toml)
    if csv is not None:
        put(folder / "fittings.csv", csv)
    if not isinstance(photos, Mapping):
        photos = {name: JPEG_HEAD + name.encode() for name in photos}
    for name, content in photos.items():
        path = folder / "photos" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    return folder


def put(path: Path, content: str | bytes) -> None:
    path.write_bytes(content if isinstance(content, bytes) else content.encode("utf-8"))


def lines_of(folder: Path) -> list[str]:
    """What is wrong with a job, a line each; empty when nothing is."""
    try:
        load_job(folder)
    except JobProblems as several:
        return [p.one_line() for p in several.problems]
    except LidoffError as one:
        return [one.one_line()]
    return []
