"""The trees that join both looks' maps: what a photo teaches, and that they learn it."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
import pytest

from audit.bench.fit_joint import JointOptions, by_trees, grown_joint, joint_rows, stored_classes
from audit.errors import UsageError
from audit.sight.fit import picked
from audit.sight.joint_map import joint_map
from audit.sight.materials import LEAST, N_MATERIALS, mended
from audit.sight.trees import grown
from audit.sight.types import Material
from tests.sight.drawn import STEP, fitting
from tests.sight.test_joint_map import noisy, right

OPTIONS = JointOptions(rounds=6, depth=6)


@pytest.fixture
def photo(tmp_path: Path) -> Path:
    """Path of a photo of the drawing; its ids map lies beside it, with a little of every material in a corner."""
    ids = fitting().ids
    for k, material in enumerate(stored_classes()):
        ids[:12, 12 * k : 12 * (k + 1)] = material
    cv2.imwrite(str(tmp_path / "drawn.ids.png"), ids)
    return tmp_path / "drawn.jpg"


def test_the_pixels_taken_stand_for_all() -> None:
    ids = fitting().ids
    at, weight = picked(ids, np.random.default_rng(0), 20)
    assert len(np.unique(at)) == len(at)
    assert weight.sum() == pytest.approx(ids.size, rel=1e-4)
    for k in np.unique(ids):
        mine = ids.ravel()[at] == k
        assert weight[mine].sum() == pytest.approx((ids == k).sum(), rel=1e-4)


def test_trees_learn_what_both_maps_take_wrongly(photo: Path) -> None:
    """Grown on two pairs of maps of the drawing, asked of a third: better than the mean."""
    pytest.importorskip("xgboost")
    image = fitting().image()
    pairs = [(noisy(k, STEP), noisy(k + 10, 1.2 * STEP)) for k in range(3)]
    rows = [joint_rows(photo, image, *pair, OPTIONS) for pair in pairs[:2]]
    trees = grown_joint(rows, OPTIONS, 7, workers=1)
    mean = joint_map(image, *pairs[2], lambda _, r: np.ones((len(r), N_MATERIALS), np.float32))
    told = joint_map(image, *pairs[2], by_trees(trees))
    assert right(told) > right(mean) + 0.005


def test_what_is_stored_says_what_was_grown(photo: Path) -> None:
    """xgboost's own predictions against the tables that are stored."""
    pytest.importorskip("xgboost")
    pair = (noisy(1, STEP), noisy(2, 1.2 * STEP))
    rows = joint_rows(photo, fitting().image(), *pair, OPTIONS)
    trees = grown_joint([rows], OPTIONS, 7, workers=1)
    classes = stored_classes()
    asked = rows.features[::7].astype(np.float32)
    by = grown(trees, len(classes), over=True).told(asked)
    before = asked[:, -2 * N_MATERIALS :].reshape(-1, 2, N_MATERIALS).mean(1)[:, classes]
    margin = np.log(np.maximum(before, LEAST))
    own = trees.predict_proba(asked, base_margin=margin)
    assert mended(before, by) == pytest.approx(own, abs=1e-4)
    told = by_trees(trees)("", asked)
    assert told[:, classes] == pytest.approx(by, abs=1e-5)
    assert (told[:, Material.CARD] == 0).all()


def test_no_photo_teaches_nothing() -> None:
    with pytest.raises(UsageError, match="no photo with truth"):
        grown_joint([], OPTIONS, 7)


def test_photos_must_show_every_material_that_is_told(tmp_path: Path) -> None:
    cv2.imwrite(str(tmp_path / "drawn.ids.png"), fitting().ids)
    one = noisy(1, STEP)
    rows = joint_rows(tmp_path / "drawn.jpg", fitting().image(), one, one, OPTIONS)
    with pytest.raises(UsageError, match="shows some of the materials"):
        grown_joint([rows], OPTIONS, 7)
