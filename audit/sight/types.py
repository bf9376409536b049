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
    linear : (h, w, 3) float32
        Linear sRGB after white balance, 0 to 1.5.
    scale : float
        px of the full photo for one px here (>= 1).
    balance : float
        Confidence of the white balance, 0 to 1.
    """

    linear: F32
    scale: float
    balance: float

    @property
    def shape(self) -> tuple[int, int]:
        """Height and width, px."""
        h, w = self.linear.shape[:2]
        return h, w


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
        return np.asarray(self.prob.argmax(-1), np.uint8)


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
    copper_pieces: tuple[Strand, ...] = ()
    """Copper before its pieces are joined through what hides them."""
    notes: tuple[str, ...] = field(default=())
    step: float = 2.0
    """px of the analysis picture for one px of the map they were found on."""


@dataclass(frozen=True)
class Line:
    """A straight feature across a cable.

    Parameters
    ----------
    points : (2, 2) float64
        Its two ends on the cable's edges, px of the analysis picture.
    at : float
        Where it crosses the cable's axis, px along the axis.
    sd : float
        Standard uncertainty of `at`, px of the analysis picture.
    origin : str
        `found` or `mark`.
    """

    points: F64
    at: float
    sd: float
    origin: str = "found"


@dataclass(frozen=True)
class Tip:
    """The inner end of one core, and what lies beyond it.

    Parameters
    ----------
    core : int
        Index in `Strands.cores`; -1 for a bare conductor (index in `coppers` is `copper`).
    copper : int
        Index in `Strands.coppers` for a bare conductor, in `Strands.copper_pieces` for copper of no core, else -1.
    cable : str or None
    colour : str
        Colour name of the contract.
    path : (n, 2) float64
        From the outer end of the core to the end of its insulation.
    width : float
        Width of the core, px.
    copper_path : (m, 2) float64
        From the end of the insulation along bare copper; two points when there is none.
    copper_px : float
        Length of bare copper seen, px.
    copper_sd : float
        Standard uncertainty of that, px.
    ends_at : str
        `terminal`, `open`, `leaves_picture` or `hidden`.
    mouth_seen : bool
        Whether what lies past the insulation (or copper) is plainly a terminal.
    doubt : str
        Why it may be misread; empty when nothing speaks against it.
    confidence : float
        0 to 1, how plainly the end was read.
    colour_score : float
        0 to 1, mean probability of the core's colour along it.
    evidence : (F,) or (n, F) float32 or None
        From `audit.sight.evidence`, of one look or of several; None where a mark changed the end.
    once : bool
        Whether one look at the photo alone saw it, and not what is read of both looks' maps joined.
    others : tuple of Tip
        As other looks at the photo read it.
    """

    core: int
    copper: int
    cable: str | None
    colour: str
    path: F64
    width: float
    copper_path: F64
    copper_px: float
    copper_sd: float
    ends_at: str
    mouth_seen: bool
    doubt: str = ""
    confidence: float = 1.0
    colour_score: float = 1.0
    evidence: F32 | None = None
    once: bool = False
    others: tuple[Tip, ...] = ()


@dataclass(frozen=True)
class CableReading:
    """One cable along its path, outside to inside.

    Parameters
    ----------
    id : str
    sheath_colour : str
        `grey`, `white`, `black` or `unknown`.
    axis : (n, 2) float64
        Sheath, then the middle of its cores, px of the analysis picture.
    s : (n,) float64
        Length along the axis, px.
    width : float
        Width of the cable, px.
    edge : Line or None
        Where the sheath ends.
    edge_seen : bool
        False when the sheath runs under something and is not seen to end.
    wall, grip_out, grip_in : Line or None
    kind : str
        `clamp`, `moulded`, `none` or `unknown`.
    spans : tuple of (what, from, to)
        Runs along the axis, px.
    cores : tuple of int
        Indices of its cores in `Strands.cores`.
    has_sheath : bool
    cpc : str
        `sleeved`, `bare`, `cut_short`, `none_comes_out` or `not_seen`.
    doubts : tuple of str
    evidence : (F,) or (n, F) float32 or None
        From `audit.sight.evidence`, of one look or of several; None where a mark changed the entry.
    lead_seen : bool
        False where the cable outside was followed by its edges alone, not by sheath in the map, or
        where what was taken for sheath behind the grip looks unlike it.
    once : bool
        Whether one look at the photo alone saw it, and not what is read of both looks' maps joined.
    others : tuple of CableReading
        As other looks at the photo read it.
    """

    id: str
    sheath_colour: str
    axis: F64
    s: F64
    width: float
    edge: Line | None
    edge_seen: bool
    wall: Line | None
    grip_out: Line | None
    grip_in: Line | None
    kind: str
    spans: tuple[tuple[str, float, float], ...]
    cores: tuple[int, ...]
    has_sheath: bool
    cpc: str = "not_seen"
    doubts: tuple[str, ...] = ()
    evidence: F32 | None = None
    lead_seen: bool = True
    once: bool = False
    others: tuple[CableReading, ...] = ()


@dataclass(frozen=True)
class Readings:
    """All cables and ends of a picture."""

    cables: tuple[CableReading, ...] = ()
    tips: tuple[Tip, ...] = ()
    again: tuple[Readings, ...] = ()
    """How each other look read those of the cables, by the same names, that it saw as well."""
