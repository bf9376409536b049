"""Tell what a file is from its first bytes, before any decoder touches it."""

from __future__ import annotations

import struct

_HEIF_BRANDS = {b"heic", b"heix", b"hevc", b"hevx", b"heim", b"heis", b"mif1", b"msf1"}
_OTHERS = (
    (b"GIF8", "a GIF"),
    (b"BM", "a BMP"),
    (b"%PDF", "a PDF"),
    (b"PK\x03\x04", "a ZIP archive or an office document"),
    (b"\x1a\x45\xdf\xa3", "a video"),
    (b"8BPS", "a layered picture (PSD)"),
    (b"\xff\x0a", "a JPEG XL"),
    (b"\x00\x00\x00\x0cJXL ", "a JPEG XL"),
    (b"FUJIFILMCCD-RAW", "a camera's raw file"),
    (b"IIU\x00", "a camera's raw file"),
)


def sniff_format(head: bytes) -> str | None:
    """Name the picture format of a file by its first bytes.

    Parameters
    ----------
    head : bytes
        At least the first 32 bytes, where the file has as many.

    Returns
    -------
    str or None
        ``JPEG``, ``PNG``, ``TIFF``, ``WEBP``, ``HEIF``, or None for anything else.
    """
    if head.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if head[:4] in (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+"):
        return "TIFF"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "WEBP"
    if head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS:
        return "HEIF"
    return None


def describe_other(head: bytes) -> str:
    """Say what a file that is none of our formats seems to be, with its article."""
    for magic, words in _OTHERS:
        if head.startswith(magic):
            return words
    if head[4:8] == b"ftyp":
        return "an AVIF" if head[8:12] in (b"avif", b"avis") else "a video"
    if b"\x00" not in head:
        try:
            head.decode("utf-8")
        except UnicodeDecodeError as exc:
            # A sample may end in the middle of a character; that alone is still text.
            if exc.start < len(head) - 3:
                return "something other than a picture"
        return "text"
    return "something other than a picture"


def webp_size(head: bytes) -> tuple[int, int] | None:
    """Read width and height from a WebP header (RFC 9649), or None when it can't be told.

    Pillow's WebP reader allocates the whole canvas on opening, so that a size
    bomb must be seen before.
    """
    kind = head[12:16]
    if len(head) < 30:
        return None
    if kind == b"VP8X":
        width = 1 + int.from_bytes(head[24:27], "little")
        return width, 1 + int.from_bytes(head[27:30], "little")
    if kind == b"VP8L":
        bits = int.from_bytes(head[21:25], "little")
        return 1 + (bits & 0x3FFF), 1 + ((bits >> 14) & 0x3FFF)
    if kind == b"VP8 ":
        width, height = struct.unpack("<HH", head[26:30])
        return width & 0x3FFF, height & 0x3FFF
    return None
