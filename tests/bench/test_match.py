"""One-to-one matching of findings with truth items."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import box

from audit.bench.match import match_photo
from audit.bench.truth import TruthItem
from audit.measure.boxes import box_iou
from audit.measure.contract import FindingRecord
from tests.bench.conftest import SCALE, finding, item

COPPER = "copper-beyond-terminal"
side = st.floats(0, 100)
boxes = st.tuples(side, side, st.floats(1, 50), st.floats(1, 50)).map(
    lambda b: (b[0], b[1], b[0] + b[2], b[1] + b[3])
)


# Outside reference: shapely's polygons.
@given(boxes, boxes)
def test_iou_agrees_with_shapely(a: tuple, b: tuple) -> None:
    one, two = box(*a), box(*b)
    expected = one.intersection(two).area / one.union(two).area
    assert box_iou(a, b) == pytest.approx(expected, abs=1e-9)


def _items(*at: float) -> list[TruthItem]:
    return [TruthItem(**item(COPPER, 2.0, x)) for x in at]


def _findings(*at: float) -> list[FindingRecord]:
    return [FindingRecord(**finding(COPPER, "flag", x, 2.0)) for x in at]


def test_each_item_and_finding_comes_once() -> None:
    pairs = match_photo(_items(0, 100), _findings(5, 8, 300), SCALE)
    assert [(p.item is not None, p.finding is not None) for p in pairs].count((True, True)) == 1
    assert sum(p.item is not None for p in pairs) == 2
    assert sum(p.finding is not None for p in pairs) == 3


def test_the_nearer_of_two_findings_is_taken() -> None:
    (pair,) = [p for p in match_photo(_items(0), _findings(20, 4), SCALE) if p.item]
    assert pair.finding is not None
    assert pair.finding.box_px == (4, 50, 44, 90)


def test_more_pairs_go_before_nearer_pairs() -> None:
    # The first item could take either finding, the second only the one nearest the first.
    pairs = match_photo(_items(0, 28), _findings(2, -25), SCALE)
    assert all(p.item and p.finding for p in pairs)


# Limits of the contract: centres within 3 mm (30 px here), or IoU >= 0.3.
@pytest.mark.parametrize(("away", "matched"), [(29.9, True), (30.1, False)])
def test_centre_limit(away: float, matched: bool) -> None:
    pairs = match_photo(_items(0), _findings(away), SCALE)
    assert (len(pairs) == 1) is matched


def test_overlap_alone_is_enough() -> None:
    wide = TruthItem(**item(COPPER, 2.0, 0, box_px=[0.0, 0.0, 400.0, 100.0]))
    part = FindingRecord(**finding(COPPER, "flag", 0, 2.0, box_px=[0.0, 0.0, 150.0, 100.0]))
    assert len(match_photo([wide], [part], SCALE)) == 1  # IoU 0.375, centres 12.5 mm apart


def test_other_checks_never_match() -> None:
    other = FindingRecord(**finding("core-outside-grip", "flag", 0, 2.0))
    assert len(match_photo(_items(0), [other], SCALE)) == 2


def test_photo_items_match_by_being_of_the_photo() -> None:
    asked = TruthItem(**item("core-colours", None, 0, of="photo", box_px=None))
    said = FindingRecord(**finding("core-colours", "clear", 0, of="photo", box_px=None))
    assert len(match_photo([asked], [said], SCALE)) == 1
    of_cable = FindingRecord(**finding("core-colours", "clear", 0))
    assert len(match_photo([asked], [of_cable], SCALE)) == 2


@given(st.lists(side, max_size=4), st.lists(side, max_size=4))
def test_no_matching_has_more_pairs(asked: list[float], said: list[float]) -> None:
    # Outside reference: every one-to-one assignment tried in turn.
    pairs = match_photo(_items(*asked), _findings(*said), SCALE)
    found = sum(p.item is not None and p.finding is not None for p in pairs)
    short, long = sorted((asked, said), key=len)

    def near(a: float, b: float) -> bool:
        return len(match_photo(_items(a), _findings(b), SCALE)) == 1

    best = max(
        sum(near(a, b) for a, b in zip(short, order, strict=True))
        for order in itertools.permutations(long, len(short))
    )
    assert found == best
