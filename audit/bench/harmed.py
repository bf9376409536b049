"""Read one harmed photo: harm it, write it as a file, and read that as any photo is."""

from __future__ import annotations

import traceback
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image
from pydantic import BaseModel, ConfigDict, ValidationError

from audit.bench.harms import AS_IT_WAS, HARMS, Affine, Work, seed_of
from audit.bench.truth import Case, Truth, load_truth
from audit.errors import JobError, Where
from audit.measure.contract import LookRecord, Point
from audit.settings import Settings

Key = tuple[str, str | None, float]
"""Photo, harm (None: unharmed), level."""


@dataclass(frozen=True)
class HarmTask:
    """One photo at one level of one harm, or unharmed (`harm` None): small and picklable."""

    case: Case
    folder: Path
    harm: str | None = None
    level: float = 0.0
    keep: bool = False
    """Leave the harmed picture in `folder`."""

    @property
    def key(self) -> Key:
        """What tells this reading from all others of a run."""
        return self.case.name, self.harm, self.level


@dataclass(frozen=True, eq=False)
class HarmReading:
    """What came of it: the record, and how the harmed picture lies to the unharmed one."""

    look: LookRecord | None
    affine: Affine = field(default_factory=AS_IT_WAS.copy)
    size: tuple[int, int] = (0, 0)
    fault: str | None = None
    """What broke in the tool itself, where it did."""


def read_harmed(task: HarmTask) -> HarmReading:
    """Harm and read one photo inside a worker; never raises for a fault of the seeing."""
    try:
        return _read(task)
    except Exception as exc:  # a fault of ours must not cost the other photos
        last = traceback.extract_tb(exc.__traceback__)[-1]
        place = f"{Path(last.filename).name}:{last.lineno}"
        return HarmReading(None, fault=f"{type(exc).__name__}: {exc} ({place})")


def _read(task: HarmTask) -> HarmReading:
    from audit.measure.look import look_photo

    truth = load_truth(task.case.truth_file)
    settings = Settings()
    if task.harm is None:
        look = look_photo(task.case.photo, settings=settings, declared=truth.declared)
        return HarmReading(look, size=look.size_px or (0, 0))
    file, affine, size = write_harmed(task, truth, settings)
    try:
        look = look_photo(file, settings=settings, declared=truth.declared)
    finally:
        if not task.keep:
            file.unlink()
    return HarmReading(look, affine, size)


def write_harmed(
    task: HarmTask, truth: Truth, settings: Settings
) -> tuple[Path, Affine, tuple[int, int]]:
    """Write the harmed picture as PNG, so that no other harm is added, with the photo's Exif.

    Returns
    -------
    (Path, numpy.ndarray, (int, int))
        File, 2x3 map of px, width and height.
    """
    from audit.photo.decode import read_photo

    photo = read_photo(task.case.photo, settings)
    harm = next(h for h in HARMS if h.name == task.harm)
    work = Work(seed_of(task.case.name), work_middle(truth))
    done = harm.apply(np.array(photo.rgb), task.level, work)
    with Image.open(task.case.photo) as original:
        exif = original.getexif()
    exif.pop(0x0112, None)  # orientation: the picture is upright already
    stem = f"{task.case.photo.stem}-{harm.name}-{task.level:g}".replace(" ", "-")
    file = task.folder / f"{stem}.png"
    Image.fromarray(done.rgb).save(file, exif=exif, compress_level=1)
    height, width = done.rgb.shape[:2]
    return file, done.affine, (width, height)


def work_middle(truth: Truth) -> Point | None:
    """Middle of the boxes of all things asked, px; None where nothing has a place."""
    boxes = np.array([i.box_px for i in truth.items if i.box_px is not None], np.float64)
    if not len(boxes):
        return None
    x, y = np.median((boxes[:, :2] + boxes[:, 2:]) / 2, axis=0)
    return float(x), float(y)


class _KeptReading(BaseModel):
    """One reading as a line of a file."""

    model_config = ConfigDict(frozen=True)

    photo: str
    harm: str | None
    level: float
    affine: tuple[tuple[float, float, float], tuple[float, float, float]]
    size: tuple[int, int]
    look: LookRecord


def keep_reading(path: Path, key: Key, got: HarmReading) -> None:
    """Append one reading to a file; one that broke is not kept, so that it is tried again."""
    if got.look is None:
        return
    row = _KeptReading(
        photo=key[0],
        harm=key[1],
        level=key[2],
        affine=got.affine.tolist(),
        size=got.size,
        look=got.look,
    )
    with path.open("a", encoding="utf-8") as file:
        file.write(row.model_dump_json(by_alias=True) + "\n")


def kept_readings(path: Path) -> dict[Key, HarmReading]:
    """Take the readings an earlier run kept; none where there is no file.

    A last line without its end was under way when that run was stopped: it is
    taken out of the file.

    Raises
    ------
    JobError
        When the file can't be read or written, or a line is no such reading.
    """
    if not path.exists():
        return {}
    try:
        text = path.read_text(encoding="utf-8")
        whole = text[: text.rfind("\n") + 1]
        if whole != text:
            path.write_text(whole, encoding="utf-8")
    except (OSError, UnicodeDecodeError) as exc:
        raise JobError(f"the readings can't be read ({exc})", Where(path)) from exc
    readings: dict[Key, HarmReading] = {}
    for number, line in enumerate(whole.split("\n")[:-1], start=1):
        try:
            row = _KeptReading.model_validate_json(line)
        except ValidationError as exc:
            first = exc.errors()[0]
            name = ".".join(str(part) for part in first["loc"])
            step = "name another file"
            raise JobError(first["msg"], Where(path, number, name), step) from exc
        affine = np.array(row.affine, np.float64)
        readings[row.photo, row.harm, row.level] = HarmReading(row.look, affine, row.size)
    return readings
