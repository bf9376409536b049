"""One picture for each stage of seeing, with its heading, legend and words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from audit.measure.answered import nothing_said
from audit.measure.contract import EndRecord, FindingRecord, LookRecord
from audit.report import stages
from audit.report.annotate import DASH, INK, annotated, places, stroke
from audit.report.frame import Frame, whole
from audit.report.materials_ink import INK as MATERIAL_INK
from audit.report.materials_ink import NAMES, paint, rgb
from audit.report.sheet import WORDS, Key, Labels, Painter, faded, sheet
from audit.sight.types import CableReading, Line, Material, MaterialMap, Strand, Strands

EDGE, WALL, GRIP = "#b3124f", "#0b4fa8", "#b35c00"
_DASHES: dict[str, tuple[int, ...]] = {EDGE: (), WALL: (14, 8), GRIP: (5, 6)}
"""Lines across a cable differ by stroke as well as by colour."""
_STATE = {"flag": "flag", "unsure": "unsure", "clear": "no fault seen"}
_NAMED_SHARE = 0.0006
"""Of the picture; a smaller patch of a material gets no name."""
_NAMED_EACH = 3
_PEN = 2
"""Width of the findings' lines, px."""


def calibrated_picture(calibrated: Image.Image, record: LookRecord, frame: Frame) -> Image.Image:
    """The photo as the later stages see it, with the card's outline; scale and outcome below.

    `frame` is the part that the later pictures show; it is outlined too.
    """
    all_of_it = whole(calibrated.size)
    out, factor = all_of_it.cut(calibrated), all_of_it.factor
    draw = ImageDraw.Draw(out)
    keys = []
    if frame != all_of_it:
        x0, y0, x1, y1 = (v * factor for v in frame.box)
        ring = [(x0, y0), (x1, y0), (x1, y1), (x0, y1), (x0, y0)]
        stroke(draw, ring, "#ffffff", 7, ())
        stroke(draw, ring, WALL, 4, _DASHES[WALL])
        keys.append(Key("the part that pictures 2 to 6 show", _stroke_key(WALL, _DASHES[WALL])))
    card = record.card
    if card is not None and card.corners_px and record.size_px:
        at = factor * calibrated.width / record.size_px[0]
        ring = [(x * at, y * at) for x, y in (*card.corners_px, card.corners_px[0])]
        stroke(draw, ring, "#ffffff", 7, ())
        stroke(draw, ring, EDGE, 4, ())
        keys.append(Key("site card", _stroke_key(EDGE, ())))
    return sheet(out, stages.CALIBRATED.title, keys, _calibrated_words(record))


def _calibrated_words(record: LookRecord) -> list[str]:
    lines = ["Site card: not found; none is needed."]
    if record.card is not None and record.card.found:
        lines = ["Site card: found (outlined)."]
    elif record.card is not None and record.card.lost_at:
        lines = [f"Site card: not found ({record.card.lost_at}); none is needed."]
    scale = record.scale
    if scale is None or scale.px_per_mm is None:
        lines.append("Scale: none, so no length in mm.")
    else:
        spread = "" if scale.u95_rel is None else f" ± {100 * scale.u95_rel:.0f} %"
        lines.append(f"Scale: {scale.px_per_mm:.1f} px per mm{spread}, from the {scale.source}.")
    told = {"read": "can be judged", "retake": "take it again"}.get(record.outcome, record.outcome)
    return [*lines, f"This photo: {told}.", *(f"- {reason}" for reason in record.reasons)]


def painted_materials(
    materials: MaterialMap, frame: Frame
) -> tuple[Image.Image, NDArray[np.uint8]]:
    """A part of the map in colours and patterns, without names; and its ids, px by px."""
    ids = np.asarray(_part(materials.ids, materials.step, frame), np.uint8)
    # The less sure, the darker: doubt must be visible.
    sure = np.asarray(_part(materials.prob.max(-1), materials.step, frame))[..., None]
    return Image.fromarray(np.asarray(paint(ids) * (0.35 + 0.65 * sure), np.uint8)), ids


def material_keys(ids: NDArray[np.uint8]) -> list[Key]:
    """A legend of the materials that are there."""
    return [Key(NAMES[m], _swatch(m)) for m in Material if (ids == m).any()]


def materials_picture(materials: MaterialMap, frame: Frame) -> Image.Image:
    """The most probable material of each pixel in its colour and pattern, named in place."""
    out, ids = painted_materials(materials, frame)
    labels = Labels(ImageDraw.Draw(out), out.size)
    for material in Material:
        if material is not Material.OTHER and (ids == material).any():
            for at, inside in _patches(ids == material):
                labels.put(at, NAMES[material], MATERIAL_INK[material], 0 if inside > 40 else 24)
    note = "The most likely material of each place. The darker, the less sure."
    return sheet(out, stages.MATERIALS.title, material_keys(ids), [note])


def _part(values: NDArray[Any], step: float, frame: Frame) -> Image.Image:
    """The part of a map; one of its px is `step` px of the analysis picture."""
    return frame.cut(Image.fromarray(values), 1 / step, Image.Resampling.NEAREST)


def _patches(mask: NDArray[np.bool_]) -> list[tuple[tuple[float, float], float]]:
    """The widest point of each large patch, and how far its border is; the largest first."""
    count, parts, stats, _ = cv2.connectedComponentsWithStats(mask.astype(np.uint8))
    order = sorted(range(1, count), key=lambda n: -int(stats[n, cv2.CC_STAT_AREA]))
    out = []
    for n in order[:_NAMED_EACH]:
        if stats[n, cv2.CC_STAT_AREA] < _NAMED_SHARE * mask.size:
            break
        inside = cv2.distanceTransform((parts == n).astype(np.uint8), cv2.DIST_L2, 3)
        y, x = np.unravel_index(int(inside.argmax()), inside.shape)
        out.append(((float(x), float(y)), float(inside[y, x])))
    return out


def _swatch(material: Material) -> Painter:
    def draw_into(out: Image.Image, box: tuple[int, int, int, int]) -> None:
        x0, y0, x1, y1 = box
        sample = paint(np.full((y1 - y0, x1 - x0), material, np.uint8))
        out.paste(Image.fromarray(sample), (x0, y0))
        ImageDraw.Draw(out).rectangle(box, outline=WORDS)

    return draw_into


def _shown(strands: Strands, frame: Frame) -> list[Strand]:
    every = (*strands.sheaths, *strands.cores, *strands.coppers)
    return [s for s in every if len(s.path) > 1 and frame.holds(s.path)]


def painted_strands(calibrated: Image.Image, strands: Strands, frame: Frame) -> Image.Image:
    """Every strand of a part as a band in its material's colour, with its middle; no names."""
    out = faded(frame.cut(calibrated))
    draw = ImageDraw.Draw(out, "RGBA")
    for strand in _shown(strands, frame):
        sides = [frame.at(_beside(strand, side)) for side in (-0.5, 0.5)]
        ring = _points(np.concatenate([sides[0], sides[1][::-1]]))
        draw.polygon(ring, fill=(*rgb(MATERIAL_INK[strand.material]), 205))
        draw.line([*ring, ring[0]], fill=WORDS, width=2)
        _line(draw, frame.at(strand.path), "#ffffff", 4)
        _line(draw, frame.at(strand.path), WORDS, 2)
    return out


def strands_picture(calibrated: Image.Image, strands: Strands, frame: Frame) -> Image.Image:
    """Every strand as a band in the colour of its material, with its middle, by name."""
    out = painted_strands(calibrated, strands, frame)
    labels = Labels(ImageDraw.Draw(out), out.size)
    shown = _shown(strands, frame)
    for strand in shown:
        labels.keep_free(frame.at(strand.path), 10)
    for strand in shown:
        path = frame.at(np.array([p for p in strand.path if frame.holds(p)]))
        x, y = path[len(path) // 2]
        labels.put((float(x), float(y)), NAMES[strand.material], WORDS, 22)
    every = len(strands.sheaths) + len(strands.cores) + len(strands.coppers)
    return sheet(out, stages.STRANDS.title, (), _strand_words(strands, every - len(shown)))


def _strand_words(strands: Strands, outside: int) -> list[str]:
    count = (
        f"{len(strands.sheaths)} of sheath, {len(strands.cores)} of core, "
        f"{len(strands.coppers)} of bare copper"
    )
    more = f"; {outside} of them outside the part shown" if outside else ""
    return [
        f"Pieces followed: {count}{more}. The line in each is its middle, the band is as wide as "
        "it was read.",
        "The second look sets the ends anew: the cores in picture 4 are the last word.",
    ]


def _beside(strand: Strand, share: float) -> NDArray[np.float64]:
    along = np.gradient(strand.path, axis=0)
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    across /= np.maximum(np.linalg.norm(across, axis=1, keepdims=True), 1e-9)
    return np.asarray(strand.path + across * strand.width[:, None] * share)


def painted_readings(
    calibrated: Image.Image,
    cables: Sequence[CableReading],
    frame: Frame,
    cores: Iterable[NDArray[np.float64]] = (),
) -> Image.Image:
    """Axes, cores and the lines across cables of a part; no names."""
    out = faded(frame.cut(calibrated))
    draw = ImageDraw.Draw(out)
    for core in cores:
        _line(draw, frame.at(core), "#ffffff", 6)
        _line(draw, frame.at(core), "#6b7280", 3)
    for cable in cables:
        _line(draw, frame.at(cable.axis), "#ffffff", 6)
        _line(draw, frame.at(cable.axis), WORDS, 3)
    for cable in cables:
        for line, ink, _ in _lines_across(cable):
            points = _longer(frame.at(line.points))
            stroke(draw, _points(points), "#ffffff", 9, ())
            stroke(draw, _points(points), ink, 5, _DASHES[ink])
    return out


def readings_picture(
    calibrated: Image.Image,
    cables: Sequence[CableReading],
    frame: Frame,
    cores: Iterable[NDArray[np.float64]] = (),
    ends: Iterable[tuple[tuple[float, float], EndRecord]] = (),
) -> Image.Image:
    """Each cable's axis and the lines across it by name, its cores, and the order met.

    Parameters
    ----------
    calibrated : PIL.Image.Image
    cables : sequence of CableReading
    frame : Frame
    cores : iterable of (n, 2) float64
        Their middles, px of `calibrated`.
    ends : iterable of (point, EndRecord)
        Inner ends of cores, px of `calibrated`.
    """
    out = painted_readings(calibrated, cables, frame, cores)
    draw = ImageDraw.Draw(out)
    labels = Labels(draw, out.size)
    for cable in cables:
        labels.keep_free(frame.at(cable.axis))
        for line, _, _ in _lines_across(cable):
            labels.keep_free(_longer(frame.at(line.points)))
    for point, end in ends:
        if frame.holds(np.array(point)):
            x, y = _points(np.atleast_2d(frame.at(np.array(point))))[0]
            draw.ellipse((x - 7, y - 7, x + 7, y + 7), fill="#ffffff", outline=WORDS, width=3)
            labels.keep_free(np.array([[x, y]]), 9)
            labels.put((x, y), f"{end.id} {end.colour}", WORDS, 14)
    for cable in cables:
        _name_lines(labels, cable, frame)
    return sheet(out, stages.READINGS.title, READING_KEYS, map(_order, cables))


def _name_lines(labels: Labels, cable: CableReading, frame: Frame) -> None:
    inside = [p for p in cable.axis if frame.holds(p)]
    if inside:
        x, y = frame.at(inside[0])
        labels.put((float(x), float(y)), f"cable {cable.id}", WORDS, 14)
    for line, ink, name in _lines_across(cable):
        marked = " (marked)" if line.origin == "mark" else ""
        x, y = _longer(frame.at(line.points))[1]
        labels.put((float(x), float(y)), f"{cable.id} {name}{marked}", ink, 18)


def _order(cable: CableReading) -> str:
    """What is met along one cable, in words, and what was not found of it."""
    met: list[str] = []
    for what, _, _ in cable.spans:
        if not met or met[-1] != what:
            met.append(what)
    missing = [
        name
        for name, line in (
            ("sheath's edge", cable.edge),
            ("wall", cable.wall),
            ("grip", cable.grip_in or cable.grip_out),
        )
        if line is None
    ]
    text = f"Cable {cable.id}, outside to inside: {', '.join(met) or 'nothing'}."
    if missing:
        text += f" Not found: {', '.join(missing)}."
    return text + "".join(f" {doubt[:1].upper()}{doubt[1:]}." for doubt in cable.doubts)


def _lines_across(cable: CableReading) -> list[tuple[Line, str, str]]:
    every = (
        (cable.wall, WALL, "wall"),
        (cable.grip_out, GRIP, "grip, outer edge"),
        (cable.grip_in, GRIP, "grip, inner edge"),
        (cable.edge, EDGE, "sheath's edge"),
    )
    return [(line, ink, name) for line, ink, name in every if line is not None]


def _longer(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """A line across a cable drawn out past its edges, so that it is seen beside the cable."""
    more = 0.3 * (points[1] - points[0])
    return np.stack([points[0] - more, points[1] + more])


def _stroke_key(ink: str, dash: tuple[int, ...], width: int = 5) -> Painter:
    def draw_into(out: Image.Image, box: tuple[int, int, int, int]) -> None:
        y = (box[1] + box[3]) / 2
        stroke(ImageDraw.Draw(out), [(box[0], y), (box[2], y)], ink, width, dash)

    return draw_into


READING_KEYS = (
    Key("axis of a cable", _stroke_key(WORDS, (), 3)),
    Key("core", _stroke_key("#6b7280", (), 3)),
    Key("sheath's edge", _stroke_key(EDGE, ())),
    Key("wall of the enclosure", _stroke_key(WALL, _DASHES[WALL])),
    Key("edges of the grip", _stroke_key(GRIP, _DASHES[GRIP])),
)


def findings_picture(picture: Image.Image, record: LookRecord, frame: Frame) -> Image.Image:
    """Numbered outlines on the photo, and what each number says below, worst first.

    `picture` is as large as the analysis picture.
    """
    large = (round(picture.width * frame.factor), round(picture.height * frame.factor))
    drawn = annotated(picture.resize(large, Image.Resampling.BICUBIC), record, _PEN)
    x0, y0 = (round(v * frame.factor) for v in frame.box[:2])
    out = drawn.crop((x0, y0, x0 + frame.size[0], y0 + frame.size[1]))
    keys = [Key(_STATE[s], _stroke_key(INK[s], tuple(2 * d for d in DASH[s]))) for s in _STATE]
    return sheet(out, stages.FINDINGS.title, keys, finding_words(record))


def finding_words(record: LookRecord) -> list[str]:
    """A line for all findings that say the same, with the numbers of their places before it."""
    numbers = {id(f): str(place.number) for place in places(record) for f in place.findings}
    order = [f for place in places(record) for f in place.findings]
    order += [f for f in record.findings if id(f) not in numbers]
    said: dict[tuple[str, str, str], list[FindingRecord]] = {}
    for finding in order:
        said.setdefault((finding.state, finding.check, finding.why), []).append(finding)
    lines = []
    for (state, check, why), same in said.items():
        at = ", ".join(dict.fromkeys(numbers[id(f)] for f in same if id(f) in numbers))
        of = ", ".join(f.of for f in same)
        lines.append(f"{at or '(no place)'}  {_STATE[state]}: {check} ({of}): {why}")
    none = nothing_said(record)
    return lines or [f"{none[0].upper()}{none[1:]}."]


def _points(points: NDArray[np.float64]) -> list[tuple[float, float]]:
    return [(float(x), float(y)) for x, y in points]


def _line(draw: ImageDraw.ImageDraw, points: NDArray[np.float64], ink: str, width: int) -> None:
    if len(points) > 1:
        draw.line(_points(points), fill=ink, width=width, joint="curve")
