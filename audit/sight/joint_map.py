"""One map out of the maps of both looks at a photo: their mean, told again where it is not sure.

The two looks err at other places, so their mean errs less than either. Which of them to believe where they differ,
and what both have taken wrongly, is told by boosted trees (Friedman, 2001) that are grown upon the mean. They see
what both maps say of a pixel and what the mean says round it (auto-context, Tu and Bai 2010) and in the whole photo,
and they learned from photos that no forest of materials had seen: from maps as good as those the tool works on.
"""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from audit.resources import models_dir
from audit.sight.features import channels, kept_of
from audit.sight.materials import enlarged, forest_probability, told_where_open
from audit.sight.types import F32, AnalysisImage, Material, MaterialMap

FOREST, PROVENANCE = "joint.npz", "joint.toml"
COPPER_WEIGHT = 0.7
"""The trees are fitted on more pixels of copper than there are (each weighs the square root of those it stands for),
which overstates it; so much of its probability is kept."""

Tell = Callable[[str, F32], F32]


def joint_map(
    image: AnalysisImage,
    first: MaterialMap,
    second: MaterialMap,
    tell: Tell = forest_probability,
) -> MaterialMap:
    """One map of what both looks saw.

    Parameters
    ----------
    image : AnalysisImage
    first, second : MaterialMap
        Of this picture, of both looks.
    tell : callable
        Stands in for the stored trees while others are fitted.

    Returns
    -------
    MaterialMap
        Of the first's shape and step; the mean of both where no trees are stored.

    Raises
    ------
    ModelsError
        When the stored trees are damaged or want another row.
    """
    mine, theirs = first.prob, at_size_of(second, first)
    mean = np.asarray((mine + theirs) / 2, np.float32)
    if tell is forest_probability and not (models_dir() / "materials" / FOREST).is_file():
        return MaterialMap(mean, first.step)
    h, w = mean.shape[:2]
    again = kept_of(*channels(image, (w, h)))

    def told(forest: str, rows: F32) -> F32:
        by = tell(forest, rows).copy()
        by[:, Material.COPPER] *= COPPER_WEIGHT
        return by

    return MaterialMap(told_where_open(FOREST, again, mean, (theirs, mine), told), first.step)


def at_size_of(other: MaterialMap, one: MaterialMap) -> F32:
    """Probabilities of a map at the size of another of the same picture, (h, w, 15)."""
    h, w = one.prob.shape[:2]
    if other.prob.shape[0] <= h:
        return enlarged(other.prob, (w, h))
    planes = [
        cv2.resize(np.ascontiguousarray(p), (w, h), interpolation=cv2.INTER_AREA)
        for p in np.moveaxis(other.prob, -1, 0)
    ]
    return np.asarray(np.stack(planes, -1), np.float32)
