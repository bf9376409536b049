"""The ten worst, cut out of their photos: where the fault is, and where the tool looked."""

from __future__ import annotations

import io
from collections.abc import Iterator, Sequence
from pathlib import Path

from PIL import Image, ImageDraw, ImageOps

from audit.bench.match import match_photo
from audit.bench.rows import Row
from audit.bench.score import Scored
from audit.bench.show import worst
from audit.measure.contract import Box
from audit.report.annotate import INK, padded
from tests.benchmarks.accuracy.stored import Worst, WorstList

COUNT = 10
WIDTH, HEIGHT = 640, 480
MAX_BYTES = 60_000
MIN_SIDE = 320
"""A crop shows so many px of the photo at least, or one could not tell what it is."""
AROUND = 1.8
"""A crop's side over that of the place."""
TRUTH = "#ffffff"
_BAR, _TEXT = 46, 15


def worst_of(folder: str, photos: Sequence[Scored], count: int = COUNT) -> WorstList:
    """Take the worst rows in the order of `lidoff bench --worst`, with their places."""
    by_name = {p.truth.photo: p for p in photos}
    rows = worst(photos, sum(len(p.rows) for p in photos))
    items = tuple(_worst(by_name[r.photo], r, n) for n, r in enumerate(rows[:count], start=1))
    return WorstList(folder=folder, of_rows=len(rows), items=items)


def _worst(photo: Scored, row: Row, number: int) -> Worst:
    # The rows of a photo stand in the order of its pairs (`audit.bench.rows.photo_rows`).
    pairs = match_photo(photo.truth.items, photo.look.findings, photo.truth.scale.px_per_mm)
    pair = next(p for p, r in zip(pairs, photo.rows, strict=True) if r is row)
    return Worst(
        photo=row.photo,
        check=row.check,
        of=row.of or row.finding_of or "",
        verdict=row.verdict,
        true_mm=row.size_mm,
        visible=row.visible,
        said_mm=row.value_mm,
        score=row.score,
        why=row.why,
        truth_box=pair.item.box_px if pair.item else None,
        said_box=pair.finding.box_px if pair.finding else None,
        picture=f"worst-{number:02d}.jpg",
    )


def draw_all(worst_list: WorstList, photos: Path, out: Path) -> None:
    """Draw every picture of the list into `out`.

    Raises
    ------
    OSError
        When a photo can't be read or a picture can't be written.
    """
    out.mkdir(parents=True, exist_ok=True)
    for one in worst_list.items:
        with Image.open(photos / one.photo) as photo:
            upright = ImageOps.exif_transpose(photo).convert("RGB")
        (out / one.picture).write_bytes(jpeg(picture(upright, one)))


def picture(photo: Image.Image, one: Worst) -> Image.Image:
    """Cut the place out, draw both boxes, and put a caption below."""
    cut = crop_box(photo.size, [b for b in (one.truth_box, one.said_box) if b])
    scale = min(WIDTH / (cut[2] - cut[0]), HEIGHT / (cut[3] - cut[1]))
    size = (round((cut[2] - cut[0]) * scale), round((cut[3] - cut[1]) * scale))
    shown = photo.resize(size, Image.Resampling.LANCZOS, box=cut)
    out = Image.new("RGB", (WIDTH, size[1] + _BAR), "#1b1b1b")
    left = (WIDTH - size[0]) // 2
    out.paste(shown, (left, 0))
    draw = ImageDraw.Draw(out)
    ink = INK.get(_state(one), INK["unsure"])
    for box, colour, grown in ((one.truth_box, TRUTH, 3), (one.said_box, ink, 7)):
        if box:
            at = [(v - cut[i % 2]) * scale + (left, 0)[i % 2] for i, v in enumerate(box)]
            _outline(draw, padded((at[0], at[1], at[2], at[3]), grown), colour, (left, size))
    for line, text in enumerate(caption(one)):
        draw.text((8, size[1] + 4 + line * 20), text, fill="#ffffff", font_size=_TEXT)
    return out


def crop_box(size: tuple[int, int], boxes: Sequence[Box]) -> tuple[int, int, int, int]:
    """Choose what to show: the boxes with room around, within the photo; the whole without boxes."""
    if not boxes:
        return (0, 0, *size)
    x0, y0 = min(b[0] for b in boxes), min(b[1] for b in boxes)
    x1, y1 = max(b[2] for b in boxes), max(b[3] for b in boxes)
    wide = max((x1 - x0) * AROUND, (y1 - y0) * AROUND * WIDTH / HEIGHT, MIN_SIDE)
    sides = (min(wide, size[0]), min(wide * HEIGHT / WIDTH, size[1]))
    starts = [
        min(max(0.0, (a + b - side) / 2), whole - side)
        for a, b, side, whole in zip((x0, y0), (x1, y1), sides, size, strict=True)
    ]
    left, top = (int(v) for v in starts)
    return (left, top, int(left + sides[0]), int(top + sides[1]))


def _outline(
    draw: ImageDraw.ImageDraw, box: Box, colour: str, within: tuple[int, tuple[int, int]]
) -> None:
    """A thin rectangle with a dark rim, kept on the picture and off the caption."""
    left, (wide, high) = within
    x0, x1 = (min(max(x, left + 1), left + wide - 2) for x in (box[0], box[2]))
    y0, y1 = (min(max(y, 1), high - 2) for y in (box[1], box[3]))
    if x1 - x0 < 1 or y1 - y0 < 1:
        return
    draw.rectangle((x0 - 1, y0 - 1, x1 + 1, y1 + 1), outline="#101010", width=4)
    draw.rectangle((x0, y0, x1, y1), outline=colour, width=2)


def _state(one: Worst) -> str:
    return {"said clear": "clear", "false flag": "flag"}.get(one.verdict, "unsure")


def caption(one: Worst) -> Iterator[str]:
    """Two lines: what is true, and what was said."""
    true = "" if one.true_mm is None else f" {one.true_mm:.1f} mm"
    there = "no fault" if one.verdict == "false flag" else "fault"
    yield f"{one.photo}: {one.check}, true: {there}{true} (white)"
    said = "" if one.said_mm is None else f" {one.said_mm:.1f} mm"
    place = " (coloured)" if one.said_box else ""
    yield f"said: {'nothing' if one.verdict == 'silent' else one.verdict}{said}{place}"


def jpeg(shown: Image.Image) -> bytes:
    """Write a small JPEG without metadata, at the best quality that keeps it below the limit."""
    for quality in range(85, 25, -5):
        out = io.BytesIO()
        # What Image.new made carries no EXIF, profile or comment, so none is written.
        shown.save(out, "JPEG", quality=quality, optimize=True)
        if out.tell() < MAX_BYTES:
            return out.getvalue()
    return jpeg(shown.resize((shown.width * 3 // 4, shown.height * 3 // 4)))
