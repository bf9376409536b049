from __future__ import annotations

import hashlib
import io
import os
import pickle
import struct
import sys
import time
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from PIL import ExifTags, Image, ImageCms, ImageOps

from audit.errors import ExitCode, PhotoError
from audit.photo.decode import NEUTRAL, read_photo
from audit.settings import Settings
from tests.photo.images import ORIENTATION, UNREADABLE, header_bomb, pattern, save


@pytest.mark.parametrize("kind", UNREADABLE)
def test_what_is_no_photo_is_refused_with_one_clear_line(kind: str, tmp_path: Path) -> None:
    name, write, words = UNREADABLE[kind]
    path = write(tmp_path / name)
    before = path.read_bytes()
    with pytest.raises(PhotoError) as caught:
        read_photo(path, Settings())
    line = caught.value.one_line()
    assert words in line
    assert name in line and "\n" not in line and ";" in line  # where, and what to do next
    assert caught.value.exit_code == ExitCode.UNREADABLE
    assert path.read_bytes() == before
    again = pickle.loads(pickle.dumps(caught.value))  # as it comes back from a worker
    assert again.one_line() == line


def test_a_header_bomb_is_refused_before_it_is_decoded(tmp_path: Path) -> None:
    path = header_bomb(tmp_path / "bomb.png")
    start = time.perf_counter()
    with pytest.raises(PhotoError, match=r"20000 x 20000"):
        read_photo(path, Settings())
    assert time.perf_counter() - start < 1.0
    # Pillow's own limit is 179 million; ours may be set higher and must then decide.
    with pytest.raises(PhotoError, match=r"cut short|damaged"):
        read_photo(header_bomb(tmp_path / "b.png", 14000, 14000), Settings(max_pixels=200_000_000))
    assert Image.MAX_IMAGE_PIXELS is not None  # nobody else's limit is changed


def test_missing_folder_pipe_and_device(tmp_path: Path) -> None:
    with pytest.raises(PhotoError, match="no such file"):
        read_photo(tmp_path / "none.jpg")
    with pytest.raises(PhotoError, match="folder"):
        read_photo(tmp_path)
    os.mkfifo(tmp_path / "pipe.jpg")
    with pytest.raises(PhotoError, match="pipe"):
        read_photo(tmp_path / "pipe.jpg")
    with pytest.raises(PhotoError, match="device"):
        read_photo(Path("/dev/zero"))
    with pytest.raises(PhotoError, match="can't be opened"):
        read_photo(tmp_path / ("x" * 300 + ".jpg"))


def test_a_file_that_may_not_be_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = save(tmp_path / "mine.jpg")
    if os.geteuid() != 0:
        path.chmod(0)
    else:  # root reads everything: be told no as others would be

        def refuse(*_: object) -> int:
            raise PermissionError(13, "Permission denied")

        monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(PhotoError, match="permission denied"):
        read_photo(path)


def test_a_file_that_is_too_large_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "big.jpg"
    with path.open("wb") as file:
        file.truncate(2_000_000)
    with pytest.raises(PhotoError, match="2 MB, more than the 1 MB"):
        read_photo(path, Settings(max_file_mb=1))


@pytest.mark.parametrize("orientation", range(1, 9))
@pytest.mark.parametrize("suffix", ["jpg", "tif", "png", "webp"])
def test_all_eight_exif_orientations(orientation: int, suffix: str, tmp_path: Path) -> None:
    """Exif orientation 1 to 8 (JEITA CP-3451); Pillow's own transposition is the oracle."""
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    path = save(tmp_path / f"turned.{suffix}", exif=exif)
    photo = read_photo(path)
    with Image.open(path) as image:
        expected = np.asarray(ImageOps.exif_transpose(image).convert("RGB"))
    assert photo.orientation == orientation
    assert photo.rgb.shape == ((96, 64, 3) if orientation >= 5 else (64, 96, 3))
    np.testing.assert_array_equal(photo.rgb, expected)


def test_orientation_six_stands_the_picture_up(tmp_path: Path) -> None:
    """Exif 6: the stored picture's left side is the top right way round (turn clockwise)."""
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    photo = read_photo(save(tmp_path / "a.png", exif=exif))
    np.testing.assert_array_equal(photo.rgb, np.rot90(pattern(), -1))


@pytest.mark.parametrize("orientation", [0, 9, 65535])
def test_an_impossible_orientation_counts_as_none(orientation: int, tmp_path: Path) -> None:
    exif = Image.Exif()
    exif[ORIENTATION] = orientation
    photo = read_photo(save(tmp_path / "a.png", exif=exif))
    assert photo.orientation == 1
    np.testing.assert_array_equal(photo.rgb, pattern())


def test_pixels_are_those_of_the_file(tmp_path: Path) -> None:
    for suffix in ("png", "tif"):
        photo = read_photo(save(tmp_path / f"a.{suffix}"))
        np.testing.assert_array_equal(photo.rgb, pattern())
        assert photo.rgb.dtype == np.uint8 and photo.notes == ()
        assert not photo.rgb.flags.writeable
    data = (tmp_path / "a.png").read_bytes()
    assert read_photo(tmp_path / "a.png").sha256 == hashlib.sha256(data).hexdigest()


def test_the_content_decides_not_the_ending(tmp_path: Path) -> None:
    path = save(tmp_path / "really-a-png.jpg", format="PNG")
    photo = read_photo(path)
    assert photo.format == "PNG" and photo.name == "really-a-png.jpg"
    np.testing.assert_array_equal(photo.rgb, pattern())


def test_cmyk_grey_palette_and_bilevel(tmp_path: Path) -> None:
    cmyk = read_photo(save(tmp_path / "a.jpg", "CMYK", quality=95))
    assert np.abs(cmyk.rgb.astype(int) - pattern()).mean() < 3
    assert "CMYK" in " ".join(cmyk.notes)
    grey = read_photo(save(tmp_path / "g.jpg", "L", quality=95))
    assert np.ptp(grey.rgb.astype(int), axis=2).max() == 0
    palette = read_photo(save(tmp_path / "p.png", "P"))
    assert palette.rgb.shape == (64, 96, 3)
    assert set(np.unique(read_photo(save(tmp_path / "b.png", "1")).rgb)) == {0, 255}


def test_sixteen_bit_is_scaled_not_clipped(tmp_path: Path) -> None:
    ramp = np.linspace(0, 65535, 64 * 96).reshape(64, 96).astype(np.uint16)
    for name in ("a.png", "a.tif"):
        Image.fromarray(ramp).save(tmp_path / name)
        photo = read_photo(tmp_path / name)
        np.testing.assert_array_equal(photo.rgb[..., 0], np.round(ramp / 257.0).astype(np.uint8))


def test_transparency_lies_over_neutral_grey(tmp_path: Path) -> None:
    rgba = np.dstack([pattern(), np.zeros((64, 96), np.uint8)])
    rgba[:, 48:, 3] = 255
    for mode, name in (("RGBA", "a.png"), ("RGBA", "a.webp"), ("LA", "la.png"), ("PA", "t.tif")):
        image = Image.fromarray(rgba)
        if mode == "PA":
            image.save(tmp_path / name)
        else:
            image.convert(mode).save(tmp_path / name, lossless=True)
        photo = read_photo(tmp_path / name)
        assert (photo.rgb[:, :48] == NEUTRAL).all(), name
        assert "neutral" in " ".join(photo.notes)
    np.testing.assert_array_equal(read_photo(tmp_path / "a.png").rgb[:, 48:], pattern()[:, 48:])
    palette = Image.fromarray(pattern()).convert("P")
    palette.info["transparency"] = 0
    palette.save(tmp_path / "p.png", transparency=0)
    assert read_photo(tmp_path / "p.png").rgb.shape == (64, 96, 3)


def test_of_an_animation_the_first_picture_is_taken_and_said(tmp_path: Path) -> None:
    first, other = Image.fromarray(pattern()), Image.new("RGB", (96, 64), "blue")
    for name in ("a.webp", "a.png", "a.tif"):
        first.save(tmp_path / name, save_all=True, append_images=[other], lossless=True)
        photo = read_photo(tmp_path / name)
        assert np.abs(photo.rgb.astype(int) - pattern()).max() <= 1, name
        assert "first" in " ".join(photo.notes)


def _profile(name: str) -> bytes:
    return ImageCms.ImageCmsProfile(ImageCms.createProfile(name)).tobytes()


def _swapped_profile() -> bytes:
    """The sRGB profile with its red and blue primaries exchanged: a conversion none can miss."""
    data = bytearray(_profile("sRGB"))
    count = int.from_bytes(data[128:132], "big")
    for k in range(count):
        at = 132 + 12 * k
        name = bytes(data[at : at + 4])
        if name in (b"rXYZ", b"bXYZ"):
            data[at : at + 4] = b"bXYZ" if name == b"rXYZ" else b"rXYZ"
    return bytes(data)


def test_an_embedded_profile_is_converted(tmp_path: Path) -> None:
    path = save(tmp_path / "a.png", icc_profile=_swapped_profile())
    photo = read_photo(path)
    assert "profile" in " ".join(photo.notes)
    # R and B are exchanged by such a profile, up to rounding in the transform.
    assert np.abs(photo.rgb.astype(int) - pattern()[..., ::-1]).max() <= 2


def test_an_srgb_profile_changes_no_pixel(tmp_path: Path) -> None:
    photo = read_photo(save(tmp_path / "a.png", icc_profile=_profile("sRGB")))
    np.testing.assert_array_equal(photo.rgb, pattern())
    assert photo.notes == ()


def test_a_useless_profile_is_ignored_and_said(tmp_path: Path) -> None:
    for profile in (b"no profile at all", _profile("LAB")):
        photo = read_photo(save(tmp_path / "a.png", icc_profile=profile))
        np.testing.assert_array_equal(photo.rgb, pattern())
        assert "ignored" in " ".join(photo.notes)


def test_exif_time_offset_and_lens(tmp_path: Path) -> None:
    exif = Image.Exif()
    ifd = exif.get_ifd(ExifTags.IFD.Exif)
    ifd[ExifTags.Base.DateTimeOriginal] = "2026:03:29 01:30:00"
    ifd[ExifTags.Base.OffsetTimeOriginal] = "+01:00"
    ifd[ExifTags.Base.FocalLengthIn35mmFilm] = 26
    photo = read_photo(save(tmp_path / "a.jpg", exif=exif))
    assert photo.taken == datetime(2026, 3, 29, 1, 30) and photo.taken.tzinfo is None
    assert photo.utc_offset == "+01:00" and photo.focal_35mm == 26.0


@pytest.mark.parametrize("text", ["0000:00:00 00:00:00", "yesterday", "", "2026:13:40 99:99:99"])
def test_a_nonsense_time_is_none(text: str, tmp_path: Path) -> None:
    exif = Image.Exif()
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.DateTimeOriginal] = text
    exif.get_ifd(ExifTags.IFD.Exif)[ExifTags.Base.FocalLengthIn35mmFilm] = 0
    photo = read_photo(save(tmp_path / "a.jpg", exif=exif))
    assert photo.taken is None and photo.focal_35mm is None


def test_damaged_exif_makes_no_photo_unreadable(tmp_path: Path) -> None:
    path = save(tmp_path / "a.jpg", exif=b"Exif\0\0II*\0\xff\xff\xff\xff garbage")
    assert read_photo(path).taken is None


def test_heic(tmp_path: Path) -> None:
    heif = pytest.importorskip("pillow_heif")
    heif.register_heif_opener()
    exif = Image.Exif()
    exif[ORIENTATION] = 6
    large = Image.fromarray(pattern()).resize((192, 128))
    large.save(tmp_path / "a.heic", quality=95, exif=exif.tobytes())  # writes irot
    photo = read_photo(tmp_path / "a.heic")
    assert photo.format == "HEIF" and photo.orientation == 6
    expected = np.rot90(np.asarray(large), -1).astype(int)
    assert photo.rgb.shape == expected.shape
    assert np.abs(photo.rgb.astype(int) - expected).mean() < 4


def test_heic_without_the_extra_says_how_to_get_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a.heic"
    path.write_bytes(b"\0\0\0\x18ftypheic\0\0\0\0" + bytes(100))
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert "lidoff[heic]" in caught.value.one_line()


def test_control_characters_in_a_name_stay_on_one_line(tmp_path: Path) -> None:
    path = tmp_path / "a\nb\x1b[31m.jpg"
    path.write_bytes(b"")
    with pytest.raises(PhotoError) as caught:
        read_photo(path)
    assert caught.value.one_line().isprintable()


@settings(max_examples=120, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_damage_anywhere_gives_a_photo_or_a_clear_refusal(
    data: st.DataObject, tmp_path: Path
) -> None:
    kind = data.draw(st.sampled_from(["JPEG", "PNG", "TIFF", "WEBP"]))
    buffer = io.BytesIO()
    exif = Image.Exif()
    exif[ORIENTATION] = 3
    Image.fromarray(pattern()).save(buffer, kind, exif=exif)
    content = bytearray(buffer.getvalue())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(content) - 1))
        content[at] = data.draw(st.integers(0, 255))
    path = tmp_path / "damaged.bin"
    path.write_bytes(bytes(content[: data.draw(st.integers(1, len(content)))]))
    try:
        photo = read_photo(path, Settings(max_pixels=1_000_000))
    except PhotoError as error:
        assert error.one_line().isprintable()
    else:
        assert photo.rgb.ndim == 3 and photo.rgb.shape[2] == 3 and photo.rgb.dtype == np.uint8


def test_a_second_picture_that_is_damaged_is_told_as_damage(tmp_path: Path) -> None:
    """TIFF 6.0, section 2: the last four bytes of a directory lead to the next; this one is empty."""
    whole = io.BytesIO()
    Image.new("RGB", (96, 64), "grey").save(whole, "TIFF")
    data = bytearray(whole.getvalue())
    (first,) = struct.unpack_from("<I", data, 4)
    (entries,) = struct.unpack_from("<H", data, first)
    struct.pack_into("<I", data, first + 2 + 12 * entries, len(data))
    path = tmp_path / "two.tif"
    path.write_bytes(bytes(data) + struct.pack("<HI", 0, 0))
    with pytest.raises(PhotoError, match="damaged"):
        read_photo(path, Settings())
