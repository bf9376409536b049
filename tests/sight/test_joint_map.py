"""One map out of the maps of both looks."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import cv2
import numpy as np
import pytest

from audit.measure.look import look_photo
from audit.measure.looks import Unmarked, joined, looked_once
from audit.photo.decode import read_photo
from audit.photo.types import Photo
from audit.settings import Settings
from audit.sight import joint_map as module
from audit.sight.features import features_of, kept, kept_of
from audit.sight.fit import labels_of
from audit.sight.joint_map import COPPER_WEIGHT, joint_map
from audit.sight.materials import SURE, full_size_ids
from audit.sight.types import F32, Material, MaterialMap
from tests.sight.drawn import STEP, fitting

SAMPLES = Path(__file__).parents[2] / "sample_images"
PHOTO = SAMPLES / "demo" / "photos" / "F02-entry.jpg"
TUNE = sorted((SAMPLES / "bench" / "tune").glob("*.jpg"))


def noisy(seed: int, step: float) -> MaterialMap:
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


def right(materials: MaterialMap) -> float:
    """Share of the drawing that a map has right."""
    size = fitting().ids.shape[::-1]
    told = cv2.resize(
        materials.prob.argmax(-1).astype(np.uint8), size, interpolation=cv2.INTER_NEAREST
    )
    return float((told == fitting().ids).mean())


def _surer(told: MaterialMap) -> MaterialMap:
    prob = told.prob**4
    return MaterialMap(prob / prob.sum(-1, keepdims=True), told.step)


def _says(material: Material) -> module.Tell:
    def tell(_forest: str, rows: F32) -> F32:
        told = np.full((len(rows), 15), 1e-3, np.float32)
        told[:, material] = 1
        return told

    return tell


def test_the_planes_that_are_made_alone_are_those_of_the_whole_stack() -> None:
    rng = np.random.default_rng(0)
    light = rng.random((60, 80)).astype(np.float32)
    ratio = rng.normal(0, 0.3, (60, 80, 2)).astype(np.float32)
    assert (kept_of(light, ratio) == kept(features_of(light, ratio))).all()


@pytest.mark.parametrize("other_step", [1.3 * STEP, 0.8 * STEP])
def test_without_stored_trees_it_is_the_mean_whose_errors_are_fewer(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, other_step: float
) -> None:
    monkeypatch.setattr(module, "models_dir", lambda: tmp_path)
    one, other = noisy(1, STEP), noisy(2, other_step)
    both = joint_map(fitting().image(), one, other)
    assert both.step == STEP
    assert both.prob.shape == one.prob.shape
    assert both.prob.sum(-1) == pytest.approx(1, abs=1e-4)
    assert right(both) > max(right(one), right(other)) + 0.01


def test_only_what_is_not_sure_is_told_again() -> None:
    one, other = (_surer(m) for m in (noisy(1, STEP), noisy(2, 1.2 * STEP)))
    mean = (one.prob + module.at_size_of(other, one)) / 2
    both = joint_map(fitting().image(), one, other, _says(Material.STEEL))
    sure = mean.max(-1) > SURE
    assert 0.01 < sure.mean() < 0.99
    assert (both.prob[sure] == mean[sure]).all()
    assert (both.ids[~sure] == Material.STEEL).mean() > 0.95


def test_copper_is_believed_less_than_it_is_told() -> None:
    one, other = noisy(1, STEP), noisy(2, 1.2 * STEP)

    def all_alike(_forest: str, rows: F32) -> F32:
        return np.full((len(rows), 15), 1 / 15, np.float32)

    mean = (one.prob + module.at_size_of(other, one)) / 2
    both = joint_map(fitting().image(), one, other, all_alike)
    was = mean[..., Material.COPPER] / mean[..., Material.BROWN]
    now = both.prob[..., Material.COPPER] / both.prob[..., Material.BROWN]
    open_ = (mean.max(-1) <= SURE) & (mean[..., [Material.COPPER, Material.BROWN]] > 0.002).all(-1)
    assert open_.sum() > 100
    assert now[open_] == pytest.approx(COPPER_WEIGHT * was[open_], rel=1e-3)


def test_the_stored_trees_tell_more_rightly_than_either_look_or_their_mean() -> None:
    """Against the ids that the renderer wrote, over three photos that no forest of materials saw."""
    wrong = []
    for photo in TUNE[:3]:
        picture = read_photo(photo, Settings())
        first, second = (looked_once(picture, which) for which in (0, 1))
        size = (picture.width, picture.height)
        truth = labels_of(photo, size)
        mean = (first.materials.prob + module.at_size_of(second.materials, first.materials)) / 2
        others = (first.materials, second.materials, MaterialMap(mean, first.materials.step))
        told = joined(first, second).materials
        ids = [full_size_ids(m, first.image, size) for m in (told, *others)]
        wrong.append([float((i != truth).mean()) for i in ids])
    joint, *rest = np.mean(wrong, 0)
    assert joint < 0.8 * min(rest)


def test_masks_are_of_what_both_looks_say(tmp_path: Path) -> None:
    def before(photo: Photo) -> Unmarked:
        first = looked_once(photo)
        copper = np.zeros_like(first.materials.prob)
        copper[..., Material.COPPER] = 1.0
        return replace(first, materials=MaterialMap(copper, first.materials.step))

    look_photo(PHOTO, masks_dir=tmp_path, before=before)
    ids = cv2.imread(str(tmp_path / f"{PHOTO.stem}.ids.png"), cv2.IMREAD_GRAYSCALE)
    assert ids is not None
    assert np.isin(ids, [Material.COPPER, Material.CARD]).all()
