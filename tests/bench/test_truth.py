"""Truth files, as they come."""

from __future__ import annotations

import pytest

from audit.bench.truth import Truth
from audit.measure.declared import Declared
from tests.bench.conftest import truth_dict


def test_tags_as_a_table_become_words() -> None:
    tags = {
        "light": "torch-a",
        "card": True,
        "px_per_mm": 8.2,
        "poor": None,
        "sizes": ["2.5", "1.5"],
    }
    truth = Truth.model_validate(truth_dict("a.png", [], tags=tags))
    assert truth.tags == ("light:torch-a", "card:yes", "sizes:1.5", "sizes:2.5")


@pytest.mark.parametrize(
    ("card", "markers"),
    [
        (None, 0),
        ({"found": False, "markers_seen": [3]}, 1),
        ({"found": True, "markers_seen": [0, 2]}, 2),
        ({"found": True}, 4),
        ({"found": False}, 0),
    ],
)
def test_markers_in_view(card: dict | None, markers: int) -> None:
    assert Truth.model_validate(truth_dict("a.png", [], card=card)).markers_visible == markers


def test_declared_facts() -> None:
    told = {
        "cable_size": "1.5",
        "cables": 2,
        "terminals": 6,
        "factory_lead": False,
        "sheath": None,
        "view": "inside",
        "cpc_expected": True,
    }
    truth = Truth.model_validate(truth_dict("a.png", [], declared=told))
    assert truth.declared == Declared("1.5", 2, 6, False, None, "inside", True)
    assert Truth.model_validate(truth_dict("a.png", [])).declared is None
