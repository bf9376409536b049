"""What may leave: codes are found in what leaves, cards are covered, pictures are pixels alone."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
import segno
from PIL import Image

from audit.card.geometry import load_card
from audit.photo.decode import read_photo
from audit.training.lessons.door import (
    NotForLessons,
    bare,
    box_area,
    card_label_area,
    clear_for_lessons,
    close_up,
)
from tests.training.lessons.jobs import PLAIN, TUNE

GREY = (120, 124, 118)


def photo_with_code(path: Path, module: int, at: tuple[int, int] = (200, 200)) -> Path:
    """A large plain photo with a QR code of `module` px a module."""
    picture = Image.new("RGB", (3200, 2400), GREY)
    out = io.BytesIO()
    segno.make("SERIAL 123456", error="m", micro=False).save(
        out, kind="png", scale=module, border=4
    )
    with Image.open(out) as code:
        picture.paste(code.convert("RGB"), at)
    picture.save(path, quality=95)
    return path


def test_a_photo_with_a_code_that_can_be_read_is_refused(tmp_path: Path) -> None:
    path = photo_with_code(tmp_path / "a.jpg", 20)
    with pytest.raises(NotForLessons, match="code in it can be read"):
        clear_for_lessons(read_photo(path), "inside", "a.jpg")


def test_covered_by_hand_it_may_leave(tmp_path: Path) -> None:
    path = photo_with_code(tmp_path / "a.jpg", 20)
    area = box_area((180.0, 180.0, 1000.0, 1000.0))
    cleared = clear_for_lessons(read_photo(path), "inside", "a.jpg", [area])
    assert cleared.covered
    part = np.asarray(cleared.picture)[300:700, 300:700].reshape(-1, 3)
    assert len(np.unique(part, axis=0)) == 1


def test_a_code_that_only_the_close_up_would_show_leaves_in_none(tmp_path: Path) -> None:
    path = photo_with_code(tmp_path / "a.jpg", 3)
    cleared = clear_for_lessons(read_photo(path), "inside", "a.jpg")
    assert close_up(cleared.picture, (190.0, 190.0, 320.0, 300.0), None, "") is None
    assert close_up(cleared.picture, (1900.0, 1900.0, 2030.0, 2000.0), None, "") is not None


def test_a_plate_is_refused_whatever_it_shows() -> None:
    with pytest.raises(NotForLessons, match="rating plate"):
        clear_for_lessons(read_photo(TUNE / f"{PLAIN}.jpg"), "plate", "x.jpg")


def test_the_label_field_lies_where_the_card_is_printed() -> None:
    """On a card seen straight on at 10 px per mm: code and label, down to the lower edge."""
    card = load_card()
    outline = [(float(x) * 10, float(y) * 10) for x, y in card.outline_mm]
    area = card_label_area(outline)
    left, top, _, low = card.qr_box_mm
    assert area[:, 0].min() <= left * 10
    assert area[:, 0].max() >= card.label_right_mm * 10
    assert area[:, 1].min() <= top * 10
    assert area[:, 1].max() >= low * 10
    assert area[:, 1].max() == pytest.approx(card.height_mm * 10)


def test_a_picture_that_leaves_is_pixels_alone() -> None:
    picture = Image.new("RGB", (400, 300), GREY)
    picture.info["comment"] = b"COMMENT-PLANTED"
    picture.info["icc_profile"] = b"PROFILE-PLANTED"
    picture.info["exif"] = b"Exif\x00\x00MM\x00*EXIF-PLANTED"
    assert b"PLANTED" not in bare(picture, "").jpeg
