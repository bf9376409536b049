"""Take out of a photo what does not show the work: place, device, owner, previews.

Where the format allows, the picture's own bytes stay as they are and only the
blocks around them go: JPEG (ITU-T T.81 markers), PNG (ISO/IEC 15948 chunks),
WebP (RIFF chunks). Which way up the picture is and its colour profile are
kept. Other formats are decoded and written as PNG.
"""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from PIL import Image

from audit.errors import PhotoError
from audit.photo.decode import read_photo
from audit.photo.sniff import sniff_format
from audit.settings import Settings

_EOI, _SOS, _JFIF, _EXIF = 0xD9, 0xDA, 0xE0, 0xE1
_APP = range(0xE0, 0xF0)
_STANDALONE = (0x01, *range(0xD0, 0xD8))
_PNG = b"\x89PNG\r\n\x1a\n"
_PNG_KEPT = {
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB",
    b"cICP", b"bKGD", b"pHYs",
}  # fmt: skip
_WEBP_KEPT = {b"VP8 ", b"VP8L", b"VP8X", b"ALPH", b"ICCP"}
_WEBP_META = 0x08 | 0x04
"""Flags of VP8X: Exif and XMP are there."""
_ORIENTATION = 0x0112


@dataclass(frozen=True)
class Stripped:
    """A photo without metadata.

    Parameters
    ----------
    data : bytes
    suffix : str
        To be added to the file's name; empty where the format stayed.
    how : str
        What was done, for the pack's list.
    """

    data: bytes
    suffix: str
    how: str


LOSSLESS = "metadata taken out; the picture's own bytes are unchanged"
REWRITTEN = "decoded, turned upright in sRGB, and written again as PNG without metadata"


def strip(path: Path, settings: Settings) -> Stripped:
    """Take metadata out of a photo.

    Parameters
    ----------
    path : pathlib.Path
    settings : Settings
        Bounds on what is decoded.

    Raises
    ------
    ValueError
        When it can't be read as a picture.
    OSError
        When the file can't be read.
    """
    data = path.read_bytes()
    way = {"JPEG": _jpeg, "PNG": _png, "WEBP": _webp}.get(sniff_format(data[:64]) or "")
    if way is not None:
        try:
            return Stripped(way(data), "", LOSSLESS)
        except (ValueError, struct.error, IndexError):
            pass  # damaged around the picture; what can be decoded is written anew
    return Stripped(_rewritten(path, settings), ".png", REWRITTEN)


def _orientation(data: bytes) -> int:
    try:
        with Image.open(io.BytesIO(data)) as image:
            found = image.getexif().get(_ORIENTATION, 1)
    except Exception:  # Pillow raises a dozen kinds on damaged Exif; none tells a turn
        return 1
    return found if isinstance(found, int) and 1 <= found <= 8 else 1


def _exif(orientation: int) -> bytes:
    """TIFF block that says which way up, and nothing else."""
    return b"MM\x00\x2a" + struct.pack(">IHHHIHHI", 8, 1, _ORIENTATION, 3, 1, orientation, 0, 0)


def _jpeg(data: bytes) -> bytes:
    turned = _orientation(data)
    blocks = [(m, b) for m, b in _jpeg_blocks(data) if _jpeg_kept(m, b)]
    if any(word in block for _, block in blocks for word in _FOREIGN):
        raise ValueError("metadata inside of the picture")
    if turned != 1:
        payload = b"Exif\x00\x00" + _exif(turned)
        app1 = b"\xff\xe1" + struct.pack(">H", len(payload) + 2) + payload
        blocks.insert(1 if blocks[0][0] == _JFIF else 0, (_EXIF, app1))
    return b"\xff\xd8" + b"".join(block for _, block in blocks)


_FOREIGN = (b"Exif\x00\x00", b"http://ns.adobe.com", b"8BIM")
"""Beginnings of metadata: where one stands inside a block that is kept, a length is damaged."""


def _jpeg_kept(marker: int, block: bytes) -> bool:
    if marker == _JFIF:  # without the small preview that may stand in it
        return block[4:9] == b"JFIF\x00" and block[16:18] == b"\x00\x00"
    if marker == 0xE2:
        return block[4:16] == b"ICC_PROFILE\x00"
    if marker == 0xEE:
        return block[4:9] == b"Adobe"
    return marker not in _APP and marker != 0xFE


def _jpeg_blocks(data: bytes) -> Iterator[tuple[int, bytes]]:
    """Marker and bytes of each block after the first two bytes, up to the picture's end.

    What follows the end (second pictures, trailers that some phones write) is left out.
    """
    at = 2
    while True:
        if data[at : at + 1] != b"\xff":
            raise ValueError("no marker where one must be")
        while data[at + 1 : at + 2] == b"\xff":  # fill bytes
            at += 1
        if at + 2 > len(data):
            raise ValueError("cut off")
        marker = data[at + 1]
        if marker == _EOI:
            yield marker, b"\xff\xd9"
            return
        if marker in _STANDALONE:
            yield marker, data[at : at + 2]
            at += 2
            continue
        size = struct.unpack(">H", data[at + 2 : at + 4])[0] if at + 4 <= len(data) else 0
        end = at + 2 + size
        if size < 2 or end > len(data):
            raise ValueError("cut off")
        if marker == _SOS:
            end = _scan_end(data, end)
        yield marker, data[at:end]
        at = end


def _scan_end(data: bytes, at: int) -> int:
    """Where the coded picture ends: at a marker that is neither stuffing nor a restart."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            raise ValueError("cut off")
        code = data[at + 1]
        if code == 0xFF:
            at += 1
        elif code == 0 or 0xD0 <= code <= 0xD7:
            at += 2
        else:
            return at


def _png(data: bytes) -> bytes:
    turned = _orientation(data)
    out, at = [_PNG], len(_PNG)
    while True:
        head = data[at : at + 8]
        if len(head) < 8:
            raise ValueError("cut off")
        size, name = struct.unpack(">I4s", head)
        end = at + 12 + size
        if end > len(data):
            raise ValueError("cut off")
        if name in _PNG_KEPT:
            if zlib.crc32(data[at + 4 : end - 4]) != struct.unpack(">I", data[end - 4 : end])[0]:
                raise ValueError("damaged")
            out.append(data[at:end])
        if name == b"IHDR" and turned != 1:
            out.append(_png_chunk(b"eXIf", _exif(turned)))
        if name == b"IEND":
            return b"".join(out)
        at = end


def _png_chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def _webp(data: bytes) -> bytes:
    if b"ANIM" in data[12:64]:
        raise ValueError("several pictures")
    turned = _orientation(data)
    end = min(8 + struct.unpack("<I", data[4:8])[0], len(data))
    out: list[bytes] = []
    at = 12
    extended = False
    while at + 8 <= end:
        name, size = struct.unpack("<4sI", data[at : at + 8])
        stop = at + 8 + size + (size & 1)
        if at + 8 + size > end:
            raise ValueError("cut off")
        block = data[at:stop].ljust(8 + size + (size & 1), b"\x00")
        if name == b"VP8X":
            extended = True
            flags = (block[8] & ~_WEBP_META) | (0x08 if turned != 1 else 0)
            block = block[:8] + bytes([flags]) + block[9:]
        if name in _WEBP_KEPT:
            if any(word in block for word in (b"EXIF", b"XMP ", b"II*\x00", b"MM\x00*")):
                raise ValueError("metadata inside of the picture")
            out.append(block)
        at = stop
    if turned != 1 and extended:
        exif = _exif(turned)
        out.append(b"EXIF" + struct.pack("<I", len(exif)) + exif + b"\x00" * (len(exif) & 1))
    body = b"WEBP" + b"".join(out)
    return b"RIFF" + struct.pack("<I", len(body)) + body


def _rewritten(path: Path, settings: Settings) -> bytes:
    """Decode and write as PNG."""
    try:
        photo = read_photo(path, settings)
    except PhotoError as exc:
        raise ValueError(exc.what) from exc
    out = io.BytesIO()
    Image.fromarray(photo.rgb).save(out, "PNG")
    return out.getvalue()
