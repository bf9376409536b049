"""Readings from drawn maps: the order of things along a cable, and lengths that are known exactly."""

from __future__ import annotations

import numpy as np
import pytest

from audit.sight.readings import read_cables
from audit.sight.strands import find_strands
from audit.sight.types import CableReading, Material, Readings

from .drawn import Drawing, fitting

PX_PER_MM = 8.0  # of the analysis picture: 4 map px, two picture px each


def read(drawing: Drawing) -> Readings:
    strands, materials = find_strands(drawing.map())
    return read_cables(drawing.image(), materials, strands)


def only(readings: Readings) -> CableReading:
    assert len(readings.cables) == 1, [c.id for c in readings.cables]
    return readings.cables[0]


def test_sheath_past_the_grip_is_read_in_that_order() -> None:
    cable = only(read(fitting(sheath_end=300)))
    order = [what for what, a, b in cable.spans if b - a > 4]
    assert order == ["sheath", "wall", "sheath", "grip", "sheath", "core"]
    assert cable.edge is not None and cable.grip_in is not None and cable.edge_seen
    past_mm = (cable.edge.at - cable.grip_in.at) / PX_PER_MM
    assert past_mm == pytest.approx((300 - 248) / 4, abs=0.5)


@pytest.mark.parametrize("stop", [120, 150, 170])
def test_cores_outside_the_wall_are_measured(stop: int) -> None:
    cable = only(read(fitting(sheath_end=stop)))
    assert cable.edge is not None and cable.wall is not None and cable.grip_out is not None
    assert (cable.wall.at - cable.edge.at) / PX_PER_MM == pytest.approx((200 - stop) / 4, abs=1.4)
    assert (cable.grip_out.at - cable.edge.at) / PX_PER_MM == pytest.approx(
        (228 - stop) / 4, abs=0.7
    )


def test_no_grip_in_sight_is_not_called_a_clamp() -> None:
    cable = only(read(fitting(grip=False)))
    assert cable.grip_out is None
    assert cable.kind != "clamp"


@pytest.mark.parametrize("mm", [2.0, 4.0, 8.0])
def test_copper_before_a_terminal_is_measured(mm: float) -> None:
    readings = read(fitting(copper_mm=mm))
    brown = [t for t in readings.tips if t.colour == "brown" and t.ends_at == "terminal"]
    assert len(brown) == 1
    assert brown[0].copper_px / PX_PER_MM == pytest.approx(mm, abs=0.6)
    blue = [t for t in readings.tips if t.colour == "blue"]
    assert all(t.copper_px == 0 for t in blue)


def test_insulation_up_to_the_mouth_shows_no_copper() -> None:
    tips = read(fitting()).tips
    assert {t.colour for t in tips} >= {"brown", "blue", "green-and-yellow"}
    assert all(t.copper_px == 0 for t in tips)
    assert all(t.ends_at == "terminal" for t in tips if t.colour in ("brown", "blue"))


def test_cpc_that_ends_in_the_open_is_told() -> None:
    assert only(read(fitting(cpc_end=390))).cpc == "cut_short"


def test_missing_cpc_is_told_from_a_present_one() -> None:
    d = fitting()
    d.ids[d.ids == int(Material.GREEN_YELLOW)] = int(Material.ENCLOSURE)
    assert only(read(d)).cpc == "none_comes_out"
    assert only(read(fitting())).cpc == "sleeved"


@pytest.mark.parametrize("turns", [1, 2, 3])
def test_reading_does_not_depend_on_how_the_photo_is_turned(turns: int) -> None:
    upright = only(read(fitting(sheath_end=150)))
    d = fitting(sheath_end=150)
    d.ids = np.ascontiguousarray(np.rot90(d.ids, turns))
    turned = only(read(d))
    assert upright.wall and upright.edge and turned.wall and turned.edge
    one = upright.wall.at - upright.edge.at
    other = turned.wall.at - turned.edge.at
    assert other == pytest.approx(one, abs=4.0)


def test_empty_map_gives_no_cable() -> None:
    readings = read(Drawing())
    assert readings.cables == () and readings.tips == ()
