"""Read one harmed photo: harm it, write it as a file, and read that as any photo is."""

from __future__ import annotations

import traceback
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from PIL import Image

from audit.bench.harms import AS_IT_WAS, HARMS, Affine, Work, seed_of
from audit.bench.truth import Case, Truth, load_truth
from audit.measure.contract import LookRecord, Point
from audit.settings import Settings


@dataclass(frozen=True)
class HarmTask:
    """One photo at one level of one harm, or unharmed (`harm` None): small and picklable."""

    case: Case
    folder: Path
    harm: str | None = None
    level: float = 0.0
    keep: bool = False
    """Leave the harmed picture in `folder`."""


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
