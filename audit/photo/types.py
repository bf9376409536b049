"""What the Photo stage hands on."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class Photo:
    """One decoded photo, upright, in sRGB.

    Parameters
    ----------
    path : pathlib.Path
        As it was given.
    name : str
        File name without folders.
    sha256 : str
        Hexadecimal digest of the file as it lies on the disk (64 characters).
    rgb : numpy.ndarray
        Shape (H, W, 3), uint8, sRGB (IEC 61966-2-1), upright, full size, read-only.
    taken : datetime.datetime or None
        When it was taken: local time without a zone, as Exif says; None when it does not.
    utc_offset : str or None
        The zone Exif gives beside it, such as ``+01:00``.
    format : str
        What the content is (``JPEG``, ``PNG``, ``TIFF``, ``WEBP``, ``HEIF``), whatever the name
        says.
    orientation : int
        Exif orientation of the file, 1 to 8; `rgb` is already turned upright.
    focal_35mm : float or None
        35 mm equivalent focal length in mm, where Exif has it.
    notes : tuple of str
        What was done or left out on the way, in words for a person.
    """

    path: Path
    name: str
    sha256: str
    rgb: NDArray[np.uint8] = field(repr=False)
    taken: datetime | None = None
    utc_offset: str | None = None
    format: str = "JPEG"
    orientation: int = 1
    focal_35mm: float | None = None
    notes: tuple[str, ...] = ()

    @property
    def width(self) -> int:
        """Width in px, upright."""
        return int(self.rgb.shape[1])

    @property
    def height(self) -> int:
        """Height in px, upright."""
        return int(self.rgb.shape[0])

    @classmethod
    def from_array(cls, rgb: NDArray[np.uint8], name: str = "photo.png") -> Photo:
        """Wrap an array that never was a file (synthetic scenes, crops).

        Parameters
        ----------
        rgb : numpy.ndarray
            Shape (H, W, 3), uint8, sRGB.
        name : str
            Stands in for the file name.

        Returns
        -------
        Photo
            With an empty `sha256`.
        """
        return cls(path=Path(name), name=name, sha256="", rgb=rgb, format="array")
