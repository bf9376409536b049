"""The material map: which material each pixel shows.

A coarse forest first finds the cores, and by their width the scale of the work;
then random forests in a row look at the picture at that scale (each later one
sees what the one before said around each pixel). They are stored in
`models/materials/` (`audit.sight.trees`) and fitted by `lidoff fit-materials` from
labelled pixels of our own renders.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from functools import cache
from typing import Any

import cv2
import numpy as np

from audit.errors import ModelsError, Where
from audit.resources import load_toml, model_path
from audit.sight.features import (
    KINDS,
    MARGIN,
    channels,
    context_planes,
    kept,
    map_size,
    planes_of,
)
from audit.sight.guided import Guide
from audit.sight.nearness import Nearness, coarse_step, nearness, step_for
from audit.sight.trees import Trees, load
from audit.sight.types import F32, AnalysisImage, Material, MaterialMap
from audit.sight.whole import whole_of

N_MATERIALS = len(Material)
PASSES = 3
"""Forests in a row: `pass1.npz` and so on; `coarse.npz` comes before them."""


@cache
def trees_of(name: str) -> Trees:
    """The trees of a file in `models/materials/`, read once.

    Raises
    ------
    ModelsError
        When it is missing or damaged.
    """
    path = model_path(f"materials/{name}")
    try:
        return load(path)
    except (OSError, ValueError) as exc:
        raise ModelsError(
            "a stored forest can't be read",
            Where(path),
            "install lidoff again, or grow it again as DEVELOPERS.md tells",
        ) from exc


def forest_probability(
    name: str, rows: F32, classes: Sequence[int] | None = None, n: int = N_MATERIALS
) -> F32:
    """Class probabilities of one stored forest.

    Parameters
    ----------
    name : str
        File in `models/materials/`.
    rows : (n, F) float32
    classes : sequence of int, optional
        What the forest's outputs are; the materials it was fitted on by default.
    n : int
        Columns wanted.

    Returns
    -------
    (n, 15) float32
        Columns are `Material`; a class the forest never saw has probability 0.

    Raises
    ------
    ModelsError
        When the file is missing, damaged, or wants another number of features.
    """
    if classes is None:
        classes = load_toml("materials/materials.toml")["classes"]
    return _asked(name, rows, classes, n)


def stored(name: str, rows: F32) -> F32:
    """What one stored forest gives for rows of features, as it stands in its file.

    Parameters
    ----------
    name : str
        File in `models/materials/`.
    rows : (n, F) float32

    Returns
    -------
    (n, K) float32

    Raises
    ------
    ModelsError
        When the file is missing, damaged, or wants another number of features.
    """
    return _asked(name, rows)


def _asked(name: str, rows: F32, columns: Sequence[int] | None = None, n: int | None = None) -> F32:
    trees = trees_of(name)
    if trees.features != rows.shape[-1]:
        raise ModelsError(
            f"a stored forest wants {trees.features} features, not {rows.shape[-1]}",
            Where(model_path(f"materials/{name}")),
            "install lidoff again, or grow it again as DEVELOPERS.md tells",
        )
    try:
        return trees.told(rows, columns, n)
    except ValueError as exc:
        raise ModelsError(
            f"a stored forest tells other classes than are asked of it: {exc}",
            Where(model_path(f"materials/{name}")),
            "install lidoff again, or grow it again as DEVELOPERS.md tells",
        ) from exc


def coarse_map(image: AnalysisImage) -> MaterialMap:
    """A quick small map, whatever the scale; enough to find the cores.

    Raises
    ------
    ModelsError
        See `forest_probability`.
    """
    step = coarse_step(image.shape)
    light, ratio = channels(image, map_size(image, step))
    planes = planes_of(light, ratio)
    prob = np.empty((*light.shape, N_MATERIALS), np.float32)
    for mine, _ in _few(slice(0, len(light))):
        prob[mine] = _told("coarse.npz", planes.features(mine))
    return MaterialMap(prob, step)


def material_map(
    image: AnalysisImage, coarse: MaterialMap | None = None, near: Nearness | None = None
) -> MaterialMap:
    """Tell the material of every pixel.

    Parameters
    ----------
    image : AnalysisImage
    coarse : MaterialMap, optional
        From `coarse_map`; made when not given.
    near : Nearness, optional
        How near the work is taken to be; guessed from the coarse map when not given.

    Returns
    -------
    MaterialMap
        At a step at which a core is about as wide in every photo. Far from
        every core it is the coarse map, enlarged.

    Raises
    ------
    ModelsError
        See `forest_probability`.
    """
    coarse = coarse or coarse_map(image)
    near = near or nearness(coarse)
    if near is None:
        return coarse
    step = step_for(near.px_per_mm)
    h, w = image.shape
    x0, y0 = (max(0, int(v)) for v in near.box[:2])
    x1, y1 = min(w, int(near.box[2]) + 1), min(h, int(near.box[3]) + 1)
    # Whole px of the map, so that the part lies on the grid of the whole.
    size = (max(8, round(w / step)), max(8, round(h / step)))
    i0, j0 = int(y0 * size[1] / h), int(x0 * size[0] / w)
    y0, x0 = round(i0 * h / size[1]), round(j0 * w / size[0])
    part = AnalysisImage(image.linear[y0:y1, x0:x1], image.scale, image.balance)
    fine = _passes(part, step)[: size[1] - i0, : size[0] - j0]
    prob = enlarged(coarse.prob, size)
    prob[i0 : i0 + fine.shape[0], j0 : j0 + fine.shape[1]] = fine
    return MaterialMap(weighed(prob), step)


COPPER_WEIGHT = 0.5
"""The forests are fitted on as many pixels of copper as of sheath, which overstates copper, of which
there is next to none; so much of its probability is kept (chosen on sample_images/bench/tune)."""


def weighed(prob: F32) -> F32:
    """Probabilities with copper's overstatement taken back, in place, (h, w, 15)."""
    prob[..., Material.COPPER] *= COPPER_WEIGHT
    prob /= np.maximum(prob.sum(-1, keepdims=True), 1e-9)
    return prob


BAND, FEW = 280, 20
"""Rows of the map that are looked at together, and that a forest is asked of at once: memory is bounded
by these, not by the photo. Wide blurs are made on a reduced copy of each band, so that another height
would tell a pixel in a hundred otherwise: the figures in docs/accuracy.md are of this one."""


def _bands(rows: int) -> Iterator[tuple[slice, slice, slice]]:
    """Bands of rows: where they go, what they are made from, and where they lie in that."""
    for a in range(0, rows, BAND):
        b = min(a + BAND, rows)
        lo, hi = max(0, a - MARGIN), min(rows, b + MARGIN)
        yield slice(a, b), slice(lo, hi), slice(a - lo, b - lo)


def _passes(image: AnalysisImage, step: float) -> F32:
    """Probabilities after all passes, (h, w, 15)."""
    light, ratio = channels(image, map_size(image, step))
    h, w = light.shape
    again = np.empty((h, w, 14), np.float32)
    prob = np.empty((h, w, N_MATERIALS), np.float32)
    for out, rows, part in _bands(h):
        planes = planes_of(light[rows], ratio[rows], part)
        for mine, here in _few(out):
            pixel = planes.features(here)
            again[mine] = kept(pixel)
            prob[mine] = _told("pass1.npz", pixel)
        del planes, pixel  # a band's planes weigh more than the map: gone before the next are made
    for k in range(2, PASSES):
        before, prob = prob, np.empty_like(prob)
        for out, rows, part in _bands(h):
            planes = context_planes(again[rows], before[rows], part)
            for mine, here in _few(out):
                prob[mine] = _told(f"pass{k}.npz", planes.features(here))
            del planes
    return _last_pass(again, prob)


def _few(band: slice) -> Iterator[tuple[slice, slice]]:
    """A few rows of a band at a time, for hundreds of figures a pixel: in the map, and in the band."""
    for a in range(band.start, band.stop, FEW):
        b = min(a + FEW, band.stop)
        yield slice(a, b), slice(a - band.start, b - band.start)


def _told(forest: str, rows: F32) -> F32:
    return forest_probability(forest, rows.reshape(-1, rows.shape[-1])).reshape(*rows.shape[:2], -1)


def _last_pass(again: F32, before: F32) -> F32:
    """Probabilities after the last pass, which is asked only where the one before is not sure."""
    return told_where_open(f"pass{PASSES}.npz", again, before)


def told_where_open(
    forest: str,
    again: F32,
    before: F32,
    more: Sequence[F32] = (),
    tell: Callable[[str, F32], F32] = forest_probability,
) -> F32:
    """Probabilities told again by a forest that sees the whole photo, where they are not sure.

    Parameters
    ----------
    forest : str
        File in `models/materials/`, grown upon the log-probabilities of what comes before it.
    again : (h, w, 14) float32
        From `audit.sight.features.kept`.
    before : (h, w, 15) float32
    more : sequence of (h, w, c) float32
        What the forest sees of each pixel besides.
    tell : callable
        Stands in for the stored forest while another is fitted.

    Returns
    -------
    (h, w, 15) float32

    Raises
    ------
    ModelsError
        See `forest_probability`.
    """
    whole = whole_of(again, before, KINDS)
    prob = before.copy()
    for out, rows, part in _bands(len(prob)):
        open_ = before[out].max(-1) <= SURE
        if not open_.any():
            continue
        planes = context_planes(again[rows], before[rows], part)
        for mine, here in _few(out):
            some = open_[here]
            if some.any():
                aside = [m[mine][some] for m in more]
                context = planes.features(here, some)
                wide = np.concatenate([context, whole.features(mine, some), *aside], -1)
                prob[mine][some] = mended(before[mine][some], tell(forest, wide))
                del context, wide
        del planes
    return prob


SURE = 0.98
"""Where the pass before was surer than this the last one is not asked: that saves a third of its time,
and a ceiling of the sheath's colour stays a ceiling (chosen on sample_images/bench/tune)."""
LEAST = 1e-3
"""Probability below which the last pass takes the pass before it as knowing no better."""


def mended(before: F32, by: F32) -> F32:
    """What the pass before said, times what the last one says of it, (..., 15).

    The last forest is grown upon the log-probabilities of the pass before it:
    it says only what is to be changed.
    """
    out = np.maximum(before, LEAST) * by
    return np.asarray(out / np.maximum(out.sum(-1, keepdims=True), 1e-9), np.float32)


def enlarged(prob: F32, size: tuple[int, int]) -> F32:
    """A map at another size (w, h), every plane by itself: OpenCV takes four channels at most."""
    out = np.empty((size[1], size[0], prob.shape[2]), np.float32)
    for k in range(prob.shape[2]):
        plane = np.ascontiguousarray(prob[..., k])
        out[..., k] = cv2.resize(plane, size, interpolation=cv2.INTER_LINEAR)
    return out


def full_size_ids(
    materials: MaterialMap, image: AnalysisImage, size: tuple[int, int]
) -> np.ndarray[Any, Any]:
    """Ids at the size of the full photo, (H, W) uint8; probabilities are interpolated, not ids.

    Parameters
    ----------
    materials : MaterialMap
    image : AnalysisImage
        The picture that it was told from: its edges are the map's (`audit.sight.guided`).
    size : (width, height)
    """
    guide = Guide(image, materials.prob.shape[:2])
    best = np.full((size[1], size[0]), -1.0, np.float32)
    ids = np.zeros((size[1], size[0]), np.uint8)
    for k in range(N_MATERIALS):
        plane = materials.prob[..., k]
        if plane.max() < 0.05:
            continue
        laid = guide.laid(np.ascontiguousarray(plane))
        big = cv2.resize(laid, size, interpolation=cv2.INTER_LINEAR)
        better = big > best
        best[better] = big[better]
        ids[better] = k
    return ids
