"""Read the photos of a benchmark folder, timing each, or take ready-made records."""

from __future__ import annotations

import time
import traceback
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from audit.bench.materials import confusion
from audit.bench.truth import Case, load_truth
from audit.errors import JobError, Where
from audit.measure.contract import LookRecord
from audit.settings import Settings

_warm: set[str] = set()


@dataclass(frozen=True)
class CaseTask:
    """One photo to read and compare: small and picklable."""

    case: Case
    settings: Settings
    masks_dir: Path | None
    declared: bool = True


@dataclass(frozen=True, eq=False)
class Reading:
    """What came of one photo.

    `photo_s` and `look_s` are processor seconds for the Photo stage alone and
    for all of look: what else the machine does leaves them alone. `pixels`
    counts pixels by true and found material, shape (15, 15).
    """

    case: Case
    look: LookRecord | None
    photo_s: float | None = None
    look_s: float | None = None
    pixels: NDArray[np.int64] | None = field(default=None, repr=False)
    fault: str | None = None
    """What broke in the tool itself, where it did."""


def read_case(task: CaseTask) -> Reading:
    """Read one photo inside a worker and time it; never raises for a fault of the seeing.

    The Photo stage (decode, orient, profile) is timed in the same run, just
    before; what is imported and loaded at first use is paid for by a photo
    read beforehand and left out.
    """
    try:
        return _read(task)
    except Exception as exc:  # a fault of ours must not cost the other photos
        last = traceback.extract_tb(exc.__traceback__)[-1]
        place = f"{Path(last.filename).name}:{last.lineno}"
        return Reading(task.case, None, fault=f"{type(exc).__name__}: {exc} ({place})")


def _read(task: CaseTask) -> Reading:
    from audit.measure.look import look_photo
    from audit.photo.decode import read_photo

    case, settings = task.case, task.settings
    declared = load_truth(case.truth_file).declared if task.declared else None
    if "look" not in _warm:
        look_photo(case.photo, settings=settings, declared=declared)
        _warm.add("look")
    started = time.process_time()
    read_photo(case.photo, settings)
    decoded = time.process_time()
    look = look_photo(case.photo, settings=settings, declared=declared, masks_dir=task.masks_dir)
    done = time.process_time()
    pixels = _pixels(case, task.masks_dir, look)
    return Reading(case, look, decoded - started, done - decoded, pixels)


def _pixels(case: Case, masks_dir: Path | None, look: LookRecord) -> NDArray[np.int64] | None:
    """Compare the ids maps, where both are there; a refused photo needs none."""
    if masks_dir is None or case.ids is None:
        return None
    mask = masks_dir / f"{case.photo.stem}.ids.png"
    if not mask.is_file() and look.outcome != "read":
        return None
    return confusion(case.ids, mask)


def load_looks(path: Path) -> dict[str, LookRecord]:
    """Read look records, one a line, by the photo's file name.

    Raises
    ------
    JobError
        When the file can't be read, or a line is no such record.
    """
    records: dict[str, LookRecord] = {}
    try:
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as exc:
        raise JobError(f"the records can't be read ({exc})", Where(path)) from exc
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            record = LookRecord.model_validate_json(line)
        except ValidationError as exc:
            first = exc.errors()[0]
            name = ".".join(str(part) for part in first["loc"])
            raise JobError(first["msg"], Where(path, number, name), "write it again") from exc
        records[Path(record.photo).name] = record
    return records


def take_ready(case: Case, looks: dict[str, LookRecord], masks_dir: Path | None) -> Reading:
    """Pair one photo with its ready-made record; a missing one counts as a failure."""
    look = looks.get(case.name)
    if look is None:
        return Reading(case, None, fault="no record of this photo")
    return Reading(case, look, pixels=_pixels(case, masks_dir, look))
