"""Outlines and crops: beside the evidence, to scale. Pixels are read back with Pillow."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from audit.report.annotate import INK, annotated, overlap, places, within
from audit.report.pictures import PictureTask, crop_box, make_pictures
from audit.settings import Settings
from tests.report import samples


def test_places_are_numbered_worst_first(tmp_path: Path) -> None:
    look = samples.write_photo(tmp_path / "a.jpg")
    assert [(p.number, p.state) for p in places(look)] == [(1, "flag"), (2, "unsure"), (3, "clear")]


def test_findings_at_one_place_share_its_outline(tmp_path: Path) -> None:
    look = samples.write_photo(tmp_path / "a.jpg")
    flag = look.findings[0]
    twin = flag.model_copy(update={"check": "core-outside-enclosure"})
    both = look.model_copy(update={"findings": (flag, twin)})
    assert [len(p.findings) for p in places(both)] == [2]
    unsure = twin.model_copy(update={"state": "unsure"})
    assert len(places(look.model_copy(update={"findings": (flag, unsure)}))) == 2


def test_overlap_of_known_boxes() -> None:
    assert overlap((0, 0, 2, 2), (1, 0, 3, 2)) == pytest.approx(1 / 3)
    assert overlap((0, 0, 1, 1), (1, 1, 2, 2)) == 0


def test_box_outside_the_picture_is_cut_or_left_out() -> None:
    assert within((-5, -5, 10, 10), (100, 100)) == (0, 0, 10, 10)
    assert within((10, 10, 5, 2), (100, 100)) == (5, 2, 10, 10)
    assert within((200, 200, 300, 300), (100, 100)) is None


def test_outlines_do_not_cover_the_evidence(tmp_path: Path) -> None:
    look = samples.write_photo(tmp_path / "a.jpg")
    with Image.open(tmp_path / "a.jpg") as photo:
        bare = photo.convert("RGB")
    unsure = look.model_copy(update={"cables": (), "findings": look.findings[1:2]})
    drawn = annotated(bare, unsure)
    x0, y0, x1, y1 = (int(v) for v in look.findings[1].box_px or ())
    before, after = np.asarray(bare), np.asarray(drawn)
    assert (before[y0:y1, x0:x1] == after[y0:y1, x0:x1]).all()
    ink = tuple(int(INK["unsure"][i : i + 2], 16) for i in (1, 3, 5))
    assert (after == ink).all(axis=2).any()


@given(
    st.tuples(*[st.floats(0, 1)] * 4),
    st.tuples(st.integers(200, 5000), st.integers(200, 5000)),
    st.one_of(st.none(), st.floats(1, 60)),
)
def test_crop_lies_in_the_photo_and_holds_the_place(
    share: tuple[float, float, float, float], size: tuple[int, int], scale: float | None
) -> None:
    w, h = size
    box = (share[0] * w, share[1] * h, min(w, share[0] * w + 40), min(h, share[1] * h + 40))
    x0, y0, x1, y1 = crop_box(box, size, scale)
    assert 0 <= x0 < x1 <= w and 0 <= y0 < y1 <= h
    assert x0 <= box[0] + 1 and y0 <= box[1] + 1 and x1 >= box[2] - 1 and y1 >= box[3] - 1


def test_bar_under_the_crop_has_the_length_it_says(tmp_path: Path) -> None:
    look = samples.write_photo(tmp_path / "a.jpg")
    task = PictureTask(tmp_path / "a.jpg", look, tmp_path / "made", 300, 400, Settings())
    made = make_pictures(task)
    assert made is not None
    crop = made.crops[0]
    region = crop_box(places(look)[0].box, samples.SIZE, 10.0)
    px_per_mm = 10.0 * 400 / (region[2] - region[0])
    with Image.open(task.folder / crop.file) as picture:
        strip = np.asarray(picture.convert("L"))[-32:]
    dark = np.flatnonzero((strip[16] < 90)[: int(crop.size[0] * 0.6)])
    line = dark[: np.argmax(np.diff(dark, append=9999) > 1) + 1]
    assert crop.bar_mm is not None
    assert line[-1] - line[0] == pytest.approx(crop.bar_mm * px_per_mm, abs=4)


def test_pictures_are_made_once(tmp_path: Path) -> None:
    look = samples.write_photo(tmp_path / "a.jpg")
    task = PictureTask(tmp_path / "a.jpg", look, tmp_path / "made", 300, 200, Settings())
    first = make_pictures(task)
    (tmp_path / "a.jpg").unlink()
    assert make_pictures(task) == first
    [whole] = [p for p in task.folder.glob("*.jpg") if "-" not in p.name]
    whole.unlink()
    assert make_pictures(task) is None
