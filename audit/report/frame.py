"""The part of a photo that the stages' pictures show: the work, as large as the picture allows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from audit.sight.types import Readings

_WIDE = 1600
"""Width of a stage's picture, px."""
_MOST = 3.0
"""Times that a photo is enlarged at most: more shows no more."""
_WHOLE = 0.8
"""Of the photo's width; a part wider than this is not worth cutting out."""


@dataclass(frozen=True)
class Frame:
    """A part of the analysis picture, and how large it is drawn.

    Parameters
    ----------
    box : tuple of float
        x0, y0, x1, y1 in px of the analysis picture, within it.
    factor : float
        px of the drawing for one px of the analysis picture.
    """

    box: tuple[float, float, float, float]
    factor: float

    @property
    def size(self) -> tuple[int, int]:
        """Width and height of the drawing, px."""
        x0, y0, x1, y1 = self.box
        return (round((x1 - x0) * self.factor), round((y1 - y0) * self.factor))

    def at(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points of the analysis picture, in px of the drawing."""
        return np.asarray((points - np.array(self.box[:2])) * self.factor)

    def holds(self, points: NDArray[np.float64]) -> bool:
        """Whether any of these points of the analysis picture lies in the part."""
        x0, y0, x1, y1 = self.box
        x, y = np.atleast_2d(points).T
        return bool(((x >= x0) & (x <= x1) & (y >= y0) & (y <= y1)).any())

    def cut(self, picture: Image.Image, scale: float = 1.0, how: int = 3) -> Image.Image:
        """The part, drawn so large, of a picture `scale` times as large as the analysis picture.

        `how` is Pillow's filter, bicubic unless given.
        """
        x0, y0, x1, y1 = (v * scale for v in self.box)
        # A map's sides are whole px: its last one may lie a little short of the picture's border.
        box = (x0, y0, min(x1, picture.width), min(y1, picture.height))
        return picture.resize(self.size, Image.Resampling(how), box=box)


def whole(size: tuple[int, int]) -> Frame:
    """All of a picture, as wide as the pictures of the stages are."""
    return Frame((0.0, 0.0, *size), min(_MOST, _WIDE / size[0]))


def frame_of(readings: Readings, size: tuple[int, int]) -> Frame:
    """The part that holds the cores of every cable, its lines and some of its sheath.

    Parameters
    ----------
    readings : Readings
    size : tuple of int
        Width and height of the analysis picture, px.

    Returns
    -------
    Frame
        The whole picture where no cable was read, or the work fills it.
    """
    points = [t.path for t in readings.tips if t.cable is not None]
    for cable in readings.cables:
        lines = (cable.wall, cable.grip_out, cable.grip_in, cable.edge)
        points += [line.points for line in lines if line is not None]
        first = min([line.at for line in lines if line is not None], default=0.0)
        points.append(cable.axis[cable.s >= first - 3 * cable.width])
    points = [p for p in points if len(p)]
    if not points:
        return whole(size)
    every = np.concatenate(points)
    low, high = every.min(0), every.max(0)
    pad = 0.16 * float((high - low).max()) + 10
    middle = (low + high) / 2
    wide, tall = (float(v) for v in high - low + 2 * pad)
    # Not flatter than 5:3 nor taller than 1:1, so that names find room beside things.
    wide = max(wide, tall)
    tall = max(tall, 0.6 * wide)
    if wide > _WHOLE * size[0] or tall > _WHOLE * size[1]:
        return whole(size)
    x0 = float(np.clip(middle[0] - wide / 2, 0, size[0] - wide))
    y0 = float(np.clip(middle[1] - tall / 2, 0, size[1] - tall))
    return Frame((x0, y0, x0 + wide, y0 + tall), min(_MOST, _WIDE / wide))
