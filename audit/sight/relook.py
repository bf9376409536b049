"""A second look along each strand: the map told again where cores, copper and cables run.

The forests of `audit.sight.materials` see the picture in the picture's frame.
Once strands are found, one more forest sees each of them in its own
(`audit.sight.lengthwise`), and what it says takes the place of the map there.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np
from numpy.typing import NDArray

from audit.sight.lengthwise import (
    CORE_FRAME,
    GROUPS,
    SHEATH_FRAME,
    Strip,
    place_features,
    places,
    strips,
)
from audit.sight.materials import forest_probability
from audit.sight.types import CORES, F32, F64, AnalysisImage, MaterialMap, Strands

I64 = NDArray[np.int64]
Flags = NDArray[np.bool_]

CORE_FOREST, SHEATH_FOREST = "strand.npz", "cable.npz"
_BATCH = 30_000
"""Places described at once: bounds the memory, and cv2.remap takes fewer than 32768 rows."""


def told_by(forest: str, rows: F32) -> F32:
    """Probabilities of `GROUPS` for described places by a stored forest, (n, 7)."""
    return forest_probability(forest, rows, classes=range(len(GROUPS)), n=len(GROUPS))


def look_again(
    materials: MaterialMap,
    image: AnalysisImage,
    strands: Strands,
    tell: Callable[[str, F32], F32] = told_by,
) -> MaterialMap:
    """The map with the places on and by the strands told again.

    Parameters
    ----------
    materials : MaterialMap
    image : AnalysisImage
    strands : Strands
        Found on that map.
    tell : callable
        Stands in for the stored forests while others are fitted.

    Returns
    -------
    MaterialMap
        Of the same shape and step.

    Raises
    ------
    ModelsError
        When a stored forest is missing or damaged.
    """
    prob = materials.prob.copy()
    free = np.ones(prob.shape[:2], bool)
    for forest, lines, frame in (
        (CORE_FOREST, [*strands.cores, *strands.coppers], CORE_FRAME),
        (SHEATH_FOREST, strands.sheaths, SHEATH_FRAME),
    ):
        found = strips(materials, image, lines, frame)
        for strip, y, x, u, v in _shares(found, free):
            rows = place_features(strip, u, v, materials.step)
            prob[y, x] = _told(prob[y, x], tell(forest, rows), strip)
            free[y, x] = False
    return MaterialMap(prob, materials.step)


def _shares(found: Sequence[Strip], free: Flags) -> Iterator[tuple[Strip, I64, I64, F64, F64]]:
    """Each strip with the places it tells of: those that are free, each given to one strip."""
    if not found:
        return
    y, x, which, u, v = places(found, free.shape)
    mine = free[y, x]
    y, x, which, u, v = y[mine], x[mine], which[mine], u[mine], v[mine]
    for i in np.unique(which):
        at = np.flatnonzero(which == i)
        for part in np.array_split(at, len(at) // _BATCH + 1):
            yield found[i], y[part], x[part], u[part], v[part]


def _told(before: F32, groups: F32, strip: Strip) -> F32:
    """Probabilities of materials out of those of groups: within a group as they were before."""
    out = np.zeros_like(before)
    for k, group in enumerate(GROUPS):
        ids = [int(m) for m in group]
        part = before[:, ids]
        if group is CORES and strip.strand.material in CORES:
            # Faint as the map may be here, a strand has one colour.
            part = part + 0.02 * (np.asarray(ids) == strip.strand.material)
        else:
            part = part + 1e-4 * (np.asarray(ids) == ids[0])
        out[:, ids] = groups[:, k : k + 1] * part / part.sum(1, keepdims=True)
    return out
