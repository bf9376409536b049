"""Photos that are none, or odd ones, given to `lidoff look`: a line each, in order, none dropped."""

from __future__ import annotations

import io
import json
import os
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from .command import Ran, lidoff, snapshot


def picture(width: int = 320, height: int = 240, seed: int = 1) -> Image.Image:
    noise = np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)
    return Image.fromarray(noise)


def saved(image: Image.Image, kind: str, **more: object) -> bytes:
    out = io.BytesIO()
    image.save(out, kind, **more)
    return out.getvalue()


def png_header(width: int, height: int) -> bytes:
    """A PNG (ISO/IEC 15948) that claims a size and holds next to nothing."""
    body = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    chunks = b""
    for name, data in ((b"IHDR", body), (b"IDAT", zlib.compress(b"\0")), (b"IEND", b"")):
        chunks += struct.pack(">I", len(data)) + name + data
        chunks += struct.pack(">I", zlib.crc32(name + data))
    return b"\x89PNG\r\n\x1a\n" + chunks


def turned() -> bytes:
    exif = Image.Exif()
    exif[0x0112] = 6  # Exif 2.32, Orientation: row 0 is the right-hand side
    return saved(picture(), "JPEG", exif=exif)


FAILED = {
    "truncated.jpg": (lambda: saved(picture(), "JPEG")[:9000], "cut short"),
    "zero.jpg": (lambda: b"", "empty"),
    "text.jpg": (lambda: b"not a photo\n", "text, not a photo"),
    "one.png": (lambda: saved(picture(1, 1), "PNG"), "1 x 1"),
    "bomb.png": (lambda: png_header(20_000, 20_000), "20000 x 20000"),
    "garbage.jpg": (lambda: b"\xff\xd8\xff" + os.urandom(5000), "damaged"),
    "half.png": (lambda: saved(picture(), "PNG")[:5000], ""),
    "movie.mp4": (lambda: b"\0\0\0\x18ftypmp42" + bytes(100), "a video, not a photo"),
    "gif.jpg": (lambda: saved(picture(), "GIF"), "a GIF, not a photo"),
}
ODD = {
    "cmyk.jpg": lambda: saved(picture().convert("CMYK"), "JPEG"),
    "deep.png": lambda: saved(Image.fromarray(np.full((240, 320), 40_000, np.uint16)), "PNG"),
    "moving.webp": lambda: saved(
        picture(), "WEBP", save_all=True, append_images=[picture(seed=2)], duration=50
    ),
    "turned.jpg": turned,
    "really-png.jpg": lambda: saved(picture(), "PNG"),
    "no-ending": lambda: saved(picture(), "JPEG"),
    "grey.tif": lambda: saved(picture().convert("L"), "TIFF"),
    "palette.png": lambda: saved(picture().convert("P"), "PNG"),
    "'quoted' & <b>.jpg": lambda: saved(picture(seed=3), "JPEG"),
    "=1+1.jpg": lambda: saved(picture(seed=4), "JPEG"),
    "-dash.jpg": lambda: saved(picture(seed=5), "JPEG"),
    "line\nbreak.jpg": lambda: saved(picture(seed=6), "JPEG"),
}


@pytest.fixture(scope="module")
def looked(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, list[str], Ran]:
    folder = tmp_path_factory.mktemp("photos")
    for name, (make, _) in FAILED.items():
        (folder / name).write_bytes(make())
    for name, odd in ODD.items():
        (folder / name).write_bytes(odd())
    (folder / "folder.jpg").mkdir()
    os.mkfifo(folder / "pipe.jpg")
    (folder / "loop.jpg").symlink_to("loop.jpg")
    names = [*FAILED, *ODD, "folder.jpg", "pipe.jpg", "loop.jpg", "gone.jpg"]
    before = snapshot(folder)
    ran = lidoff("look", "--json", "--workers", "1", *(folder / n for n in names), timeout=300)
    assert snapshot(folder) == before, "no photo is touched"
    return folder, names, ran


def test_every_photo_has_its_line_in_the_order_given(looked: tuple[Path, list[str], Ran]) -> None:
    _, names, ran = looked
    records = [json.loads(line) for line in ran.out.splitlines()]
    assert [r["photo"] for r in records] == names
    assert all(r["schema"] == "lidoff.look/1" for r in records)
    assert all(r["outcome"] in {"read", "retake", "failed"} for r in records)
    assert all(r["reasons"] for r in records if r["outcome"] != "read")
    assert ran.code == 3
    assert "Traceback" not in ran.err + ran.out


def test_what_is_no_photo_failed_with_its_reason(looked: tuple[Path, list[str], Ran]) -> None:
    _, names, ran = looked
    records = dict(zip(names, map(json.loads, ran.out.splitlines()), strict=True))
    for name, (_, words) in FAILED.items():
        record = records[name]
        assert record["outcome"] == "failed", record
        assert words in " ".join(record["reasons"]), record["reasons"]
        assert not record["usable"]
        assert not [f for f in record["findings"] or [] if f["state"] == "clear"]
    for name in ("folder.jpg", "pipe.jpg", "loop.jpg", "gone.jpg"):
        assert records[name]["outcome"] == "failed", name


def test_odd_ones_are_read_and_noise_is_never_clear(looked: tuple[Path, list[str], Ran]) -> None:
    _, names, ran = looked
    records = dict(zip(names, map(json.loads, ran.out.splitlines()), strict=True))
    for name in ODD:
        record = records[name]
        assert record["outcome"] in {"read", "retake"}, (name, record["reasons"])
        assert not [f for f in record["findings"] or [] if f["state"] == "clear"], name
    assert records["turned.jpg"]["size_px"] == [240, 320], "upright"


def test_in_words_it_is_printable(looked: tuple[Path, list[str], Ran]) -> None:
    folder, _, _ = looked
    ran = lidoff("look", "--workers", "1", folder / "line\nbreak.jpg", folder / "text.jpg")
    assert all(c.isprintable() or c == "\n" for c in ran.out)
    assert ran.out.splitlines()[-1].startswith("text.jpg: failed: ")
    assert ran.code == 3


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("{", 3, "not valid JSON"),
        ('[{"photo": "a.jpg", "kind": "gripp", "points_px": [[0, 0], [9, 9]]}]', 3, "'grip'?"),
        ("[" * 50_000, 3, "nested too deeply"),
    ],
)
def test_marks_with_something_wrong(tmp_path: Path, text: str, code: int, words: str) -> None:
    (tmp_path / "a.jpg").write_bytes(saved(picture(), "JPEG"))
    (tmp_path / "m.json").write_text(text, encoding="utf-8")
    ran = lidoff("look", tmp_path / "a.jpg", "--marks", tmp_path / "m.json", "--json")
    assert (ran.code, ran.out) == (code, "")
    assert len(ran.lines) == 1
    assert words in ran.err
