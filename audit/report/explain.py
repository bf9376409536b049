"""The stages of seeing as pictures, so that anyone can tell in which one an error arose."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from audit.measure.contract import LookRecord
from audit.measure.declared import Declared
from audit.photo.decode import read_photo
from audit.report.annotate import annotated
from audit.report.ribbon import ribbon_svg
from audit.settings import Settings
from audit.sight.types import CableReading, Material, MaterialMap, Strand

if TYPE_CHECKING:
    from audit.measure.look import Seen

_INK = {
    Material.OTHER: "#3a3a3a",
    Material.SHEATH: "#c9ccd1",
    Material.BROWN: "#8a4f2a",
    Material.BLUE: "#3d7dd8",
    Material.GREEN_YELLOW: "#9ed12c",
    Material.RED: "#d8333a",
    Material.BLACK: "#000000",
    Material.GREY_CORE: "#7f8790",
    Material.COPPER: "#ff9d4d",
    Material.ENCLOSURE: "#e6dcc3",
    Material.GRIP: "#b48ae0",
    Material.TERMINAL: "#2fb3a6",
    Material.STEEL: "#a9c4d8",
    Material.CARD: "#ffffff",
    Material.BRASS: "#e0c341",
}
_LEGEND_PX = 26


def explain_photo(
    path: Path,
    record: LookRecord,
    folder: Path,
    *,
    settings: Settings,
    marks: Sequence[Any] = (),
    declared: Declared | None = None,
) -> list[Path]:
    """Write the stages of one photo as pictures.

    Parameters
    ----------
    path : pathlib.Path
        The photo.
    record : LookRecord
        What was read from it.
    folder : pathlib.Path
        Gets `NAME.1-calibrated.jpg`, `NAME.2-materials.png`, `NAME.3-strands.jpg`,
        `NAME.4-readings.jpg`, `NAME.5-ribbon-c1.svg` (one a cable) and
        `NAME.6-findings.jpg`.
    settings, marks, declared
        As the photo was read with.

    Returns
    -------
    list of pathlib.Path
        What was written; nothing for a photo that can't be read.
    """
    if record.outcome == "failed":
        return []
    from audit.measure.look import see
    from audit.sight.marks import sight_marks

    photo = read_photo(path, settings)
    seen = see(photo, settings, declared, sight_marks(marks, photo.name, photo.sha256))
    calibrated = _picture(seen.image.rgb)
    stem = folder / Path(record.photo).stem
    made = [
        _save(calibrated, stem, "1-calibrated.jpg"),
        _save(materials_picture(seen.materials, calibrated.size), stem, "2-materials.png"),
        _save(strands_picture(calibrated, seen), stem, "3-strands.jpg"),
        _save(readings_picture(calibrated, seen.readings.cables), stem, "4-readings.jpg"),
        _save(annotated(Image.fromarray(photo.rgb), record), stem, "6-findings.jpg"),
    ]
    for cable in record.cables:
        svg = ribbon_svg(cable, "r")
        if svg:
            target = stem.with_name(f"{stem.name}.5-ribbon-{cable.id}.svg")
            target.write_text(svg, encoding="utf-8")
            made.append(target)
    return sorted(made)


def _save(picture: Image.Image, stem: Path, name: str) -> Path:
    target = stem.with_name(f"{stem.name}.{name}")
    picture.save(target, quality=88)
    return target


def _picture(rgb: NDArray[np.float32]) -> Image.Image:
    return Image.fromarray(np.asarray(np.clip(rgb, 0, 1) * 255 + 0.5, np.uint8))


def materials_picture(materials: MaterialMap, size: tuple[int, int]) -> Image.Image:
    """The most probable material of each pixel in its colour, with the colours' names below.

    Parameters
    ----------
    materials : MaterialMap
    size : tuple of int
        Width and height of the picture without its legend, px.
    """
    palette = np.array([_rgb(_INK[m]) for m in Material], np.uint8)
    # The less sure, the darker: doubt must be visible.
    sure = materials.prob.max(-1, keepdims=True)
    colours = np.asarray(palette[materials.ids] * (0.35 + 0.65 * sure), np.uint8)
    found = [m for m in Material if (materials.ids == m).any()]
    columns = max(1, size[0] // 190)
    rows = -(-len(found) // columns)
    out = Image.new("RGB", (size[0], size[1] + rows * _LEGEND_PX + 8), "#ffffff")
    out.paste(Image.fromarray(colours).resize(size, Image.Resampling.NEAREST), (0, 0))
    draw = ImageDraw.Draw(out)
    for n, material in enumerate(found):
        x, y = 10 + n % columns * 190, size[1] + 8 + n // columns * _LEGEND_PX
        draw.rectangle((x, y, x + 18, y + 16), fill=_INK[material], outline="#000000")
        name = material.name.lower().replace("_", " and ")
        draw.text((x + 26, y + 8), name, fill="#111111", anchor="lm", font_size=15)
    return out


def _rgb(ink: str) -> tuple[int, int, int]:
    return (int(ink[1:3], 16), int(ink[3:5], 16), int(ink[5:7], 16))


def strands_picture(calibrated: Image.Image, seen: Seen) -> Image.Image:
    """Centre lines and edges of every strand in the colour of its material."""
    out = calibrated.copy()
    draw = ImageDraw.Draw(out)
    for strand in (*seen.strands.sheaths, *seen.strands.cores, *seen.strands.coppers):
        for side in (-0.5, 0.5):
            _line(draw, _beside(strand, side), _INK[strand.material], 1)
        _line(draw, strand.path, "#ffffff", 4)
        _line(draw, strand.path, _INK[strand.material], 2)
    return out


def _beside(strand: Strand, share: float) -> NDArray[np.float64]:
    along = np.gradient(strand.path, axis=0)
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-9)
    return np.asarray(strand.path + across * strand.width[:, None] * share)


def readings_picture(calibrated: Image.Image, cables: Iterable[CableReading]) -> Image.Image:
    """Each cable's axis, and the lines across it: sheath's edge, wall, grip, by name."""
    out = calibrated.copy()
    draw = ImageDraw.Draw(out)
    for cable in cables:
        _line(draw, cable.axis, "#ffffff", 4)
        _line(draw, cable.axis, "#10263d", 2)
        draw.text(tuple(cable.axis[0]), cable.id, fill="#10263d", font_size=18, stroke_width=3,
                  stroke_fill="#ffffff")  # fmt: skip
        for name, line in (
            ("sheath's edge", cable.edge),
            ("wall", cable.wall),
            ("grip, outer edge", cable.grip_out),
            ("grip, inner edge", cable.grip_in),
        ):
            if line is None:
                continue
            _line(draw, line.points, "#ffffff", 5)
            _line(draw, line.points, "#a8114a" if name == "sheath's edge" else "#5138b4", 3)
            draw.text(tuple(line.points[1]), f"{name} ({line.origin})", fill="#10263d",
                      font_size=15, stroke_width=3, stroke_fill="#ffffff")  # fmt: skip
    return out


def _line(draw: ImageDraw.ImageDraw, points: NDArray[np.float64], ink: str, width: int) -> None:
    if len(points) > 1:
        draw.line([(float(x), float(y)) for x, y in points], fill=ink, width=width, joint="curve")
