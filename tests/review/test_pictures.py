"""Photos for the screen: the job's own, upright, at every pixel, without metadata."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from audit.errors import PhotoError
from audit.review.desk import Desk
from audit.review.pictures import PhotoDesk, photo_key
from tests.review.conftest import Pages
from tests.review.jobs import SIZE, audit


def _address(file: str, size: str) -> str:
    return f"/photo/{photo_key(file)}/{size}"


def test_full_is_every_pixel_and_close_to_the_original(pages: Pages) -> None:
    answer = pages.get(_address("F01-inside.jpg", "full"))
    assert answer.mimetype == "image/jpeg"
    with Image.open(io.BytesIO(answer.data)) as shown:
        got = np.asarray(shown.convert("RGB")).astype(int)
    with Image.open(pages.desk.root / "photos" / "F01-inside.jpg") as original:
        want = np.asarray(original.convert("RGB")).astype(int)
    assert got.shape == (SIZE[1], SIZE[0], 3)
    assert np.abs(got - want).mean() < 1.5


def test_place_time_and_device_stay_behind(desk: Desk, enter: object) -> None:
    path = desk.root / "photos" / "F02-inside.jpg"
    with Image.open(path) as photo:
        exif = Image.Exif()
        exif[0x0110] = "SECRET PHONE"
        exif[0x0112] = 6  # turned by 90 degrees
        exif.get_ifd(0x8825)[2] = (51.0, 30.0, 0.0)
        photo.save(path, exif=exif)
    audit(desk.root)
    pages: Pages = enter()  # type: ignore[operator]
    desk.basis(fresh=True)
    for size in ("small", "screen", "full"):
        data = pages.get(_address("F02-inside.jpg", size)).data
        assert b"SECRET" not in data
        with Image.open(io.BytesIO(data)) as shown:
            assert not shown.getexif()
            assert shown.height > shown.width  # upright
            assert abs(shown.height / shown.width - SIZE[0] / SIZE[1]) < 0.01


@pytest.mark.parametrize(
    "path",
    [
        "/photo/F01-inside.jpg/full", "/photo/..%2f..%2fjob.toml/full", "/photo/../job.toml",
        "/photo/0000000000000000/full", "/photo/{key}/original", "/photo/{key}/full/x",
    ],
)  # fmt: skip
def test_no_other_file_is_served(pages: Pages, path: str) -> None:
    answer = pages.get(path.format(key=photo_key("F01-inside.jpg")))
    assert answer.status_code in (404, 308)


def test_a_photo_that_was_replaced_is_not_shown_as_the_one_that_was_judged(pages: Pages) -> None:
    path = pages.desk.root / "photos" / "F01-inside.jpg"
    Image.new("RGB", SIZE, "red").save(path)
    answer = pages.get(_address("F01-inside.jpg", "full"))
    assert answer.status_code == 404
    assert "not the one that was read" in answer.get_data(as_text=True)


def test_a_link_that_leads_out_is_no_photo_of_the_job(pages: Pages, tmp_path: Path) -> None:
    path = pages.desk.root / "photos" / "F01-inside.jpg"
    outside = tmp_path / "outside.jpg"
    Image.new("RGB", SIZE, "red").save(outside)
    path.unlink()
    path.symlink_to(outside)
    assert pages.get(_address("F01-inside.jpg", "full")).status_code == 404


def test_memory_stays_flat_while_paging(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("audit.review.pictures._MEMORY", 600_000)
    shown = PhotoDesk(desk.root, desk.settings)
    for entry in desk.basis().checklist.photos * 2:
        assert len(shown.jpeg(entry, "full")) > 100_000
        assert (
            sum(map(len, shown.pictures._held.values())) <= 600_000
            or len(shown.pictures._held) == 1
        )


def test_an_unreadable_photo_is_told(desk: Desk) -> None:
    entry = desk.basis().checklist.photos[0].model_copy(update={"sha256": None})
    with pytest.raises(PhotoError, match="could not be read"):
        desk.photos.jpeg(entry, "full")
