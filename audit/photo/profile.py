"""Embedded colour profiles (ICC.1) to sRGB, through Pillow's ImageCms."""

from __future__ import annotations

import io
from functools import lru_cache

import numpy as np
from PIL import Image, ImageCms

_SPACE_OF_MODE = {"RGB": "RGB", "L": "GRAY", "CMYK": "CMYK"}


def to_srgb(image: Image.Image, profile: bytes | None, notes: list[str]) -> Image.Image:
    """Convert an 8-bit picture to sRGB by its embedded profile.

    Relative colorimetric. A profile that is sRGB itself (it changes no colour
    of a probe by more than one code value) is skipped, which spares most
    photos the conversion. A damaged profile, or one for another kind of
    picture, is ignored and noted.

    Parameters
    ----------
    image : PIL.Image.Image
        Mode ``RGB``, ``L`` or ``CMYK``.
    profile : bytes or None
        The ICC profile as embedded.
    notes : list of str
        Gets a line when something was converted or ignored.

    Returns
    -------
    PIL.Image.Image
        Mode ``RGB``.
    """
    if not profile:
        if image.mode == "CMYK":
            notes.append("CMYK without a profile: colours are approximate")
        return image if image.mode == "RGB" else image.convert("RGB")
    transform, name = _transform(profile, image.mode)
    if name is None:
        notes.append("the embedded colour profile can't be used and is ignored")
    if transform is None:
        return image if image.mode == "RGB" else image.convert("RGB")
    notes.append(f"converted to sRGB from the embedded profile {name!r}")
    converted = ImageCms.applyTransform(image, transform)
    assert converted is not None  # only None with inPlace
    return converted


@lru_cache(maxsize=16)
def _transform(profile: bytes, mode: str) -> tuple[ImageCms.ImageCmsTransform | None, str | None]:
    """The transform (None: nothing to do) and the profile's name (None: useless)."""
    try:
        source = ImageCms.ImageCmsProfile(io.BytesIO(profile))
        if source.profile.xcolor_space.strip() != _SPACE_OF_MODE.get(mode):
            return None, None
        name = (source.profile.profile_description or "without a name").strip()
        transform = ImageCms.buildTransform(
            source,
            ImageCms.createProfile("sRGB"),
            mode,
            "RGB",
            renderingIntent=ImageCms.Intent.RELATIVE_COLORIMETRIC,
        )
    except (ImageCms.PyCMSError, OSError, ValueError, TypeError, AttributeError):
        return None, None
    return (None if _changes_nothing(transform, mode) else transform), name


def _changes_nothing(transform: ImageCms.ImageCmsTransform, mode: str) -> bool:
    if mode == "CMYK":
        return False
    steps = np.linspace(0, 255, 18).round().astype(np.uint8)
    if mode == "L":
        probe = np.tile(steps, (2, 1))
    else:
        grid = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), axis=-1)
        probe = grid.reshape(18, -1, 3)
    before = Image.fromarray(probe)
    after = ImageCms.applyTransform(before, transform)
    expected = np.asarray(before.convert("RGB"), dtype=int)
    return int(np.abs(np.asarray(after, dtype=int) - expected).max()) <= 1
