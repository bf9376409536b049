"""A new job folder: a commented `job.toml`, an empty table of fittings, how to photograph."""

from __future__ import annotations

import json
from pathlib import Path

from audit.errors import JobError, UsageError, Where
from audit.job.explain import choose_from
from audit.job.files import PHOTOS
from audit.job.fitting_rows import FITTINGS_FILE
from audit.job.names import regions
from audit.job.sources import JOB_FILE
from audit.resources import model_path

README_FILE = "README.txt"

COLUMNS = (
    "label", "room", "circuit", "model", "x_m", "y_m", "height_m", "from_bath_m", "ip", "ip_side",
    "protection_class", "voltage_v", "supply", "lamp_w", "max_lamp_w", "fire_min", "hole_mm",
    "earth_terminal", "cpc_in_cable", "cables", "cable", "sheath", "factory_lead",
)  # fmt: skip
"""Columns of the empty table; any other field of a fitting may be added."""


def scaffold(folder: Path, region: str = "international") -> tuple[Path, ...]:
    """Write a new job folder.

    Parameters
    ----------
    folder : path
        Made if missing; photos that are there already stay.
    region : str
        One of `audit.job.names.regions()`.

    Returns
    -------
    tuple of path
        What was written.

    Raises
    ------
    UsageError
        One of the files is there already, or there is no such region; nothing is written.
    JobError
        The folder can't be written; what was begun is taken away again.
    """
    if region not in regions():
        raise UsageError(
            f"there is no region {region!r}", Where(None, None, "--region"),
            choose_from(region, regions()),
        )  # fmt: skip
    texts = _texts(folder, region)
    _refuse_overwriting(folder, tuple(texts))
    written: list[Path] = []
    made: list[Path] = []
    try:
        for new in (folder, folder / PHOTOS):
            if not new.is_dir():
                new.mkdir(parents=True)
                made.append(new)
        for name, text in texts.items():
            path = folder / name
            with path.open("x", encoding="utf-8", newline="\n") as handle:
                written.append(path)
                handle.write(text)
    except OSError as exc:
        for path in written:
            path.unlink(missing_ok=True)
        for path in reversed(made):
            path.rmdir()
        raise JobError(
            f"the folder can't be written ({exc.strerror})", Where(folder),
            "choose another place or give yourself the right to write there",
        ) from exc  # fmt: skip
    return tuple(written)


def _texts(folder: Path, region: str) -> dict[str, str]:
    name = folder.absolute().name
    if not name or not name.isprintable() or len(name) > 64:
        name = "New job"
    text = model_path("scaffold/job.toml").read_text(encoding="utf-8")
    for mark, value in (
        ("@NAME@", json.dumps(name, ensure_ascii=False)),  # such a text is one of TOML too
        ("@REGIONS@", ", ".join(regions())),
        ("@REGION@", region),
    ):
        text = text.replace(mark, value)
    return {
        JOB_FILE: text,
        # The mark lets spreadsheets see that it is UTF-8.
        FITTINGS_FILE: "\ufeff" + ",".join(COLUMNS) + "\n",
        README_FILE: model_path("scaffold/README.txt").read_text(encoding="utf-8"),
    }


def _refuse_overwriting(folder: Path, names: tuple[str, ...]) -> None:
    try:
        if folder.exists() and not folder.is_dir():
            raise UsageError("this is a file, not a folder", Where(folder), "choose another name")
        there = [n for n in names if (folder / n).exists() or (folder / n).is_symlink()]
        photos = folder / PHOTOS
        if photos.is_symlink() or (photos.exists() and not photos.is_dir()):
            there.append(PHOTOS)
    except (OSError, ValueError, RuntimeError) as exc:
        raise UsageError(
            f"no folder can be made of this name ({getattr(exc, 'strerror', None) or exc})",
            Where(folder), "choose another name",
        ) from exc  # fmt: skip
    if there:
        raise UsageError(
            f"{', '.join(there)} {'is' if len(there) == 1 else 'are'} there already;"
            " nothing was written",
            Where(folder), "choose another folder",
        )  # fmt: skip
