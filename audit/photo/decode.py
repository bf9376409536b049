"""Read a photo file: upright, full size, 8-bit sRGB. Through Pillow alone."""

from __future__ import annotations

import hashlib
import io
import os
import stat
import struct
import threading
import warnings
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps, UnidentifiedImageError

from audit.errors import PhotoError, Where
from audit.photo.exif import read_exif
from audit.photo.profile import to_srgb
from audit.photo.sniff import describe_other, sniff_format, webp_size
from audit.photo.types import Photo
from audit.settings import Settings

MIN_SIDE_PX = 32
"""Smaller pictures show nothing that could be judged, and most filters need as much."""
NEUTRAL = 128
"""Grey (8-bit sRGB) that stands behind transparent pixels."""
_ACCEPTED = "JPEG, PNG, TIFF, WebP or HEIC"
_SEND_AGAIN = "copy it from the phone or camera again"
_EXTRA_FLAGS = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_DECODER_ERRORS = (
    UnidentifiedImageError,
    OSError,
    ValueError,
    SyntaxError,
    TypeError,
    KeyError,
    IndexError,
    EOFError,
    OverflowError,
    RuntimeError,
    struct.error,
)
"""What Pillow's readers raise on damaged files."""
_open_lock = threading.Lock()


def read_photo(path: Path | str, settings: Settings | None = None) -> Photo:
    """Read one photo.

    What the content is decides, not the name's ending. Exif orientation is
    applied, an embedded profile is converted to sRGB (ICC.1; relative
    colorimetric), transparency is laid over neutral grey, and of an animation
    or a multi-page file the first picture is taken. Nothing else about the
    pixels is changed.

    Parameters
    ----------
    path : path
    settings : audit.settings.Settings, optional
        `max_pixels` and `max_file_mb` are heeded.

    Returns
    -------
    audit.photo.types.Photo

    Raises
    ------
    audit.errors.PhotoError
        When it can't be read: missing, no ordinary file, empty, no picture,
        cut short, too large or too small. Says where and what to do next.
    """
    settings = settings or Settings()
    path = Path(path)
    where = Where(path)
    data = _read_file(path, where, settings)
    kind = sniff_format(data[:64])
    if kind is None:
        raise PhotoError(
            f"this is {describe_other(data[:4096])}, not a photo",
            where,
            f"give a {_ACCEPTED} file",
        )
    _refuse_size(webp_size(data[:64]) if kind == "WEBP" else None, where, settings)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Pillow warns of odd metadata; nothing a person can mend
        image = _open(data, kind, where)
        _refuse_size(image.size, where, settings)
        exif = read_exif(image)
        rgb, notes = _pixels(image, where)
    return Photo(
        path=path,
        name=path.name,
        sha256=hashlib.sha256(data).hexdigest(),
        rgb=rgb,
        taken=exif.taken,
        utc_offset=exif.utc_offset,
        format=kind,
        orientation=exif.orientation,
        focal_35mm=exif.focal_35mm,
        notes=tuple(notes),
    )


def _read_file(path: Path, where: Where, settings: Settings) -> bytes:
    """Read an ordinary file whole, refusing what is none, is empty or is too large."""
    try:
        # Not blocking: opening a pipe that nobody writes to would hang the run.
        handle = os.open(path, os.O_RDONLY | _EXTRA_FLAGS)
    except FileNotFoundError as exc:
        raise PhotoError("there is no such file", where, "check the name") from exc
    except PermissionError as exc:
        raise PhotoError(
            "the file may not be read (permission denied)",
            where,
            "give yourself the right to read it",
        ) from exc
    except (OSError, ValueError) as exc:
        reason = getattr(exc, "strerror", None) or str(exc)
        raise PhotoError(f"the file can't be opened ({reason})", where, "check the file") from exc
    try:
        _refuse_kind(os.fstat(handle), where, settings)
        with os.fdopen(handle, "rb", closefd=False) as file:
            return file.read()
    except OSError as exc:
        raise PhotoError(f"the file can't be read ({exc.strerror})", where, _SEND_AGAIN) from exc
    finally:
        os.close(handle)


def _refuse_kind(facts: os.stat_result, where: Where, settings: Settings) -> None:
    if stat.S_ISDIR(facts.st_mode):
        raise PhotoError("this is a folder, not a photo", where, "name the photos in it")
    if not stat.S_ISREG(facts.st_mode):
        raise PhotoError("this is a device or a pipe, not a file", where, "give a photo file")
    if facts.st_size == 0:
        raise PhotoError("the file is empty (0 bytes)", where, _SEND_AGAIN)
    if facts.st_size > settings.max_file_mb * 1_000_000:
        raise PhotoError(
            f"the file has {facts.st_size / 1e6:.0f} MB, "
            f"more than the {settings.max_file_mb} MB allowed",
            where,
            "raise the setting max_file_mb, or give a smaller copy",
        )


def _open(data: bytes, kind: str, where: Where) -> Image.Image:
    """Open the header alone, with our own limit of size instead of Pillow's."""
    if kind == "HEIF":
        _register_heif(where)
    try:
        with _open_lock:
            limit, Image.MAX_IMAGE_PIXELS = Image.MAX_IMAGE_PIXELS, None
            try:
                return Image.open(io.BytesIO(data), formats=[kind])
            finally:
                Image.MAX_IMAGE_PIXELS = limit
    except _DECODER_ERRORS as exc:
        raise PhotoError(f"the {kind} file is damaged at its start", where, _SEND_AGAIN) from exc


def _register_heif(where: Where) -> None:
    try:
        import pillow_heif
    except ImportError as exc:
        raise PhotoError(
            "HEIC photos need an extra part that is not installed",
            where,
            "run: pip install 'lidoff[heic]', or let the phone save JPEG",
        ) from exc
    pillow_heif.register_heif_opener()


def _refuse_size(size: tuple[int, int] | None, where: Where, settings: Settings) -> None:
    if size is None:
        return
    width, height = size
    if width * height > settings.max_pixels:
        raise PhotoError(
            f"the picture claims {width} x {height} pixels, more than the "
            f"{settings.max_pixels / 1e6:.0f} million allowed",
            where,
            "raise the setting max_pixels if it is a real photo, or give a smaller copy",
        )
    if min(width, height) < MIN_SIDE_PX:
        raise PhotoError(
            f"the picture is only {width} x {height} pixels, too small to show anything",
            where,
            "give the photo in full size",
        )


def _pixels(image: Image.Image, where: Where) -> tuple[NDArray[np.uint8], list[str]]:
    """Decode, turn upright, bring to 8-bit sRGB."""
    kind = str(image.format)
    notes: list[str] = []
    profile = image.info.get("icc_profile")
    try:
        # Counting the pictures of a file reads it, and may find the damage.
        if getattr(image, "n_frames", 1) > 1 and kind not in ("MPO", "HEIF"):
            notes.append("several pictures in one file: the first is used")
        image.load()
        ImageOps.exif_transpose(image, in_place=True)
    except _DECODER_ERRORS as exc:
        short = "truncated" in str(exc) or isinstance(exc, EOFError)
        what = f"the {kind} file is cut short" if short else f"the {kind} file is damaged ({exc})"
        raise PhotoError(what, where, _SEND_AGAIN) from exc
    flat = _eight_bit(image, where, notes)
    rgb = to_srgb(flat, profile, notes)
    pixels: NDArray[np.uint8] = np.asarray(rgb)
    pixels.flags.writeable = False
    return pixels, notes


def _eight_bit(image: Image.Image, where: Where, notes: list[str]) -> Image.Image:
    """Bring any mode to 8-bit RGB, L or CMYK without transparency."""
    if image.mode in ("RGB", "L", "CMYK"):
        if "transparency" not in image.info:
            return image
        return _over_neutral(image.convert("RGBA"), notes)
    if image.mode in ("I", "I;16", "I;16L", "I;16B", "I;16N"):
        return _grey_16(image, where, notes)
    if image.mode in ("P", "PA", "LA", "La", "RGBA", "RGBa"):
        if image.mode == "P" and "transparency" not in image.info:
            return image.convert("RGB")
        if image.mode == "La":
            image = image.convert("LA")
        return _over_neutral(image.convert("RGBA"), notes)
    if image.mode in ("1", "YCbCr", "RGBX"):
        return image.convert("RGB")
    raise PhotoError(
        f"the picture's values are of a kind that is not read ({image.mode})",
        where,
        "save it as an ordinary 8-bit JPEG or PNG",
    )


def _grey_16(image: Image.Image, where: Where, notes: list[str]) -> Image.Image:
    wide = np.asarray(image).astype(np.int64)
    if wide.min() < 0 or wide.max() > 65535:
        raise PhotoError(
            "the picture holds values beyond 16 bit",
            where,
            "save it as an ordinary 8-bit JPEG or PNG",
        )
    notes.append("16-bit grey brought to 8 bit")
    return Image.fromarray(((wide * 255 + 32767) // 65535).astype(np.uint8))


def _over_neutral(image: Image.Image, notes: list[str]) -> Image.Image:
    if image.getchannel("A").getextrema() == (255, 255):
        return image.convert("RGB")
    notes.append("transparent parts are shown as neutral grey")
    ground = Image.new("RGBA", image.size, (NEUTRAL, NEUTRAL, NEUTRAL, 255))
    return Image.alpha_composite(ground, image).convert("RGB")
