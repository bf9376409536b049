"""Small jobs for the tests of the pages: drawn photos, and records that say what is drawn."""

from __future__ import annotations

import hashlib
import shutil
from functools import cache
from pathlib import Path

import numpy as np
from PIL import Image, ImageDraw, ImageFilter

from audit.batch.audit import Options, audit_job
from audit.batch.photos import LookTask
from audit.measure.contract import (
    CableRecord,
    CardRecord,
    EndRecord,
    EntryRecord,
    FindingRecord,
    Length,
    LookRecord,
    ScaleRecord,
    SegmentRecord,
)
from audit.review.recompute import Here

SIZE = (1600, 1200)
PX_PER_MM = 10.0
WALL_X, GRIP_X = 700, (760, 820)
BROWN_Y, BLUE_Y, CPC_Y = 560, 600, 640

JOB = """\
schema = "lidoff.job/1"

[job]
name = "Two rooms <b>& a hall</b>"
address_label = "Plot 3"
region = "gb-eng"
by = "Apprentice 1"
answers_for_it = "Supervisor 2"

[[room]]
name = "Bathroom"
kind = "bathroom"
size_m = [2.6, 2.1]
ceiling_m = 2.2

[[room.bath]]
at_m = [0.0, 0.0]
size_m = [1.7, 0.7]

[[room]]
name = "Hall"
kind = "hall"
size_m = [3.0, 1.4]

"""
FITTING = """\
[[fitting]]
label = "{label}"
room = "{room}"
ip = "IP20"
cables = 1
cable = "1.5 T&E"
x_m = {x}
y_m = 0.9

"""


def draw_photo(path: Path, fault_mm: float, seed: int = 0, size: tuple[int, int] = SIZE) -> None:
    """A drawn box with one cable: grey sheath from the left, wall, grip, three cores, a terminal."""
    rng = np.random.default_rng(seed)
    picture = Image.new("RGB", SIZE, (196, 188, 172))
    pen = ImageDraw.Draw(picture)
    pen.rectangle((WALL_X, 260, 1480, 940), fill=(226, 226, 220), outline=(90, 90, 88), width=10)
    for y, ink in ((BROWN_Y, (104, 62, 34)), (BLUE_Y, (44, 98, 178)), (CPC_Y, (204, 190, 40))):
        pen.line((500, y, 1240, y), fill=ink, width=26)
    edge = GRIP_X[0] - fault_mm * PX_PER_MM if fault_mm else GRIP_X[1] + 60
    pen.rectangle((0, 535, edge, 665), fill=(140, 144, 148))
    pen.rectangle((GRIP_X[0], 470, GRIP_X[1], 730), fill=(58, 58, 62))
    pen.rectangle((1240, 510, 1400, 690), fill=(40, 70, 60))
    pen.line((1222, BROWN_Y, 1240, BROWN_Y), fill=(196, 122, 67), width=16)
    array = np.asarray(picture.filter(ImageFilter.GaussianBlur(1.2))).astype(np.int16)
    array = array + rng.normal(0, 5, array.shape).astype(np.int16)
    out = Image.fromarray(np.clip(array, 0, 255).astype(np.uint8))
    if size != SIZE:
        out = out.resize(size)
    out.save(path, quality=88)


def make_job(
    root: Path, fittings: int = 4, photos_each: int = 1, size: tuple[int, int] = SIZE
) -> Path:
    """A job folder whose odd fittings have cores outside the enclosure; audited."""
    (root / "photos").mkdir(parents=True)
    text = JOB
    for n in range(1, fittings + 1):
        label = f"F{n:02d}"
        room = "Bathroom" if n % 2 else "Hall"
        text += FITTING.format(label=label, room=room, x=0.3 + 0.2 * (n % 10))
        for k in range(photos_each):
            view = ("inside", "closed", "face", "back")[k % 4]
            again = f"-{k}" if k > 3 else ""
            name = root / "photos" / f"{label}-{view}{again}.jpg"
            draw_photo(name, 6.0 if n % 2 else 0.0, seed=1000 * n + k, size=size)
    (root / "job.toml").write_text(text, encoding="utf-8")
    audit(root)
    return root


@cache
def _prepared(base: Path) -> Path:
    return make_job(base / "job")


def copy_job(base: Path, to: Path) -> Path:
    """A fresh copy of a job that was made once."""
    shutil.copytree(_prepared(base), to)
    return to


def audit(root: Path) -> None:
    """Audit a job with the records that the drawings call for."""
    audit_job(root, Options(work=look_drawn), executor=Here())


def look_drawn(task: LookTask) -> LookRecord:
    """What a perfect reader says of a drawn photo, marks considered."""
    sha256 = hashlib.sha256(task.path.read_bytes()).hexdigest()
    with Image.open(task.path) as photo:
        scale = photo.width / SIZE[0]
        size = photo.size
    number = int(task.name[1:3])
    fault = 6.0 if number % 2 else 0.0
    edge = GRIP_X[0] - fault * PX_PER_MM if fault else GRIP_X[1] + 60.0
    marked = [m for m in task.marks if m.kind == "sheath_edge"]
    if marked:
        edge = sum(x for x, _ in marked[-1].points_px) / len(marked[-1].points_px) / scale
    return _record(task.name, sha256, size, edge, scale, bool(marked))


def _record(
    name: str, sha256: str, size: tuple[int, int], edge: float, scale: float, marked: bool
) -> LookRecord:
    outside = max(0.0, (GRIP_X[0] - edge) / PX_PER_MM)
    enclosure = max(0.0, (WALL_X - edge) / PX_PER_MM)
    findings = (
        _finding("core-outside-grip", "c1", outside, (edge, 535, GRIP_X[0], 665), scale),
        _finding("core-outside-enclosure", "c1", enclosure, (WALL_X - 60, 535, WALL_X, 665), scale),
        _finding("copper-beyond-terminal", "e1", 1.8, (1218, 545, 1244, 575), scale),
    )
    return LookRecord(
        photo=name,
        sha256=sha256,
        size_px=size,
        outcome="read",
        usable=True,
        card=CardRecord(found=False, lost_at="no marker"),
        scale=ScaleRecord(px_per_mm=PX_PER_MM * scale, u95_rel=0.05, source="sheath"),
        cables=(_cable(edge, outside, enclosure, scale, marked),),
        ends=tuple(_end(n, c, y, scale) for n, (c, y) in enumerate(_CORES, 1)),
        findings=findings,
    )


_CORES = (("brown", BROWN_Y), ("blue", BLUE_Y), ("green-and-yellow", CPC_Y))


def _finding(check: str, of: str, mm: float, box: tuple[float, ...], scale: float) -> FindingRecord:
    state = "flag" if mm - 0.6 > 0 else "clear"
    return FindingRecord(
        check=check,  # type: ignore[arg-type]
        of=of,
        state=state,  # type: ignore[arg-type]
        box_px=tuple(v * scale for v in _apart(box)),  # type: ignore[arg-type]
        value_mm=mm,
        u95_mm=0.6,
        score=0.97 if state == "flag" else 0.03,
        why=f"{mm:.1f} ± 0.6 mm measured along the cable",
    )


def _apart(box: tuple[float, ...]) -> tuple[float, ...]:
    x0, y0, x1, y1 = box
    return (min(x0, x1 - 40), y0, x1, y1)


def _cable(
    edge: float, outside: float, enclosure: float, scale: float, marked: bool
) -> CableRecord:
    def at(x: float) -> float:
        return (x - WALL_X) / PX_PER_MM

    def path(x0: float, x1: float, y: float = 600.0) -> tuple[tuple[float, float], ...]:
        return ((x0 * scale, y * scale), (x1 * scale, y * scale))

    reading = [
        SegmentRecord(
            what="sheath", colour="grey", path_px=path(0, edge), from_mm=at(0), to_mm=at(edge)
        ),
        SegmentRecord(what="wall", path_px=path(WALL_X, WALL_X + 20), from_mm=0.0, to_mm=2.0),
        SegmentRecord(
            what="grip", path_px=path(*GRIP_X), from_mm=at(GRIP_X[0]), to_mm=at(GRIP_X[1])
        ),
    ]
    for colour, y in _CORES:
        reading.append(
            SegmentRecord(
                what="core",
                colour=colour,
                path_px=path(edge, 1222, y),
                from_mm=at(edge),
                to_mm=at(1222),
            )  # type: ignore[arg-type]
        )
    grip = [(GRIP_X[0], 470), (GRIP_X[0], 730), (GRIP_X[1], 730), (GRIP_X[1], 470)]
    return CableRecord(
        id="c1",
        sheath="grey",
        entry=EntryRecord(
            kind="clamp",
            origin="found",
            wall_px=((WALL_X * scale, 520 * scale), (WALL_X * scale, 680 * scale)),
            grip_px=tuple((x * scale, y * scale) for x, y in grip),  # type: ignore[arg-type]
            u95_mm=0.5,
        ),
        sheath_edge_px=((edge * scale, 535 * scale), (edge * scale, 665 * scale)),
        sheath_past_grip_mm=Length(
            value=(edge - GRIP_X[1]) / PX_PER_MM, u95=0.3 if marked else 0.6
        ),
        core_outside_grip_mm=Length(value=outside, u95=0.3 if marked else 0.6),
        core_outside_enclosure_mm=Length(value=enclosure, u95=0.6),
        reading=tuple(reading),
    )


def _end(number: int, colour: str, y: int, scale: float) -> EndRecord:
    return EndRecord(
        id=f"e{number}",
        cable="c1",
        colour=colour,  # type: ignore[arg-type]
        ends_at="terminal",
        at_px=(1240 * scale, y * scale),
        box_px=(1200 * scale, (y - 20) * scale, 1250 * scale, (y + 20) * scale),
        copper_mm=Length(value=1.8 if number == 1 else 0.0, u95=0.4),
    )
