"""The scale told by trees: what they are shown, and that what is stored says what was grown."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from audit.errors import UsageError
from audit.sight import near_told as module
from audit.sight.fit_nearness import NearOptions, fit_nearness, grown_nearness
from audit.sight.near_told import (
    APART,
    FARTHER,
    FOREST,
    MOST,
    NONE,
    USUAL,
    near_features,
    two_scales,
)
from audit.sight.nearness import nearness
from audit.sight.trees import grown
from audit.sight.types import Material, MaterialMap
from tests.sight.drawn import Drawing, fitting


def test_figures_are_in_widths_of_the_core() -> None:
    """The same map at another step is the same fitting in another photo."""
    near_by = fitting().map()
    far = MaterialMap(near_by.prob, near_by.step / 2)
    one, other = nearness(near_by), nearness(far)
    assert one is not None
    assert other is not None
    assert one.px_per_mm == pytest.approx(2 * other.px_per_mm)
    assert near_features(near_by, one) == pytest.approx(near_features(far, other), abs=1e-4)


def test_what_is_not_there_says_so() -> None:
    drawing = Drawing()
    drawing.line((100, 300), (700, 300), Material.BROWN, 11)
    found = drawing.map()
    near = nearness(found)
    assert near is not None
    row = near_features(found, near)
    assert np.isfinite(row).all()
    assert (row == NONE).sum() > 20
    assert (near_features(fitting().map(), near) == NONE).sum() < (row == NONE).sum()


def test_a_wide_sheath_is_seen_beside_a_thin_core() -> None:
    """Width of the sheath over that of the cores, from the drawing: the figure the trees need most."""
    found = fitting().map()
    near = nearness(found)
    assert near is not None
    row = near_features(found, near)
    first = 4 + 6 + 5 + 8  # what stands before the groups; the sheath's comes first
    size, *widths = row[first : first + 5]
    assert size > 0
    assert np.exp(widths[2]) > 1.5


@pytest.mark.parametrize(
    ("told", "factor"),
    [
        (0.0, APART),
        (0.5, np.exp(0.5)),
        (-0.5, np.exp(-0.5)),
        (9.0, np.exp(MOST)),
        (-0.05, APART),
    ],
)
def test_two_looks_are_kept_apart(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, told: float, factor: float
) -> None:
    (tmp_path / "materials").mkdir()
    (tmp_path / "materials" / FOREST).touch()
    monkeypatch.setattr(module, "models_dir", lambda: tmp_path)
    monkeypatch.setattr(module, "stored", lambda name, rows: np.full((1, 1), told, np.float32))
    found = fitting().map()
    scales = two_scales(found)
    assert scales is not None
    first, second = scales
    assert second == nearness(found)
    assert first.px_per_mm / second.px_per_mm == pytest.approx(factor)
    assert not FARTHER < factor < APART
    wider = first.box[2] - first.box[0] > second.box[2] - second.box[0]
    assert wider == (factor > 1)


def test_without_a_core_there_is_no_scale_to_look_at() -> None:
    assert two_scales(Drawing().map()) is None


def test_without_stored_trees_the_usual_factor_is_taken(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr(module, "models_dir", lambda: tmp_path)
    scales = two_scales(fitting().map())
    assert scales is not None
    assert scales[0].px_per_mm / scales[1].px_per_mm == pytest.approx(USUAL)


def test_what_is_stored_says_what_was_grown() -> None:
    """xgboost's own prediction against the tables that are stored."""
    pytest.importorskip("xgboost")
    rng = np.random.default_rng(0)
    rows = [(x, float(x[0] - 0.5 * x[3])) for x in rng.normal(0, 1, (200, 6)).astype(np.float32)]
    trees = grown_nearness(rows, NearOptions(rounds=30), 7)
    asked = rng.normal(0, 1, (50, 6)).astype(np.float32)
    told = grown(trees, 1).told(asked)
    assert told[:, 0] == pytest.approx(trees.predict(asked), abs=1e-5)
    assert np.corrcoef(told[:, 0], asked[:, 0] - 0.5 * asked[:, 3])[0, 1] > 0.8


def test_too_few_photos_are_refused_and_nothing_is_written(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="only 0 photos"):
        fit_nearness([], tmp_path, workers=1)
    assert list(tmp_path.iterdir()) == []
