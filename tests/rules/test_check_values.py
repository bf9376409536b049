"""Values of the rules against published ones: the table stands in `published`."""

from __future__ import annotations

import pytest

from audit.job.facts import Fitting
from audit.job.ipcode import Promise, parse_ip
from tests.rules.jobs import answer, job
from tests.rules.published import BATH, FREE, ROWS, UNTRAYED, Published, geometry


@pytest.mark.parametrize("row", ROWS, ids=lambda r: r.what)
def test_published_value(row: Published) -> None:
    assert row.got() == pytest.approx(row.is_, rel=0, abs=row.tolerance + 1e-12), row.source


IP60529 = "IEC 60529, as told in published summaries"
IP_CASES = [
    # code, degree of water, promise, source, verified
    ("IP44", 4, "yes", "clause 6: the numeral itself", "secondary"),
    ("IP44", 5, "no", "a lower numeral", "secondary"),
    ("IP65", 4, "yes", "numerals to 6 imply the lower ones", "secondary"),
    ("IP66", 1, "yes", "numerals to 6 imply the lower ones", "secondary"),
    ("IPX7", 5, "no", "7 does not imply 5", "secondary"),
    ("IPX7", 6, "no", "7 does not imply 6", "secondary"),
    ("IPX8", 5, "no", "8 does not imply 5", "secondary"),
    ("IPX8", 7, "yes", "8 is harsher than 7", "secondary"),
    ("IPX7", 8, "no", "7 is less than 8", "secondary"),
    ("IPX5/IPX7", 5, "yes", "dual code", "secondary"),
    ("IPX5/IPX7", 7, "yes", "dual code", "secondary"),
    ("IPX5/IPX7", 4, "yes", "dual code, by its 5", "secondary"),
    ("IPX6/IPX8", 6, "yes", "dual code", "secondary"),
    ("IPX9", 5, "no", "9 implies nothing lower", "memory"),
    ("IPX9", 9, "yes", "the numeral itself", "secondary"),
    ("IPX7", 4, "ask the maker", "the standard promises nothing either way", "memory"),
    ("IP2X", 4, "ask the maker", "X is unspecified, not zero", "secondary"),
    ("IP20", 1, "no", "0: none", "secondary"),
]


@pytest.mark.parametrize(("code", "needed", "promise", "gist", "verified"), IP_CASES)
def test_ip_water(code: str, needed: int, promise: str, gist: str, verified: str) -> None:
    assert parse_ip(code).keeps_out_water(needed) is Promise(promise), (IP60529, gist, verified)


PLACES = [
    # x beyond the bath's edge or outlet, height, tray or not, zone (IEC 60364-7-701 701.32; secondary)
    (0.00, 2.20, True, "1"), (0.59, 2.20, True, "2"), (0.60, 2.20, True, "2"), (0.61, 2.20, True, "outside"),
    (0.30, 2.25, True, "2"), (0.30, 2.26, True, "outside"), (-0.3, 2.25, True, "1"), (-0.3, 2.26, True, "outside"),
    (1.19, 2.20, False, "1"), (1.20, 2.20, False, "1"), (1.21, 2.20, False, "outside"), (1.00, 0.10, False, "0"),
    (1.00, 0.11, False, "1"), (1.50, 2.20, False, "outside"),
]  # fmt: skip


@pytest.mark.parametrize(("away", "height", "tray", "zone"), PLACES)
def test_zone_on_both_sides(away: float, height: float, tray: bool, zone: str) -> None:
    room = FREE if tray else UNTRAYED
    x = 1.7 + away if tray else away
    y = 0.35 if tray else 0.0
    fitting = Fitting(label="F", x_m=x, y_m=y, height_m=height, tape_u95_m=0.0)
    place = room.place(fitting)
    assert (place.zone, place.sure) == (zone, True)


def test_highest_outlet_raises_the_zones() -> None:
    """BS 7671 701.32: the higher of 2.25 m and the highest fixed outlet (secondary)."""
    room = geometry(bath=BATH, outlet=[{"at_m": [0.1, 0.3], "height_m": 2.4, "over": "bath"}])
    below, above = (
        Fitting(label="F", x_m=1, y_m=0.3, height_m=h, tape_u95_m=0.0) for h in (2.4, 2.41)
    )
    assert (room.place(below).zone, room.place(above).zone) == ("1", "outside")


def test_zs_of_a_reading_on_both_sides() -> None:
    """7.283 Ω for B6 (BS 7671 Table 41.3, secondary); 5.826 Ω for a cold reading (memory)."""
    states = {
        ohm: answer("zs", job(circuit={"zs_ohm": ohm})).state.value
        for ohm in (5.82, 5.83, 7.28, 7.29)
    }
    assert states == {5.82: "clear", 5.83: "unsure", 7.28: "unsure", 7.29: "flag"}


def test_there_are_enough_values_and_each_has_a_source() -> None:
    assert len(ROWS) + len(IP_CASES) + len(PLACES) >= 60
    assert all(
        r.source and r.verified in ("secondary", "single", "memory", "computed") for r in ROWS
    )
