"""The forests of materials are grown, stored and asked again: the stored ones say what the grown ones did."""

from __future__ import annotations

import json
from pathlib import Path

import cv2
import numpy as np

from audit.sight.features import KEPT
from audit.sight.fit import FitOptions, fit_forests
from audit.sight.materials import LEAST, PASSES, mended
from audit.sight.trees import grown
from audit.sight.types import Material

OPTIONS = FitOptions(
    per_class=40, rows=4000, rounds=3, depth=3, last_rows=4000, last_rounds=4, workers=1
)
COLOURS = {
    Material.OTHER: (150, 140, 120),
    Material.SHEATH: (225, 225, 225),
    Material.BROWN: (90, 50, 30),
    Material.COPPER: (200, 120, 70),
}


def photo(path: Path, seed: int) -> Path:
    """A drawn photo of three strips in noise, its ids map and the little of its truth that a fit reads."""
    rng = np.random.default_rng(seed)
    ids = np.zeros((240, 320), np.uint8)
    for k, material in enumerate((Material.SHEATH, Material.BROWN, Material.COPPER)):
        y = 30 + 70 * k + int(rng.integers(0, 20))
        ids[y : y + 24] = material
    rgb = np.zeros((*ids.shape, 3), np.float32)
    for material, colour in COLOURS.items():
        rgb[ids == material] = colour
    rgb = np.clip(rgb + rng.normal(0, 12, rgb.shape), 0, 255).astype(np.uint8)
    cv2.imwrite(str(path), cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR))
    cv2.imwrite(str(path.with_name(path.stem + ".ids.png")), ids)
    path.with_name(path.stem + ".truth.json").write_text(json.dumps({"scale": {"px_per_mm": 7.0}}))
    return path


def test_grown_stored_and_asked_again(tmp_path: Path) -> None:
    photos = [photo(tmp_path / f"drawn-{n}.jpg", n) for n in range(4)]
    cache = tmp_path / "cache"
    cache.mkdir()
    forests, classes = fit_forests(photos, OPTIONS, cache)
    assert len(forests) == PASSES + 1
    assert list(classes) == sorted(COLOURS)
    for n, path in enumerate(photos):
        # What is left for the second look is of the last pass, by forests that never saw the photo.
        prob = np.load(cache / f"{n}.prob.npy").astype(np.float32)
        np.testing.assert_allclose(prob.sum(-1), 1, atol=0.01)
        ids = cv2.imread(str(path.with_name(path.stem + ".ids.png")), cv2.IMREAD_GRAYSCALE)
        ids = cv2.resize(ids, prob.shape[1::-1], interpolation=cv2.INTER_NEAREST)
        assert (prob.argmax(-1) == ids).mean() > 0.8

    last = forests[-1]
    rows = np.random.default_rng(0).random((50, last.n_features_in_)).astype(np.float32)
    before = np.zeros((50, len(Material)), np.float32)
    before[:, classes] = rows[:, KEPT : KEPT + len(Material)][:, classes]
    margin = np.log(np.maximum(before[:, classes], LEAST))
    by = np.zeros_like(before)
    by[:, classes] = grown(last, len(classes), over=True).told(rows)
    np.testing.assert_allclose(
        mended(before, by)[:, classes], last.predict_proba(rows, base_margin=margin), atol=1e-5
    )
