"""Damaged insulation: where it is missing is what the truth tells, and copper is what lies there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from sample_images.scenes.curves import cut, length_along
from sample_images.scenes.damage import MARGIN, damaged, placed
from sample_images.scenes.layout import build_fitting
from sample_images.scenes.parts import Core, Fitting
from sample_images.scenes.plan import draw_fitting, draw_photo
from sample_images.scenes.truth import core_segments

SEED = 10_001


def _damaged(at: float, length: float, facing: float | None) -> tuple[Fitting, Core]:
    """A sound fitting, its first cable's line conductor damaged."""
    plan = draw_fitting(SEED, "fit", sloppy=0.0)
    first = plan.cables[0]
    name = first.colours[0]
    first = replace(first, laid_bare={name: (at, length, facing)})
    fit = build_fitting(replace(plan, cables=(first, *plan.cables[1:])))
    return fit, next(c for c in fit.cables[0].cores if c.name == name)


@pytest.mark.parametrize("facing", [None, 1.0])
@pytest.mark.parametrize("at", [0.0, 0.6, 1.0])
def test_copper_lies_between_two_pieces_of_insulation(at: float, facing: float | None) -> None:
    _, core = _damaged(at, 3.0, facing)
    runs = core_segments(core)
    assert [what for what, _, _ in runs[:3]] == ["core", "copper", "core"]
    _, start, stop = runs[1]
    assert stop - start == pytest.approx(3.0)
    assert start >= core.start + MARGIN - 1e-6
    assert stop <= min(core.insulated, core.end) - MARGIN + 1e-6
    if at == 0.0:
        assert start == pytest.approx(core.start + MARGIN)


def test_insulation_is_missing_where_the_truth_says_and_nowhere_else() -> None:
    """All round: no vertex of insulation over the stretch. From one side: the tube sinks below the copper there."""
    for facing in (None, 0.5):
        fit, core = _damaged(0.5, 4.0, facing)
        gone = core.laid_bare
        assert gone is not None
        mine = [p for p in fit.parts if p.tag == f"core:{core.cable}:{core.name}"]
        vertices = np.concatenate([p.mesh.v for p in mine])
        axis = cut(core.path, 0.0, core.insulated, 0.05)
        along = length_along(axis)
        near = np.array([int(np.argmin(np.linalg.norm(axis - v, axis=1))) for v in vertices])
        off = np.linalg.norm(vertices - axis[near], axis=1)
        inside = (along[near] > gone.start + 0.3) & (along[near] < gone.stop - 0.3)
        low = off < core.conductor / 2
        if facing is None:
            assert len(mine) == 2 and not inside.any()
        else:
            rim = off > 0.1 * core.radius  # but for the middles of the caps
            assert len(mine) == 1
            assert 0.2 < (low & inside & rim).sum() / (inside & rim).sum() < 0.45
        copper = [p for p in fit.parts if p.tag == f"copper:{core.cable}:{core.name}"]
        span = np.concatenate([p.mesh.v for p in copper])
        middle = cut(core.path, gone.start, gone.stop, 0.2)
        away = np.linalg.norm(span[None] - middle[:, None], axis=2).min(1)
        assert away.max() < core.conductor


def test_a_core_too_short_for_it_stays_whole() -> None:
    _, core = _damaged(0.5, 3.0, None)
    assert placed(core, 0.5, core.insulated, None) is None


def test_damage_is_drawn_from_the_seed_alone() -> None:
    plan, photo = draw_fitting(SEED, "fit"), draw_photo(SEED, "fit", "fit-1.jpg")
    once, again = damaged(plan, photo), damaged(plan, photo)
    assert once == again
    assert once[1].file == "fit-1-damaged.jpg"
    whole = [replace(c, laid_bare={}, cpc_bare=None) for c in once[0].cables]
    assert whole == list(plan.cables)


def test_much_of_the_set_is_damaged() -> None:
    drawn = [damaged(draw_fitting(s, "fit"), draw_photo(s, "fit", "x.jpg"))[0] for s in range(200)]
    gone = [g for plan in drawn for c in plan.cables for g in c.laid_bare.values()]
    assert len(gone) > 200
    assert 0.6 < np.mean([facing is None for _, _, facing in gone]) < 0.8
    assert all(1.2 <= mm <= 9.0 for _, mm, _ in gone)
    assert sum(c.cpc_bare is not None for plan in drawn for c in plan.cables) > 60
