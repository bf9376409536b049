"""Small jobs with drawn photos for the tests of whole runs."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

JOB = """schema = "lidoff.job/1"
[job]
name = "{name}"
[[room]]
name = "Hall"
kind = "hall"
ceiling_m = 2.4
"""
FITTING = """[[fitting]]
label = "{label}"
room = "Hall"
cables = 1
"""


def write_job(
    folder: Path, name: str = "one", fittings: int = 2, photos: tuple[str, ...] = ()
) -> Path:
    """A job of `fittings` fittings F01, F02, …, with drawn photos of the names given."""
    (folder / "photos").mkdir(parents=True, exist_ok=True)
    text = JOB.format(name=name)
    text += "".join(FITTING.format(label=f"F{n + 1:02d}") for n in range(fittings))
    (folder / "job.toml").write_text(text, encoding="utf-8")
    for number, photo in enumerate(photos):
        Image.new("RGB", (320, 240), (90, 60 + number, 40)).save(folder / "photos" / photo)
    return folder
