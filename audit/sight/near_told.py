"""How near the camera was, told by trees from all that the coarse map shows.

The middle of the cores' widths (`audit.sight.nearness`) goes astray where scratches, edges or hairs are taken for
cores, or sheath for a core: in one photo of six by more than a third. What else is on the coarse map mends it:
how widths are spread, how wide sheath, grip and terminals are beside them, how large the enclosure is.
Boosted trees (Friedman, 2001) tell the log of the factor by which the guess has to be changed.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from audit.resources import models_dir
from audit.sight.materials import coarse_map, stored
from audit.sight.nearness import Nearness, long_cores, nearness
from audit.sight.types import F32, F64, AnalysisImage, Material, MaterialMap, Strand

FOREST, PROVENANCE = "nearness.npz", "nearness.toml"
NONE = -9.0
"""Stands for a figure of something that is not there."""
GROUPS: tuple[tuple[int, ...], ...] = (
    (1,), (2,), (3,), (4,), (5, 6, 7), (2, 3, 4, 5, 6, 7), (8,), (9,), (10,), (11,), (12, 14)
)  # fmt: skip
"""Materials that are measured together: sheath, brown, blue, green-and-yellow, other cores, all cores, copper,
enclosure, grip, terminal, screws."""
_COLOURS: tuple[tuple[Material, ...], ...] = (
    (Material.BROWN,),
    (Material.BLUE,),
    (Material.GREEN_YELLOW,),
    (Material.RED, Material.BLACK, Material.GREY_CORE),
)


def near_features(coarse: MaterialMap, near: Nearness) -> F32:
    """What the coarse map shows, in widths of the usual core.

    Parameters
    ----------
    coarse : MaterialMap
    near : Nearness
        From `audit.sight.nearness.nearness`, of the same map.

    Returns
    -------
    (78,) float32
        Logs of lengths over the usual width, shares, and `NONE` for what is not there.
    """
    cores = long_cores(coarse)
    width = np.array([float(np.median(s.width)) for s in cores])
    weight = np.array([s.length * s.score for s in cores])
    usual = near.core_px
    log = np.log(width / usual)
    side = max(coarse.prob.shape[:2]) * coarse.step
    row = [np.log(usual / coarse.step), np.log(usual / side)]
    row += [float(len(cores)), np.log(weight.sum() / usual)]
    row += _quantiles(log, weight, (0.1, 0.25, 0.4, 0.6, 0.75, 0.9))
    row += _quantiles(log, weight * width, (0.1, 0.25, 0.5, 0.75, 0.9))
    row += _of_colours(cores, log, weight)
    for group in GROUPS:
        row += _of_group(coarse, group, usual)
    return np.asarray(row, np.float32)


def _quantiles(values: F64, weights: F64, at: Sequence[float]) -> list[float]:
    if not len(values) or weights.sum() <= 0:
        return [NONE] * len(at)
    order = np.argsort(values)
    share = np.cumsum(weights[order]) / weights.sum()
    last = len(values) - 1
    return [float(values[order][min(last, int(np.searchsorted(share, q)))]) for q in at]


def _of_colours(cores: Sequence[Strand], log: F64, weight: F64) -> list[float]:
    """Usual width of each colour, and its share of all length."""
    row: list[float] = []
    for colour in _COLOURS:
        mine = np.array([s.material in colour for s in cores])
        row += _quantiles(log[mine], weight[mine], (0.5,))
        row.append(float(weight[mine].sum() / weight.sum()))
    return row


def _of_group(coarse: MaterialMap, group: tuple[int, ...], usual: float) -> list[float]:
    """How large the area of some materials is, and how wide its parts are (at ridges of its distance map)."""
    mask = (coarse.prob[..., list(group)].sum(-1) > 0.5).astype(np.uint8)
    area = int(mask.sum())
    size = float(np.log(np.sqrt(area + 0.25) * coarse.step / usual))
    if area < _LEAST:
        return [size, *[NONE] * 4]
    ringed = cv2.copyMakeBorder(mask, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    deep = cv2.distanceTransform(ringed, cv2.DIST_L2, 5)[1:-1, 1:-1]
    ridge = (deep > 0) & (deep >= cv2.dilate(deep, np.ones((3, 3))) - 1e-3)
    half = deep[ridge].astype(np.float64)
    wide = np.log(2 * half * coarse.step / usual)
    return [size, *_quantiles(wide, half, (0.25, 0.5, 0.75, 0.95))]


_LEAST = 5
"""Pixels of the coarse map below which no width is told."""


def two_scales(coarse: MaterialMap) -> tuple[Nearness, Nearness] | None:
    """The two scales that a photo is looked at.

    Parameters
    ----------
    coarse : MaterialMap

    Returns
    -------
    (told, guessed) or None
        Told by the trees, and guessed from the widths of cores alone. Two looks at one scale would
        see the same, so the first is kept at least `APART` nearer where it is not plainly farther.
        None when no core is long enough to tell its width.

    Raises
    ------
    ModelsError
        When the stored trees are damaged or want another row.
    """
    near = nearness(coarse)
    if near is None:
        return None
    factor = _factor(coarse, near)
    if factor > FARTHER:
        factor = max(factor, APART)
    return near.changed(factor), near


def _factor(coarse: MaterialMap, near: Nearness) -> float:
    """By how much the guess is to be changed; `USUAL` where no trees are stored."""
    if not (models_dir() / "materials" / FOREST).is_file():
        return USUAL
    told = float(stored(FOREST, near_features(coarse, near)[None])[0, 0])
    return float(np.exp(np.clip(told, -MOST, MOST)))


APART, FARTHER = 1.2, 0.9
"""The usual factor is 1.2 as well: a map shows cores a sixth too thin."""
USUAL = 1.2
MOST = 1.6
"""Log of the greatest factor by which a guess is changed."""


def rows_of_image(image: AnalysisImage, px_per_mm: float) -> tuple[F32, float] | None:
    """What trees learn from one picture: its figures, and the log of the factor that is wanted.

    Parameters
    ----------
    image : AnalysisImage
    px_per_mm : float
        True scale at the work, px of the analysis picture.

    Returns
    -------
    (78,) float32 and float, or None without a core long enough to tell its width.
    """
    coarse = coarse_map(image)
    near = nearness(coarse)
    if near is None:
        return None
    return near_features(coarse, near), float(np.log(px_per_mm / near.px_per_mm))
