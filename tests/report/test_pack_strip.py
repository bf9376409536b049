"""Metadata leaves, pixels stay: every format, held against what Pillow decodes."""

from __future__ import annotations

import io
import struct
from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageCms, PngImagePlugin

from audit.photo.decode import read_photo
from audit.report.pack_strip import LOSSLESS, REWRITTEN, strip
from audit.settings import Settings

SECRETS = (
    b"SERIAL000042",
    b"Maker of phones",
    b"Owner",
    b"51/1",
    b"GPSTAG",
    b"http://ns.adobe.com",
)


def _exif(orientation: int) -> Image.Exif:
    exif = Image.Exif()
    exif[0x010F], exif[0x0112], exif[0x013B] = "Maker of phones", orientation, "Owner"
    exif.get_ifd(0x8769)[0xA431] = "SERIAL000042"
    gps = exif.get_ifd(0x8825)
    gps[1], gps[2], gps[29] = "N", (51.0, 30.0, 12.0), "GPSTAG"
    return exif


def _picture(mode: str = "RGB") -> Image.Image:
    pixels = np.random.default_rng(5).integers(0, 256, (48, 80, 3), dtype=np.uint8)
    return Image.fromarray(pixels).convert(mode)


PROFILE = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()


def _jpeg(orientation: int, **kw: object) -> bytes:
    out = io.BytesIO()
    _picture().save(
        out, "JPEG", exif=_exif(orientation), comment=b"Owner", icc_profile=PROFILE, **kw
    )
    data = out.getvalue()
    xmp = b"http://ns.adobe.com/xap/1.0/\x00<x:xmpmeta>SERIAL000042</x:xmpmeta>"
    iptc = b"Photoshop 3.0\x008BIM Owner"
    extra = b"".join(
        bytes([0xFF, marker]) + struct.pack(">H", len(body) + 2) + body
        for marker, body in ((0xE1, xmp), (0xED, iptc), (0xE2, b"MPF\x00Owner"))
    )
    return data[:2] + extra + data[2:] + b"trailer of a phone SERIAL000042" + data


def _png(orientation: int) -> bytes:
    out = io.BytesIO()
    info = PngImagePlugin.PngInfo()
    info.add_text("Author", "Owner")
    info.add_itxt("XML:com.adobe.xmp", "SERIAL000042")
    _picture().save(out, "PNG", exif=_exif(orientation), pnginfo=info, icc_profile=PROFILE)
    return out.getvalue() + b"SERIAL000042"


def _webp(orientation: int, lossless: bool) -> bytes:
    out = io.BytesIO()
    _picture().save(
        out, "WEBP", lossless=lossless, exif=_exif(orientation), xmp=b"SERIAL000042",
        icc_profile=PROFILE,
    )  # fmt: skip
    return out.getvalue() + b"SERIAL000042"


def _tiff(orientation: int) -> bytes:
    out = io.BytesIO()
    _picture().save(out, "TIFF", exif=_exif(orientation), software="Owner")
    return out.getvalue()


MADE = {
    "baseline.jpg": _jpeg,
    "progressive.jpg": lambda o: _jpeg(o, progressive=True),
    "restarts.jpg": lambda o: _jpeg(o, restart_marker_rows=1),
    "a.png": _png,
    "lossy.webp": lambda o: _webp(o, False),
    "lossless.webp": lambda o: _webp(o, True),
    "a.tif": _tiff,
}


@pytest.mark.parametrize("orientation", [1, 3, 6, 8])
@pytest.mark.parametrize("name", MADE)
def test_metadata_leaves_and_the_picture_stays(tmp_path: Path, name: str, orientation: int) -> None:
    data = MADE[name](orientation)
    assert any(secret in data for secret in SECRETS)
    path = tmp_path / name
    path.write_bytes(data)
    done = strip(path, Settings())
    for secret in SECRETS:
        assert secret not in done.data, secret
    assert done.how == (REWRITTEN if name.endswith(".tif") else LOSSLESS)
    after = tmp_path / f"after-{name}{done.suffix}"
    after.write_bytes(done.data)
    assert np.array_equal(read_photo(path).rgb, read_photo(after).rgb)
    with Image.open(after) as image:
        kept = dict(image.getexif())
        assert set(kept) <= {0x0112}
        assert not image.getexif().get_ifd(0x8825)
        assert not image.getexif().get_ifd(0x8769)


@pytest.mark.parametrize("name", MADE)
def test_it_is_done_once_and_for_all(tmp_path: Path, name: str) -> None:
    path = tmp_path / name
    path.write_bytes(MADE[name](6))
    once = strip(path, Settings()).data
    path.write_bytes(once)
    assert strip(path, Settings()).data == once


@pytest.mark.parametrize("name", ["baseline.jpg", "a.png", "lossy.webp"])
def test_a_damaged_file_never_leaks(tmp_path: Path, name: str) -> None:
    data = MADE[name](6)
    path = tmp_path / name
    choose = np.random.default_rng(8)
    for _ in range(150):
        changed = bytearray(data)
        for at in choose.integers(0, len(data), 3):
            changed[at] = choose.integers(0, 256)
        path.write_bytes(bytes(changed[: choose.integers(20, len(data))]))
        try:
            done = strip(path, Settings())
        except ValueError:
            continue
        assert b"SERIAL0000" not in done.data


def test_what_is_no_picture_is_told(tmp_path: Path) -> None:
    path = tmp_path / "a.jpg"
    path.write_bytes(b"no picture at all, SERIAL000042")
    with pytest.raises(ValueError, match=r"."):
        strip(path, Settings())
