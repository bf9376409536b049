"""What the forests of lines are taught: places along a cable, labelled from the truth."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from audit.bench.fit_lines import LabelledPlaces, fit_lines, labelled, told_by
from audit.bench.truth import Truth
from audit.sight.crossings import (
    AGAIN,
    EDGE_FOREST,
    FORESTS,
    GRIP_FOREST,
    TRACKS,
    WALL_FOREST,
    Places,
    tell_all,
)
from audit.sight.fit import FitOptions
from audit.sight.fit_folds import FOLDS

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


def noisy(rng: np.random.Generator) -> tuple[LabelledPlaces, Places]:
    """A cable of 60 places whose looks say little each: its lines lie at a third, half and two thirds or so."""
    n, grain, width = 60, 0.1, 20.0
    at = np.arange(n)
    wall, outer, inner, edge = np.sort(rng.integers(8, n - 8, 4))
    past = {
        WALL_FOREST: at >= wall,
        GRIP_FOREST: (at >= outer) & (at < inner),
        EDGE_FOREST: at >= edge,
    }
    looks = np.stack([past[f] for f in FORESTS], -1)[:, None] + rng.normal(0, 1.2, (n, 3, 3))
    labels = {f: np.repeat(y[:, None], 3, 1).astype(np.int8) for f, y in past.items()}
    s = at * grain * width
    rows = looks.astype(np.float32)
    return LabelledPlaces(rows.astype(np.float16), grain, labels), Places(
        s, np.zeros((n, 3, 2)), rows, width
    )


def test_the_second_telling_knows_more_than_the_first(tmp_path: Path) -> None:
    """On cables that no forest saw: what was told of the whole cable mends what single places say."""
    rng = np.random.default_rng(4)
    rows = [[noisy(rng)[0]] for _ in range(48)]
    grown = fit_lines(rows, FitOptions(workers=1), tmp_path)
    assert set(grown) == {*FORESTS, *AGAIN.values()}
    kept = {p.name for p in tmp_path.glob("*.ubj")}
    assert kept == {f"fold{k}-{f}.ubj" for k in range(FOLDS) for f in grown}

    def tell(places: Places, forest: str) -> np.ndarray:
        return told_by(grown[forest], places.rows)

    lost = {forest: [0.0, 0.0] for forest in AGAIN}
    for _ in range(12):
        label, places = noisy(rng)
        last = tell_all(places, tell)
        for forest in AGAIN:
            for k, told in enumerate((tell(places, forest), last[forest])):
                right = np.where(label.past[forest] == 1, told, 1 - told)
                lost[forest][k] -= float(np.log(np.clip(right, 1e-3, 1)).mean())
    for first, second in lost.values():
        assert second < 0.8 * first
