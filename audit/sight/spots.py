"""Spots that look like a fault, told without following any cable or core.

Where a cable is not made out in the map, nothing is read along it, and what is wrong there would be passed over in
silence. Here boosted trees look at every spot by a core of about a millimetre (`audit.sight.spot_features`) and say
how likely a fault of each kind has its middle there, and how far it reaches. A sliding window over a map's channels:
Dollár et al., Integral Channel Features (BMVC 2009).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from audit.resources import models_dir
from audit.sight.materials import stored
from audit.sight.spot_features import Grid, grid_of, spot_features, worth_asking
from audit.sight.types import F32, F64, AnalysisImage, MaterialMap

COPPER, WALL, GRIP, CUT, BARE = "copper", "wall", "grip", "cut", "bare"
TOLD_FROM: Mapping[str, float] = MappingProxyType(
    {COPPER: 0.05, WALL: 0.2, GRIP: 0.1, CUT: 0.1, BARE: 0.1}
)
"""Kinds of fault (copper past a terminal, cores outside the wall, outside the grip, a CPC cut short, one without
sleeving), and how likely one must be for its spot to be told of. Chosen by cross-validation on 407 of the photos
that `further.toml` tells of: of 374 spots so told (237 of copper) 14 (4) were of a fault that nothing was said of."""
APART = 4.0
"""Of spots of one kind nearer to each other than this, cells, the likeliest is told."""
PROVENANCE = "spots.toml"


@dataclass(frozen=True)
class Spot:
    """A place that looks like a fault.

    Parameters
    ----------
    kind : str
        A key of `TOLD_FROM`.
    probability : float
        That a fault of this kind has its middle here, 0 to 1.
    box : (4,) float64
        Left, top, right, bottom, px of the analysis picture.
    """

    kind: str
    probability: float
    box: F64


def forests_of(kind: str) -> tuple[str, str]:
    """Names of the stored trees of a kind: how likely a fault is, and how far it reaches."""
    return f"spot-{kind}.onnx.gz", f"spot-{kind}-box.onnx.gz"


def spots_of(image: AnalysisImage, first: MaterialMap, second: MaterialMap) -> tuple[Spot, ...]:
    """Spots of a picture that look like a fault, of each kind the likeliest first.

    Parameters
    ----------
    image : AnalysisImage
    first, second : MaterialMap
        Of two looks at it, at two scales.

    Returns
    -------
    tuple of Spot
        Empty where no trees of spots are stored.

    Raises
    ------
    ModelsError
        When a stored forest is damaged or wants other figures.
    """
    if not (models_dir() / "materials" / PROVENANCE).is_file():
        return ()
    grid = grid_of(first, second)
    y, x = worth_asking(grid)
    if not len(y):
        return ()
    rows = spot_features(image, grid, y, x)
    at = np.stack([x, y], -1).astype(np.float64)
    found: list[Spot] = []
    for kind, least in TOLD_FROM.items():
        likely, reach = forests_of(kind)
        told = stored(likely, rows)[:, 1]
        some = _highest(told, at, least)
        if len(some):
            reaches = stored(reach, rows[some])
            found += [
                Spot(kind, float(told[k]), _box(at[k], off, grid))
                for k, off in zip(some, reaches, strict=True)
            ]
    return tuple(found)


def _highest(told: F32, at: F64, least: float) -> list[int]:
    """The likeliest cells, none of them near a likelier one (greedy non-maximum suppression)."""
    kept: list[int] = []
    order = np.argsort(-told, kind="stable")
    for k in order[told[order] >= least]:
        if all(np.hypot(*(at[k] - at[j])) >= APART for j in kept):
            kept.append(int(k))
    return kept


def _box(at: F64, reach: F32, grid: Grid) -> F64:
    """Sides of a cell's box; a cell's middle is half a cell from its corner, a pixel's its coordinate."""
    return np.asarray((np.tile(at, 2) + reach + 0.5) * grid.cell - 0.5, np.float64)
