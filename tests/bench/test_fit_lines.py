"""What the forests of lines are taught: places along a cable, labelled from the truth."""

from __future__ import annotations

import numpy as np
import pytest

from audit.bench.fit_lines import labelled
from audit.bench.truth import Truth
from audit.sight.crossings import EDGE_FOREST, GRIP_FOREST, TRACKS, WALL_FOREST, Places

SCALE = 2.0


def truth(**cable: object) -> Truth:
    """A cable along x at y 100 (full photo): wall at 200, grip from 240 to 280, sheath to 320."""
    across = [80.0, 120.0]

    def line(x: float) -> list[list[float]]:
        return [[x, y] for y in across]

    entry = {"kind": "clamp", "wall_px": line(200), "grip_px": [*line(240), *line(280)[::-1]]}
    whole = {
        "id": "c1",
        "entry": entry,
        "sheath_edge_px": line(320),
        "reading": [{"what": "sheath", "path_px": [[0, 100], [160, 100], [320, 100]]}],
    }
    return Truth.model_validate(
        {"photo": "p.jpg", "usable": True, "scale": {"px_per_mm": 8.0}, "cables": [whole | cable]}
    )


def places(y: float = 50.0, backwards: bool = False) -> Places:
    s = np.arange(0, 240, 2.0)
    x = s[::-1] if backwards else s
    width = 20.0
    tracks = np.stack([np.stack([x, y + t * width + 0 * x], -1) for t in TRACKS], 1)
    return Places(s, tracks, np.zeros((len(s), 3, 1), np.float32), width)


def first_past(past: np.ndarray) -> float:
    return float(2 * int(np.argmax(past == 1)))


def test_each_line_is_labelled_where_it_lies() -> None:
    (got,) = labelled([places()], truth(), SCALE)
    assert first_past(got.past[WALL_FOREST][:, 1]) == pytest.approx(99.5, abs=1)
    assert first_past(got.past[GRIP_FOREST][:, 1]) == pytest.approx(119.5, abs=1)
    assert first_past(got.past[EDGE_FOREST][:, 1]) == pytest.approx(159.5, abs=1)
    held = np.flatnonzero(got.past[GRIP_FOREST][:, 1] == 1) * 2
    assert held.max() == pytest.approx(139.5, abs=2)


def test_an_edge_under_the_grip_is_placed_by_its_length() -> None:
    """The grip is 5 mm wide; the sheath ends 2 mm before its inner edge."""
    past = {"sheath_edge_px": None, "sheath_past_grip_mm": {"value": -2.0}}
    (got,) = labelled([places()], truth(**past), SCALE)
    assert first_past(got.past[EDGE_FOREST][:, 1]) == pytest.approx((280 - 16) / 2 - 0.5, abs=1)


def test_what_is_not_known_is_not_taught() -> None:
    (got,) = labelled([places()], truth(sheath_edge_px=None), SCALE)
    assert (got.past[EDGE_FOREST] == -1).all()


def test_a_cable_without_grip_teaches_that_there_is_none() -> None:
    entry = {"kind": "moulded", "wall_px": [[200, 80], [200, 120]], "grip_px": None}
    (got,) = labelled([places()], truth(entry=entry), SCALE)
    assert (got.past[GRIP_FOREST] == 0).all()


@pytest.mark.parametrize("wrong", [{"y": 90.0}, {"backwards": True}])
def test_places_along_no_cable_teach_nothing(wrong: dict[str, object]) -> None:
    assert labelled([places(**wrong)], truth(), SCALE) == []  # type: ignore[arg-type]
