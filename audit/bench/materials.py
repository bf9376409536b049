"""How well the material of each pixel was told."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image
from pydantic import BaseModel, ConfigDict

from audit.errors import PhotoError, Where

MATERIALS = (
    "other",
    "sheath",
    "brown",
    "blue",
    "green-and-yellow",
    "red",
    "black",
    "grey core",
    "bare copper",
    "enclosure",
    "grip",
    "terminal",
    "steel or zinc",
    "card",
    "brass",
)
"""Names of the ids of an ids map, in the order of the ids."""

NOT_SCORED = 255
"""Id of pixels whose material even the truth leaves open."""


class MaterialScore(BaseModel):
    """Jaccard index of one material over all pixels of all photos together."""

    model_config = ConfigDict(frozen=True)

    material: str
    true_px: int
    found_px: int
    iou: float | None


def confusion(truth_file: Path, mask_file: Path) -> NDArray[np.int64]:
    """Count pixels by true and found material.

    Returns
    -------
    numpy.ndarray
        Shape (15, 15), int64; rows are true ids, columns found ids.

    Raises
    ------
    PhotoError
        When a map can't be read, or the two differ in size.
    """
    true, found = _read(truth_file), _read(mask_file)
    if true.shape != found.shape:
        raise PhotoError(
            f"ids map of {found.shape[1]} x {found.shape[0]} px against a truth of "
            f"{true.shape[1]} x {true.shape[0]} px",
            Where(mask_file),
            "write ids maps upright and at full size",
        )
    n = len(MATERIALS)
    scored = true < n
    named = np.where(found < n, found, 0)  # an id that is none of ours names nothing
    joint = true[scored].astype(np.int64) * n + named[scored]
    return np.bincount(joint, minlength=n * n).reshape(n, n)


def material_scores(counts: NDArray[np.int64]) -> tuple[MaterialScore, ...]:
    """Jaccard index (IoU) of each material from summed counts; null where there is none."""
    scores = []
    for i, name in enumerate(MATERIALS):
        common, true, found = (int(counts[i, i]), int(counts[i].sum()), int(counts[:, i].sum()))
        either = true + found - common
        scores.append(
            MaterialScore(
                material=name,
                true_px=true,
                found_px=found,
                iou=common / either if either else None,
            )
        )
    return tuple(scores)


def _read(path: Path) -> NDArray[np.uint8]:
    try:
        with Image.open(path) as image:
            if image.mode not in ("L", "P"):
                raise PhotoError(f"an ids map of mode {image.mode}", Where(path), "write 8-bit")
            return np.asarray(image)
    except OSError as exc:
        raise PhotoError(f"the ids map can't be read ({exc})", Where(path)) from exc
