"""Minutes that a ceiling needs, and what a flag weighs (Approved Document B, read in secondary texts)."""

from __future__ import annotations

from typing import Any

import pytest

from audit.rules import Weight
from tests.rules.jobs import answer, job

BED = {"above": "bedroom", "separates_dwellings": False}
HOUSE = {"use": "house", "storeys": 2, "top_floor_height_m": 2.7}

# room, building, minutes, sure. Table B3: secondary; B4: an informal text. Three storeys at 30, low flats at
# 30, flat roofs, garages: memory, and so unsure or asked about.
NEEDS: list[tuple[dict[str, Any], dict[str, Any], float | None, str]] = [
    (BED, HOUSE, 30, "clear"),
    (BED, {**HOUSE, "top_floor_height_m": 5.0}, 30, "clear"),
    (BED, {**HOUSE, "top_floor_height_m": 5.1}, 60, "clear"),
    (BED, {"use": "house", "storeys": 3, "top_floor_height_m": 5.0}, 30, "clear"),
    (BED, {"use": "house", "storeys": 3, "top_floor_height_m": 5.1}, 60, "unsure"),
    (BED, {"use": "house", "storeys": 4, "top_floor_height_m": 8.0}, 60, "clear"),
    (BED, {"use": "maisonette", "top_floor_height_m": 5.0}, 30, "clear"),
    (
        {**BED, "separates_dwellings": True},
        {"use": "flats", "top_floor_height_m": 5.0},
        60,
        "unsure",
    ),
    (
        {**BED, "separates_dwellings": True},
        {"use": "flats", "top_floor_height_m": 5.1},
        60,
        "clear",
    ),
    ({"above": "other dwelling"}, {"use": "flats"}, None, "missing"),
    ({"above": "loft"}, HOUSE, 0, "clear"),
    ({"above": "flat roof"}, HOUSE, 0, "unsure"),
    ({"above": "loft", "separates_dwellings": False}, {"use": "flats"}, 0, "unsure"),
    ({**BED, "kind": "garage"}, HOUSE, 30, "clear"),
    ({**BED, "fire_needed_min": 90}, {}, 90, "clear"),
    (BED, {"use": "other"}, None, "missing"),
]


@pytest.mark.parametrize(("room", "building", "minutes", "state"), NEEDS)
def test_minutes(
    room: dict[str, Any], building: dict[str, Any], minutes: float | None, state: str
) -> None:
    item = answer("fire-needed", job(room=room, building=building))
    assert item is not None
    assert (item.value, item.state.value) == (minutes, state), item.why


@pytest.mark.parametrize(
    ("floor", "needed", "weight"),
    [
        ("solid joist", 30, Weight.PUT_RIGHT), ("solid joist", 31, Weight.STOP),
        ("i-joist", 30, Weight.STOP), ("metal web", 30, Weight.STOP), (None, 30, Weight.STOP),
    ],
)  # fmt: skip
def test_solid_joists_at_thirty_minutes_weigh_less(floor: str, needed: int, weight: Weight) -> None:
    """Tests told of no early failure of 30-minute floors on solid joists (secondary)."""
    room = {**BED, "floor": floor, "fire_needed_min": needed}
    item = answer("fire-rating", job({"fire_min": 0}, room))
    assert item is not None and (item.state.value, item.weight) == ("flag", weight)


def test_no_room_above_makes_an_unrated_fitting_clear() -> None:
    from typing import get_args

    from audit.job.room import Above

    for region in ("international", "gb-eng"):
        for above in get_args(Above):
            item = answer("fire-room-above", job({"fire_min": 0}, {"above": above}, region=region))
            assert item is not None and item.state.value in ("flag", "unsure"), above
