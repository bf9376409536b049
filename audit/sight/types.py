"""What the stages of seeing hand on: material map, strands, readings.

Coordinates are px of the analysis picture unless a name says otherwise
(`AnalysisImage.scale` turns them into px of the upright full-size photo).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]
F64 = NDArray[np.float64]


class Material(IntEnum):
    """Ids of the material map, as written by `lidoff look --masks`."""

    OTHER = 0
    SHEATH = 1
    BROWN = 2
    BLUE = 3
    GREEN_YELLOW = 4
    RED = 5
    BLACK = 6
    GREY_CORE = 7
    COPPER = 8
    ENCLOSURE = 9
    GRIP = 10
    TERMINAL = 11
    STEEL = 12
    CARD = 13
    BRASS = 14


CORE_COLOUR: dict[Material, str] = {
    Material.BROWN: "brown",
    Material.BLUE: "blue",
    Material.GREEN_YELLOW: "green-and-yellow",
    Material.RED: "red",
    Material.BLACK: "black",
    Material.GREY_CORE: "grey",
    Material.COPPER: "bare",
}
CORES = tuple(m for m in CORE_COLOUR if m is not Material.COPPER)


@dataclass(frozen=True)
class AnalysisImage:
    """The picture that is analysed: reduced, white-balanced, exposure set.

    Parameters
    ----------
    rgb : (h, w, 3) float32
        sRGB-encoded, 0 to 1, after white balance.
    linear : (h, w, 3) float32
        The same, linear.
    scale : float
        px of the full photo for one px here (>= 1).
    balance : float
        Confidence of the white balance, 0 to 1.
    """

    rgb: F32
    linear: F32
    scale: float
    balance: float


@dataclass(frozen=True)
class MaterialMap:
    """Probability of each material at each pixel of the map.

    Parameters
    ----------
    prob : (h, w, 15) float32
        Sums to 1 over the last axis; index is `Material`.
    step : float
        px of the analysis picture for one px of the map.
    """

    prob: F32
    step: float

    @property
    def ids(self) -> NDArray[np.uint8]:
        """Most probable material, (h, w) uint8."""
        return self.prob.argmax(-1).astype(np.uint8)


@dataclass(frozen=True)
class Strand:
    """One elongated piece of one material.

    Parameters
    ----------
    material : Material
    path : (n, 2) float64
        Centre line, x and y, in px of the analysis picture, evenly spaced.
    width : (n,) float64
        Full width across the path at each point, px.
    score : float
        Mean probability of the material along the path.
    """

    material: Material
    path: F64
    width: F64
    score: float

    @property
    def length(self) -> float:
        """Length along the path, px."""
        return float(np.hypot(*np.diff(self.path, axis=0).T).sum())


@dataclass(frozen=True)
class Strands:
    """All strands of a picture."""

    cores: tuple[Strand, ...] = ()
    sheaths: tuple[Strand, ...] = ()
    coppers: tuple[Strand, ...] = ()
    notes: tuple[str, ...] = field(default=())
