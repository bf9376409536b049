"""Jaccard index of materials."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from PIL import Image

from audit.bench.materials import MATERIALS, confusion, material_scores
from audit.errors import PhotoError

maps = arrays(np.uint8, (6, 7), elements=st.integers(0, 14))


def _save(path: Path, ids: np.ndarray) -> Path:
    Image.fromarray(ids).save(path)
    return path


@given(maps, maps)
def test_iou_is_common_over_either(
    tmp_path_factory: pytest.TempPathFactory, true: np.ndarray, found: np.ndarray
) -> None:
    # Definition of Jaccard (1912), written with boolean masks.
    folder = tmp_path_factory.mktemp("maps")
    counts = confusion(_save(folder / "t.png", true), _save(folder / "f.png", found))
    for i, score in enumerate(material_scores(counts)):
        either = ((true == i) | (found == i)).sum()
        common = ((true == i) & (found == i)).sum()
        assert score.iou == (None if either == 0 else pytest.approx(common / either))


def test_open_pixels_are_left_out_and_unknown_ids_name_nothing(tmp_path: Path) -> None:
    true = _save(tmp_path / "t.png", np.array([[1, 1, 255]], np.uint8))
    found = _save(tmp_path / "f.png", np.array([[1, 77, 1]], np.uint8))
    sheath = material_scores(confusion(true, found))[1]
    assert (sheath.material, sheath.true_px, sheath.found_px, sheath.iou) == ("sheath", 2, 1, 0.5)


def test_sizes_must_agree(tmp_path: Path) -> None:
    true = _save(tmp_path / "t.png", np.zeros((4, 4), np.uint8))
    found = _save(tmp_path / "f.png", np.zeros((2, 2), np.uint8))
    with pytest.raises(PhotoError, match="2 x 2 px against a truth of 4 x 4 px"):
        confusion(true, found)


def test_there_are_as_many_names_as_ids() -> None:
    assert len(MATERIALS) == 15
    assert MATERIALS[8] == "bare copper"
