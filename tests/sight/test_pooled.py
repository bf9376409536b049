"""The ids map is of what both looks saw."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from audit.measure.look import look_photo
from audit.measure.looks import Unmarked, looked_once
from audit.photo.types import Photo
from audit.sight.materials import pooled
from audit.sight.types import Material, MaterialMap
from tests.sight.drawn import STEP, fitting

PHOTO = Path(__file__).parents[2] / "sample_images" / "demo" / "photos" / "F02-entry.jpg"


def _noisy(seed: int, step: float) -> MaterialMap:
    """The drawing as a forest might tell it: right on the whole, wrong by chance from place to place."""
    drawn = fitting().map()
    size = tuple(round(n * STEP / step) for n in drawn.prob.shape[1::-1])
    rng = np.random.default_rng(seed)
    wrong = cv2.GaussianBlur(rng.normal(0, 1, (size[1], size[0], 4)).astype(np.float32), (0, 0), 4)
    prob = np.stack(
        [cv2.resize(np.ascontiguousarray(p), size) for p in np.moveaxis(drawn.prob, -1, 0)], -1
    )
    prob[..., 1:5] += np.maximum(6 * wrong, 0)
    return MaterialMap(prob / prob.sum(-1, keepdims=True), step)


def _right(materials: MaterialMap) -> float:
    size = fitting().ids.shape[::-1]
    told = cv2.resize(
        materials.prob.argmax(-1).astype(np.uint8), size, interpolation=cv2.INTER_NEAREST
    )
    return float((told == fitting().ids).mean())


def test_errors_that_differ_by_chance_are_fewer_in_the_mean() -> None:
    one, other = _noisy(1, STEP), _noisy(2, 1.3 * STEP)
    both = pooled(one, other)
    assert both.step == STEP
    assert both.prob.shape == one.prob.shape
    assert both.prob.sum(-1) == pytest.approx(1, abs=1e-4)
    assert _right(both) > max(_right(one), _right(other)) + 0.01
    again = pooled(other, one)
    assert (again.prob == both.prob).all()


def test_a_lone_map_stays_as_it_is() -> None:
    one = _noisy(1, STEP)
    assert pooled(one, None) is one


def test_masks_are_of_both_looks(tmp_path: Path) -> None:
    """The second look saw copper everywhere, and surer than the first saw anything."""

    def before(photo: Photo) -> Unmarked:
        first = looked_once(photo)
        copper = np.full_like(first.materials.prob, 0)
        copper[..., Material.COPPER] = 9.0
        return replace(first, second=MaterialMap(copper, first.materials.step))

    look_photo(PHOTO, masks_dir=tmp_path, before=before)
    ids = cv2.imread(str(tmp_path / f"{PHOTO.stem}.ids.png"), cv2.IMREAD_GRAYSCALE)
    assert ids is not None
    assert np.isin(ids, [Material.COPPER, Material.CARD]).all()
