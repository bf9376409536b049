"""Photo files for tests: sound ones of every kind, and all that a folder of photos may hold."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

ORIENTATION = 0x0112


def pattern(width: int = 96, height: int = 64) -> NDArray[np.uint8]:
    """A picture whose four corners differ: (H, W, 3), uint8, smooth so that JPEG keeps it."""
    y, x = np.mgrid[0:height, 0:width]
    red = 40 + 180 * x / (width - 1)
    green = 40 + 180 * y / (height - 1)
    blue = np.full_like(red, 90.0)
    return np.stack([red, green, blue], axis=-1).round().astype(np.uint8)


def save(path: Path, mode: str = "RGB", **options: object) -> Path:
    Image.fromarray(pattern()).convert(mode).save(path, **options)
    return path


def header_bomb(path: Path, width: int = 20000, height: int = 20000) -> Path:
    """A PNG of a few hundred bytes that claims to be huge."""

    def chunk(kind: bytes, body: bytes) -> bytes:
        return (
            struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))
        )

    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head)
    data += chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    path.write_bytes(data)
    return path


def webp_bomb(path: Path) -> Path:
    """A WebP whose header claims 16383 x 16383."""
    side = (16383 - 1).to_bytes(3, "little")
    body = b"WEBPVP8X" + struct.pack("<I", 10) + b"\x02\0\0\0" + side + side
    path.write_bytes(b"RIFF" + struct.pack("<I", len(body)) + body)
    return path


def truncated(path: Path, share: float = 0.5, image_format: str = "JPEG") -> Path:
    noise = np.random.default_rng(1).integers(0, 256, (200, 300, 3), dtype=np.uint8)
    Image.fromarray(noise).save(path, image_format)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * share)])
    return path


def _bytes(data: bytes) -> Callable[[Path], Path]:
    def write(path: Path) -> Path:
        path.write_bytes(data)
        return path

    return write


def _one_pixel(path: Path) -> Path:
    Image.new("RGB", (1, 1)).save(path)
    return path


UNREADABLE: dict[str, tuple[str, Callable[[Path], Path], str]] = {
    "truncated JPEG": ("cut.jpg", truncated, "cut short"),
    "JPEG cut in its header": ("cut2.jpg", lambda p: truncated(p, 0.002), "damaged"),
    "truncated PNG": ("cut.png", lambda p: truncated(p, 0.5, "PNG"), "cut short"),
    "truncated WebP": ("cut.webp", lambda p: truncated(p, 0.5, "WEBP"), "damaged"),
    "truncated TIFF": ("cut.tif", lambda p: truncated(p, 0.5, "TIFF"), ""),
    "zero bytes": ("empty.jpg", _bytes(b""), "empty"),
    "text named .jpg": ("notes.jpg", _bytes(b"F01 kitchen, seen by torch\n"), "text"),
    "zeros named .jpg": ("zeros.jpg", _bytes(bytes(5000)), "other than a picture"),
    "GIF": ("anim.gif", lambda p: save(p, "P", format="GIF"), "a GIF"),
    "1 x 1": ("dot.png", _one_pixel, "too small"),
    "header bomb": ("bomb.png", header_bomb, "20000 x 20000"),
    "WebP header bomb": ("bomb.webp", webp_bomb, "16383 x 16383"),
}
"""Kind: (file name, how to write it, words that the one line must hold)."""
