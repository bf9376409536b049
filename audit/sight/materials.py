"""The material map: which material each pixel shows.

Two random forests in a row (the second sees what the first said around each
pixel), stored as ONNX in `models/materials/` and fitted by `lidoff
fit-materials` from labelled pixels of our own renders.
"""

from __future__ import annotations

import gzip
from functools import cache
from typing import Any

import cv2
import numpy as np

from audit.errors import ModelsError, Where
from audit.resources import load_toml, model_path
from audit.sight.features import context_features, pixel_features
from audit.sight.types import F32, AnalysisImage, Material, MaterialMap

MAP_STEP = 2.0
"""px of the analysis picture for one px of the map."""
N_MATERIALS = len(Material)


@cache
def _session(name: str) -> Any:
    import onnxruntime as ort

    options = ort.SessionOptions()
    # One thread: the batch runs a process for each processor.
    options.intra_op_num_threads = 1
    options.inter_op_num_threads = 1
    options.log_severity_level = 3
    path = model_path(f"materials/{name}")
    try:
        model = gzip.decompress(path.read_bytes())
        return ort.InferenceSession(model, options, providers=["CPUExecutionProvider"])
    except Exception as exc:  # onnxruntime raises types of its own
        raise ModelsError("the material model can't be read", Where(path)) from exc


def forest_probability(name: str, rows: F32) -> F32:
    """Class probabilities of one stored forest.

    Parameters
    ----------
    name : str
        File in `models/materials/`.
    rows : (n, F) float32

    Returns
    -------
    (n, 15) float32
        Columns are `Material`; a class the forest never saw has probability 0.

    Raises
    ------
    ModelsError
        When the file is missing, damaged, or wants another number of features.
    """
    classes = load_toml("materials/materials.toml")["classes"]
    session = _session(name)
    wanted = session.get_inputs()[0].shape[-1]
    if wanted != rows.shape[-1]:
        raise ModelsError(
            f"the material model wants {wanted} features, not {rows.shape[-1]}",
            Where(model_path(f"materials/{name}")),
            "fit it again with `lidoff fit-materials`",
        )
    got = session.run(None, {session.get_inputs()[0].name: np.ascontiguousarray(rows)})[1]
    out = np.zeros((len(rows), N_MATERIALS), np.float32)
    out[:, classes] = got
    return out


def material_map(image: AnalysisImage) -> MaterialMap:
    """Tell the material of every pixel.

    Parameters
    ----------
    image : AnalysisImage

    Returns
    -------
    MaterialMap
        At `MAP_STEP` px of the analysis picture a pixel.

    Raises
    ------
    ModelsError
        See `forest_probability`.
    """
    pixel = pixel_features(image, MAP_STEP)
    h, w, n = pixel.shape
    first = forest_probability("first.onnx.gz", pixel.reshape(-1, n)).reshape(h, w, -1)
    context = context_features(pixel, first)
    second = forest_probability("second.onnx.gz", context.reshape(h * w, -1)).reshape(h, w, -1)
    return MaterialMap(second, MAP_STEP)


def full_size_ids(materials: MaterialMap, size: tuple[int, int]) -> np.ndarray[Any, Any]:
    """Ids at the size of the full photo, (H, W) uint8; probabilities are interpolated, not ids.

    Parameters
    ----------
    materials : MaterialMap
    size : (width, height)
    """
    best = np.full((size[1], size[0]), -1.0, np.float32)
    ids = np.zeros((size[1], size[0]), np.uint8)
    for k in range(N_MATERIALS):
        plane = materials.prob[..., k]
        if plane.max() < 0.05:
            continue
        big = cv2.resize(np.ascontiguousarray(plane), size, interpolation=cv2.INTER_LINEAR)
        better = big > best
        best[better] = big[better]
        ids[better] = k
    return ids
