"""What a scene is put together from: meshes with a look and a material id, and what they mean."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

import numpy as np
from numpy.typing import NDArray

from .curves import Axis
from .mesh import Mesh

F = NDArray[np.float64]

IDS: Final[dict[str, int]] = {
    "other": 0, "sheath": 1, "brown": 2, "blue": 3, "green-and-yellow": 4, "red": 5, "black": 6,
    "grey": 7, "copper": 8, "enclosure": 9, "grip": 10, "terminal": 11, "zinc": 12, "card": 13, "brass": 14,
}  # fmt: skip


@dataclass(frozen=True)
class Look:
    """How a surface looks.

    ``kind``: plastic, matt, copper, brass, zinc. ``colour``: sRGB 0..255 or a texture (H, W, 3)
    float sRGB 0..1. ``rough``: microfacet alpha. ``clear``: opacity 0..1 below 1 lets
    light through. ``thrice``: the texture spans u from -1 to 2 (stripes round a core).
    """

    kind: str
    colour: tuple[float, float, float] | None = None
    texture: NDArray[np.float32] | None = None
    rough: float = 0.2
    clear: float = 1.0
    thrice: bool = False


@dataclass(frozen=True)
class Part:
    """A mesh, its look, its id in the ids map, and a tag that names what it is (``core:c1:brown``)."""

    mesh: Mesh
    look: Look
    what: str
    tag: str


@dataclass(frozen=True)
class Entry:
    """Where a cable comes in. Places along the cable (mm) from the wall's outer face, inwards positive."""

    kind: str
    point: F
    inward: F
    wall_mm: float
    grip_out: float | None
    grip_in: float | None
    height: float


@dataclass(frozen=True)
class Mouth:
    """A terminal's mouth: middle of its face, outward direction, pole, side, free radius."""

    point: F
    outward: F
    pole: int
    radius: float


@dataclass(frozen=True)
class LaidBare:
    """A stretch of a core without its insulation, mm along the core's path.

    ``facing``: the angle round the core, in radians, of the middle of what is missing, a third of the
    way round; None: it is missing all round.
    """

    start: float
    stop: float
    facing: float | None = None


@dataclass
class Core:
    """One core: path (N, 3) evenly spaced from inside the sheath; arc lengths along it where things change.

    ``start`` at the sheath edge, ``insulated`` to, ``end`` at the terminal's face or the open end.
    ``bare`` and ``sleeve`` describe a CPC: sleeve from .. to, or none.
    """

    cable: str
    name: str
    colour: str
    path: F
    start: float
    insulated: float
    end: float
    ends_at: str
    radius: float
    conductor: float
    sleeve: tuple[float, float] | None = None
    bare: bool = False
    copper_mm: float | None = None
    laid_bare: LaidBare | None = None


@dataclass
class Cable:
    """One cable: its axis, entry and where its sheath stops."""

    id: str
    plan_index: int
    axis: Axis
    entry: Entry
    half: tuple[float, float]
    sheath_stop: float
    cores: list[Core] = field(default_factory=list)
    cpc: str = "insulated"


@dataclass
class Fitting:
    """All parts of a fitting and what the truth is made from."""

    parts: list[Part]
    cables: list[Cable]
    mouths: list[Mouth]
    outline: F
    height: float
    poles: int


def srgb_to_linear(c: F) -> F:
    """sRGB 0..1 to linear 0..1 (IEC 61966-2-1)."""
    c = np.asarray(c, float)
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4)


def linear_to_srgb(c: F) -> F:
    """Linear 0..1 to sRGB 0..1 (IEC 61966-2-1)."""
    c = np.clip(c, 0, 1)
    return np.where(c <= 0.0031308, 12.92 * c, 1.055 * c ** (1 / 2.4) - 0.055)


def between(
    rng: np.random.Generator, ends: tuple[tuple[int, int, int], tuple[int, int, int]]
) -> tuple[float, float, float]:
    """A colour on the line between two, with a little scatter."""
    t = rng.random()
    c = np.array(ends[0]) * (1 - t) + np.array(ends[1]) * t + rng.normal(0, 3, 3)
    c = np.clip(c, 4, 250)
    return float(c[0]), float(c[1]), float(c[2])


def jittered(
    rng: np.random.Generator, colour: tuple[int, int, int], by: float = 4
) -> tuple[float, float, float]:
    """A colour with a little scatter."""
    c = np.clip(np.array(colour) + rng.normal(0, by) + rng.normal(0, by / 3, 3), 4, 250)
    return float(c[0]), float(c[1]), float(c[2])
