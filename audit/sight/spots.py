"""Spots that look like a fault, told without following any cable or core.

Where a cable is not made out in the map, nothing is read along it, and what is wrong there would be passed over in
silence. Here boosted trees look at every spot by a core of about a millimetre (`audit.sight.spot_features`) and say
how likely a fault of each kind has its middle there, and how far it reaches. A sliding window over a map's channels:
Dollár et al., Integral Channel Features (BMVC 2009).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from audit.resources import models_dir
from audit.sight.materials import stored
from audit.sight.spot_features import Grid, grid_of, spot_features, worth_asking
from audit.sight.types import F32, F64, AnalysisImage, MaterialMap

COPPER, WALL, GRIP, CUT, BARE = FAULTS = ("copper", "wall", "grip", "cut", "bare")
"""Kinds of fault: copper past a terminal, cores outside the wall, outside the grip, a CPC cut short, one without
sleeving."""
LATE = "late"
"""A CPC that is bare before its sleeve: told by trees that learned from photos of such work (`audit.bench.fit_sleeves`),
as those that the others learned from show none."""
SPOT_KINDS = (*FAULTS, LATE)
LOOKS, JOINT = "looks", "joint"
"""Which maps trees see: those of both looks, or the one joined of them (`audit.sight.joint_map`) and the second look's."""
TOLD_FROM = {LOOKS: 0.03, JOINT: 0.1}
"""How likely a fault must be for its spot to be told of, by what the trees see. Chosen by cross-validation of trees grown
on two thirds of some 1000 photos, no box in two parts, on 407 of them: of 926 faults 14 are silent with spots of either alone,
as each misses others, and 12 with both; and as many from .015 on, with 115 answers more."""
CUT_FROM = 0.015
"""A CPC cut short is told of from this on by both looks' maps: of it alone spots often tell what nothing that was read tells (without
them nine more are silent), and from .03 on two more would be."""
LATE_FROM = 0.5
"""The same for `LATE`, by either maps, which is so much likelier where its trees learned than in ordinary work
(`audit.measure.spot_findings.LATE_ODDS`). Of 34 such faults on the photos of docs/adr/0020 one is passed over from .1 on as from .5 on."""
APART = 4.0
"""Of spots of one kind nearer to each other than this, cells, the likeliest is told."""
OVERLAP = 0.45
"""Of those whose boxes overlap so much (area common to both over the area of both), too."""
AT_MOST = 8
"""So many spots of one kind in a picture. None of the 407 photos shows more than 6 faults of a kind: a picture with
more spots is one that was not made out, and the answers about the rest would bury those worth reading."""
PROVENANCE, SLEEVES_PROVENANCE = "spots.toml", "sleeves.toml"
"""What is told of the trees of `FAULTS`, and of those of `LATE`; without it they are asked nothing."""


@dataclass(frozen=True)
class Spot:
    """A place that looks like a fault.

    Parameters
    ----------
    kind : str
        One of `SPOT_KINDS`.
    probability : float
        That a fault of this kind has its middle here, 0 to 1.
    box : (4,) float64
        Left, top, right, bottom, px of the analysis picture.
    more : int
        Spots of this kind in the picture beyond `AT_MOST`, which are not told, by the trees that tell this one.
    """

    kind: str
    probability: float
    box: F64
    more: int = 0


def forests_of(kind: str, by: str) -> tuple[str, str]:
    """Names of the stored trees of a kind, by what they see: how likely a fault is, and how far it reaches."""
    return f"spot-{kind}-{by}.npz", f"spot-{kind}-{by}-box.npz"


def told_from(kind: str, by: str) -> float:
    """How likely a fault of a kind must be for its spot to be told of, by what the trees see."""
    if kind == LATE:
        return LATE_FROM
    return CUT_FROM if (kind, by) == (CUT, LOOKS) else TOLD_FROM[by]


def spots_of(
    image: AnalysisImage, first: MaterialMap, second: MaterialMap, joint: MaterialMap
) -> tuple[Spot, ...]:
    """Spots of a picture that look like a fault to either kind of trees, those told by the looks' own maps first.

    Of each kind of fault the likeliest come first. What both kinds of trees tell is in it twice; whoever says something
    of a place once (`audit.measure.spot_findings`) takes the first: the other's box
    hides a fault of sample_images/bench/tune that it tells too far off.

    Parameters
    ----------
    image : AnalysisImage
    first, second, joint : MaterialMap
        Of both looks at it, at two scales, and what they show together.

    Returns
    -------
    tuple of Spot
        Empty where no trees of spots are stored.

    Raises
    ------
    ModelsError
        When a stored forest is damaged or wants other figures.
    """
    folder = models_dir() / "materials"
    grown = ((FAULTS, PROVENANCE), ((LATE,), SLEEVES_PROVENANCE))
    kinds = [k for some, told in grown if (folder / told).is_file() for k in some]
    if not kinds:
        return ()
    found = _spots(image, grid_of(first, second), LOOKS, kinds)
    return tuple(found + _spots(image, grid_of(joint, second), JOINT, kinds))


def _spots(image: AnalysisImage, grid: Grid, by: str, kinds: Sequence[str]) -> list[Spot]:
    """What trees of some kinds tell, by the maps that they see."""
    y, x = worth_asking(grid)
    if not len(y):
        return []
    rows, ways = spot_features(image, grid, y, x)
    at = np.stack([x, y], -1).astype(np.float64)
    found: list[Spot] = []
    for kind in kinds:
        likely, reach = forests_of(kind, by)
        told = stored(likely, rows)[:, 1]
        some = _highest(told, at, told_from(kind, by))
        if len(some):
            reaches = stored(reach, np.concatenate([rows[some], ways[some]], -1))
            boxes = np.stack([_box(at[k], off, grid) for k, off in zip(some, reaches, strict=True)])
            kept = _apart(boxes, told[some])
            more = max(0, len(kept) - AT_MOST)
            found += [Spot(kind, float(told[some[k]]), boxes[k], more) for k in kept[:AT_MOST]]
    return found


def _highest(told: F32, at: F64, least: float) -> list[int]:
    """The likeliest cells, none of them near a likelier one (greedy non-maximum suppression)."""
    kept: list[int] = []
    order = np.argsort(-told, kind="stable")
    for k in order[told[order] >= least]:
        if all(np.hypot(*(at[k] - at[j])) >= APART for j in kept):
            kept.append(int(k))
    return kept


def _apart(boxes: F64, told: F32) -> list[int]:
    """Those of the boxes, (n, 4), that overlap no likelier one, the likeliest first.

    A bare conductor is likely all along, and its boxes are of one fault.
    """
    sides = np.concatenate([boxes[:, :2], boxes[:, 2:] - boxes[:, :2]], -1)
    return [int(k) for k in cv2.dnn.NMSBoxes(sides.tolist(), told.tolist(), 0.0, OVERLAP)]


def _box(at: F64, reach: F32, grid: Grid) -> F64:
    """Sides of a cell's box; a cell's middle is half a cell from its corner, a pixel's its coordinate.

    Each side is told by itself: should they be told in the wrong order, as they are told for none of 37,000
    cells of the 407 photos, they are put in order, since a box of negative area would hide all others.
    """
    sides = (np.tile(at, 2) + reach + 0.5) * np.tile(grid.cell, 2) - 0.5
    ordered = np.sort(sides.reshape(2, 2), axis=0)
    return np.asarray(ordered.ravel(), np.float64)
