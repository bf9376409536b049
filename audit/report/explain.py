"""The stages of seeing as pictures, so that anyone can tell in which one an error arose."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any
from urllib.parse import quote

import numpy as np
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup
from numpy.typing import NDArray
from PIL import Image

from audit.measure.contract import CableRecord, LookRecord
from audit.measure.declared import Declared
from audit.photo.decode import read_photo
from audit.photo.types import Photo
from audit.report import stages
from audit.report.annotate import places
from audit.report.close_ups import close_ups
from audit.report.frame import frame_of
from audit.report.ribbon import in_words, ribbon_svg
from audit.report.stage_pictures import (
    calibrated_picture,
    findings_picture,
    materials_picture,
    readings_picture,
    strands_picture,
)
from audit.settings import Settings
from audit.sight.analysis import encode

if TYPE_CHECKING:
    from audit.measure.look import Seen
    from audit.measure.looks import Unmarked


def explain_photo(
    path: Path,
    record: LookRecord,
    folder: Path,
    *,
    settings: Settings,
    marks: Sequence[Any] = (),
    declared: Declared | None = None,
    before: Callable[[Photo], Unmarked] | None = None,
) -> list[Path]:
    """Write the stages of one photo as pictures, and a page that says what to look for in each.

    Parameters
    ----------
    path : pathlib.Path
        The photo.
    record : LookRecord
        What was read from it.
    folder : pathlib.Path
        Gets `NAME.0-stages.html`, `NAME.1-calibrated.jpg`, `NAME.2-materials.png`,
        `NAME.3-strands.jpg`, `NAME.4-readings.jpg`, `NAME.5-ribbon-c1.svg` (one a
        cable), `NAME.6-findings.jpg` and, where something is flagged,
        `NAME.7-flags-close-up.jpg`. None holds metadata of the photo.
    settings, marks, declared
        As the photo was read with.
    before : callable, optional
        Gives the stages before marks, as `audit.measure.look.see` takes it.

    Returns
    -------
    list of pathlib.Path
        What was written; nothing for a photo that can't be read.
    """
    if record.outcome == "failed":
        return []
    from audit.measure.look import see
    from audit.measure.looks import unmarked
    from audit.sight.marks import sight_marks

    photo = read_photo(path, settings)
    known = sight_marks(marks, photo.name, photo.sha256)
    seen = see(photo, settings, declared, known, before or unmarked)
    stem = folder / Path(record.photo).stem
    made = [_save(picture, stem, name) for name, picture in _pictures(seen, record).items()]
    for cable in record.cables:
        svg = _ribbon_alone(cable)
        if svg:
            made.append(_named(stem, f"{stages.RIBBON.number}-ribbon-{cable.id}.svg"))
            made[-1].write_text(svg, encoding="utf-8")
    made.append(_named(stem, "0-stages.html"))
    made[-1].write_text(page(record, stem.name), encoding="utf-8")
    return sorted(made)


def _pictures(seen: Seen, record: LookRecord) -> dict[str, Image.Image]:
    """Every stage's picture but the ribbons', by the end of its file's name."""
    calibrated = _picture(encode(seen.image.linear))
    scale = seen.image.scale
    cores = [np.concatenate([t.path, t.copper_path]) for t in seen.readings.tips]
    ends = [((e.at_px[0] / scale, e.at_px[1] / scale), e) for e in record.ends if e.at_px]
    photo = Image.fromarray(seen.photo.rgb).resize(calibrated.size, Image.Resampling.BOX)
    frame = frame_of(seen.readings, calibrated.size)
    cables = seen.readings.cables
    drawn = {
        stages.CALIBRATED: calibrated_picture(calibrated, record, frame),
        stages.MATERIALS: materials_picture(seen.materials, frame),
        stages.STRANDS: strands_picture(calibrated, seen.strands, frame),
        stages.READINGS: readings_picture(calibrated, cables, frame, cores, ends),
        stages.FINDINGS: findings_picture(photo, record, frame),
    }
    close = close_ups(calibrated, seen.materials, seen.strands, cables, cores, record)
    if close is not None:
        drawn[stages.CLOSE_UPS] = close
    return {_file(stage): picture for stage, picture in drawn.items()}


def _file(stage: stages.Stage) -> str:
    # A map of few colours keeps its edges as PNG.
    name = stage.name.replace(" ", "-")
    return f"{stage.number}-{name}.{'png' if stage is stages.MATERIALS else 'jpg'}"


def _named(stem: Path, name: str) -> Path:
    return stem.with_name(f"{stem.name}.{name}")


def _save(picture: Image.Image, stem: Path, name: str) -> Path:
    target = _named(stem, name)
    picture.save(target, quality=88)
    return target


def _picture(rgb: NDArray[np.float32]) -> Image.Image:
    return Image.fromarray(np.asarray(np.clip(rgb, 0, 1) * 255 + 0.5, np.uint8))


def _ribbon_alone(cable: CableRecord) -> str:
    """A ribbon for a file of its own: on white paper, whatever the viewer's ground is."""
    svg = ribbon_svg(cable, "r")
    return svg.replace("<svg ", '<svg style="background:#fff;color:#10263d" ', 1)


@cache
def _template() -> Any:
    loader = PackageLoader("audit.report", "templates")
    environment = Environment(loader=loader, autoescape=True, undefined=StrictUndefined)
    return environment.get_template("stages.html.j2")


def page(record: LookRecord, stem: str) -> str:
    """The page beside the pictures: all stages in order, and what to look for in each.

    Parameters
    ----------
    record : LookRecord
    stem : str
        The beginning of the pictures' names.

    Returns
    -------
    str
        HTML; the pictures are named by address, not held in it.
    """
    rows = [
        {
            "stage": stage,
            "picture": None if stage is stages.RIBBON else quote(f"{stem}.{_file(stage)}"),
        }
        for stage in stages.ALL
        if stage is not stages.CLOSE_UPS or any(p.state == "flag" for p in places(record))
    ]
    ribbons = [(c.id, in_words(c), Markup(ribbon_svg(c, f"r-{c.id}"))) for c in record.cables]
    return str(_template().render(record=record, rows=rows, ribbons=ribbons))
