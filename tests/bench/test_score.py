"""Verdicts and sums, each against what is counted by hand from the definitions in the docs."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from audit.bench.lines import line_distance, line_errors
from audit.bench.rows import Row, photo_rows
from audit.bench.run import Reading
from audit.bench.score import BenchResult, score_all, score_photo
from audit.bench.show import worst
from audit.bench.truth import Case, Truth
from audit.measure.contract import LookRecord
from tests.bench.conftest import SCALE, finding, item, look_dict, truth_dict

COPPER, GRIP = "copper-beyond-terminal", "core-outside-grip"


def _rows(items: list, findings: list, truth: dict | None = None, **look: Any) -> list[Row]:
    return photo_rows(
        Truth.model_validate(truth_dict("a.png", items, **(truth or {}))),
        LookRecord.model_validate(look_dict("a.png", findings, **look)),
    )


def _result(*photos: tuple[dict, dict | None]) -> BenchResult:
    scored = []
    for truth_data, look_data in photos:
        truth = Truth.model_validate(truth_data)
        case = Case(*(3 * [None]))  # type: ignore[arg-type]
        look = LookRecord.model_validate(look_data) if look_data else None
        fault = None if look_data else "broke"
        scored.append(score_photo(truth, Reading(case, look, fault=fault)))
    return score_all("set", scored)


@pytest.mark.parametrize(
    ("size", "visible", "state", "verdict", "wrongly_clear"),
    [
        (2.0, 1.0, "flag", "right flag", False),
        (2.0, 1.0, "unsure", "unsure", False),
        (2.0, 1.0, "clear", "said clear", True),
        (2.0, 1.0, None, "silent", True),
        (2.0, 0.5, None, "silent", True),
        (2.0, 0.49, None, "hidden", False),
        (2.0, 0.49, "flag", "right flag", False),
        (0.0, 1.0, "flag", "false flag", False),
        (0.0, 1.0, "clear", "right clear", False),
        (0.0, 1.0, None, "not asked", False),
    ],
)
def test_verdicts(
    size: float, visible: float, state: str | None, verdict: str, wrongly_clear: bool
) -> None:
    said = [finding(COPPER, state, 0, size)] if state else []
    (row,) = _rows([item(COPPER, size, 0, visible=visible)], said)
    assert (row.verdict, row.wrongly_clear) == (verdict, wrongly_clear)


def test_a_flag_on_nothing_is_false() -> None:
    (row,) = _rows([], [finding(COPPER, "flag", 0, 2.0)])
    assert row.verdict == "false flag"


def test_a_flag_three_cm_away_leaves_the_fault_silent() -> None:
    rows = _rows([item(COPPER, 2.0, 0)], [finding(COPPER, "flag", 300, 2.0)])
    assert sorted(r.verdict for r in rows) == ["false flag", "silent"]


def test_a_refused_photo_is_neither_found_nor_wrongly_clear() -> None:
    (row,) = _rows([item(COPPER, 2.0, 0)], [], outcome="retake", usable=False)
    assert (row.verdict, row.wrongly_clear) == ("refused", False)


def test_clear_in_a_refused_photo_is_still_wrongly_clear() -> None:
    said = [finding(COPPER, "clear", 0, 0.0)]
    (row,) = _rows([item(COPPER, 2.0, 0)], said, outcome="retake", usable=False)
    assert row.wrongly_clear


def test_faults_in_unusable_photos_do_not_count_but_clear_is_told() -> None:
    truth = truth_dict("a.png", [item(COPPER, 2.0, 0)], usable=False)
    result = _result((truth, look_dict("a.png", [finding(COPPER, "clear", 0, 0.0)])))
    assert result.all_checks.visible_faults == 0
    assert result.photos.clear_on_unusable == 1
    assert result.checks[COPPER].clear_though_hidden == 1
    assert (result.photos.unusable_refused.count, result.photos.unusable_refused.of) == (0, 1)


def test_a_broken_photo_counts_against_recall_and_is_named() -> None:
    result = _result((truth_dict("a.png", [item(COPPER, 2.0, 0)]), None))
    copper = result.checks[COPPER].all
    assert (copper.visible_faults, copper.refused, copper.recall.count) == (1, 1, 0)
    assert [f.photo for f in result.failures] == ["a.png"]
    assert result.photos.usable_refused.count == 1


def test_bands_with_and_without_card_add_up() -> None:
    def items() -> list:
        return [item(COPPER, 2.5, 0), item(COPPER, 1.0, 100)]

    said = [finding(COPPER, "flag", 0, 2.4)]
    bare = {"card": {"found": False}}
    score = _result(
        (truth_dict("a.png", items()), look_dict("a.png", said)),
        (truth_dict("b.png", items(), **bare), look_dict("b.png", [], **bare)),
    ).checks[COPPER]
    assert list(score.cards) == ["with card", "without card"]
    told = {name: (p["all"].right_flags, p["all"].silent) for name, p in score.cards.items()}
    assert told == {"with card": (1, 1), "without card": (0, 2)}
    assert score.cards["with card"]["2 to 3 mm"].recall.value == 1
    assert score.cards["without card"]["2 to 3 mm"].recall.value == 0
    for size, whole in {"all": score.all, **score.bands}.items():
        parts = [part[size] for part in score.cards.values()]
        assert sum(p.visible_faults for p in parts) == whole.visible_faults


def test_bands_go_by_true_size_and_precision_by_stated_size() -> None:
    items = [item(COPPER, 1.9, 0), item(COPPER, 2.5, 100), item(COPPER, 0.0, 200)]
    said = [
        finding(COPPER, "flag", 0, 2.1),
        finding(COPPER, "flag", 100, 2.6),
        finding(COPPER, "flag", 200, 2.2),
    ]
    bands = _result((truth_dict("a.png", items), look_dict("a.png", said))).checks[COPPER].bands
    two = bands["2 to 3 mm"]
    assert (two.visible_faults, two.recall.count) == (1, 1)
    assert (two.precision.count, two.precision.of) == (2, 3)
    assert bands["1 to 2 mm"].precision.of == 0
    assert bands["1 mm or more"].visible_faults == 2


def test_every_visible_fault_is_counted_in_exactly_one_column() -> None:
    states = ["flag", "unsure", "clear", None, "flag"]
    items = [item(GRIP, 3.0, 100.0 * i) for i in range(5)]
    said = [finding(GRIP, s, 100.0 * i, 3.0) for i, s in enumerate(states) if s]
    c = _result((truth_dict("a.png", items), look_dict("a.png", said))).checks[GRIP].all
    assert (c.right_flags, c.unsure, c.said_clear, c.silent, c.refused) == (2, 1, 1, 1, 0)
    assert c.visible_faults == 5
    assert c.wrongly_clear.value == pytest.approx(0.4)
    assert c.flagged_or_unsure.value == pytest.approx(0.6)


def _copper_end(x: float, value: float, bound: str, end: str) -> tuple[dict, dict]:
    measured = {"value": value, "u95": 0.5, "bound": bound}
    told = {"id": end, "cable": "c1", "colour": "blue", "ends_at": "terminal"}
    return finding(COPPER, "flag", x, value, of=end), {**told, "copper_mm": measured}


def test_lengths_by_hand_with_bounds_apart() -> None:
    # Errors +0.2 (within 0.5), -0.8 (not); at least 1.0 of 3.0 holds; 0 against 0 is left out.
    items = [item(COPPER, s, 100.0 * i, of=f"e{i}") for i, s in enumerate([2.0, 3.0, 3.0, 0.0])]
    told = [
        _copper_end(0, 2.2, "exact", "e0"),
        _copper_end(100, 2.2, "exact", "e1"),
        _copper_end(200, 1.0, "at_least", "e2"),
    ]
    clear = finding(COPPER, "clear", 300, 0.0, of="e3")
    look = look_dict("a.png", [f for f, _ in told] + [clear], ends=[e for _, e in told])
    lengths = _result((truth_dict("a.png", items), look)).lengths["with card"]
    assert lengths.error_mm.n == 2
    assert lengths.error_mm.bias == pytest.approx(-0.3)
    assert (lengths.within_u95.count, lengths.within_u95.of) == (1, 2)
    assert (lengths.bounds_held.count, lengths.bounds_held.of) == (1, 1)


def test_with_and_without_card() -> None:
    bare = truth_dict("b.png", [item(COPPER, 2.0, 0)], card={"found": True, "markers_seen": [2]})
    result = _result((bare, look_dict("b.png", [finding(COPPER, "flag", 0, 2.4)])))
    assert result.lengths["with card"].error_mm.n == 0
    assert result.lengths["without card"].error_mm.median_abs == pytest.approx(0.4)
    assert result.photos.card_found.of == 0


def test_scale_error_and_uncertainty() -> None:
    look = look_dict("a.png", [], scale={"px_per_mm": 10.5, "u95_rel": 0.03, "from": "card"})
    photos = _result((truth_dict("a.png", []), look)).photos
    assert photos.scale_error_card.median_abs == pytest.approx(0.05)
    assert photos.scale_within_u95.count == 0


def test_the_cards_own_size_is_told_apart_from_the_scale_at_the_work() -> None:
    """A square of 100 px found as one of 102 px: 2 % off, whatever lies nearer or farther."""

    def square(side: float) -> list[list[float]]:
        return [[10, 10], [10 + side, 10], [10 + side, 10 + side], [10, 10 + side]]

    truth = truth_dict("a.png", [], card={"found": True, "corners_px": square(100)})
    look = look_dict("a.png", [], card={"found": True, "corners_px": square(102)})
    assert _result((truth, look)).photos.scale_error_in_card.median_abs == pytest.approx(0.02)
    assert _result((truth, look_dict("a.png", []))).photos.scale_error_in_card.n == 0


def test_reliability_takes_unmatched_findings_as_no_fault() -> None:
    truth = truth_dict("a.png", [item(COPPER, 0.0, 300)])
    result = _result((truth, look_dict("a.png", [finding(COPPER, "flag", 0, 2)])))
    assert result.reliability.ece == pytest.approx(0.95)


def test_unsure_share_is_of_all_findings_on_usable_photos() -> None:
    said = [finding(COPPER, s, 100.0 * i, 1.0) for i, s in enumerate(["unsure", "clear", "flag"])]
    asked = [item(COPPER, 0.0, 400)]
    poor = truth_dict("b.png", asked, usable=False)
    result = _result(
        (truth_dict("a.png", asked), look_dict("a.png", said)), (poor, look_dict("b.png", said))
    )
    assert (result.unsure_of_usable.count, result.unsure_of_usable.of) == (1, 3)


def test_checks_that_the_truth_is_silent_on_are_named_and_not_scored() -> None:
    said = [finding(COPPER, "flag", 0, 2.0), finding("core-colours", "flag", 0)]
    result = _result((truth_dict("a.png", [item(COPPER, 2.0, 0)]), look_dict("a.png", said)))
    assert result.not_scored == {"core-colours": 1}
    assert result.all_checks.false_flags == 0


def test_tags_are_scored_apart() -> None:
    dim = truth_dict("b.png", [item(COPPER, 2.0, 0)], tags=["light:window"])
    result = _result(
        (truth_dict("a.png", [item(COPPER, 2.0, 0)]), look_dict("a.png", [])),
        (dim, look_dict("b.png", [finding(COPPER, "flag", 0, 2.0)])),
    )
    assert result.tags["light:torch"].silent == 1
    assert result.tags["light:window"].right_flags == 1


def test_worst_puts_clear_before_silent_before_false() -> None:
    items = [item(GRIP, 1.0, 0), item(GRIP, 5.0, 100), item(GRIP, 4.0, 200)]
    said = [finding(GRIP, "clear", 0, 0.0), finding(GRIP, "flag", 500, 9.0)]
    truth = Truth.model_validate(truth_dict("a.png", items))
    look = LookRecord.model_validate(look_dict("a.png", said))
    case = Case(*(3 * [None]))  # type: ignore[arg-type]
    rows = worst([score_photo(truth, Reading(case, look))], 3)
    assert [(r.verdict, r.size_mm) for r in rows] == [
        ("said clear", 1.0),
        ("silent", 5.0),
        ("silent", 4.0),
    ]


# Plane geometry: a parallel line 3 away; a line through the middle at 45 degrees
# is (2 + 0 + 2) / 3 / sqrt(2) away on average from the ends at +-2 and the middle.
def test_line_distance_by_hand() -> None:
    upright = np.array([[0.0, -2.0], [0.0, 2.0]])
    assert line_distance(upright, np.array([[3.0, 0.0], [3.0, 9.0]])) == pytest.approx(3.0)
    slanted = np.array([[-5.0, -5.0], [7.0, 7.0]])
    assert line_distance(upright, slanted) == pytest.approx(4 / 3 / np.sqrt(2))


@pytest.mark.parametrize("turned", [0, 1, 2, 3])
def test_grip_error_does_not_hang_on_the_order_of_corners(turned: int) -> None:
    truth = Truth.model_validate(truth_dict("a.png", []))
    data = look_dict("a.png", [])
    entry = data["cables"][0]["entry"]
    shifted = [[x + 7.0, y] for x, y in entry["grip_px"]]
    entry["grip_px"] = shifted[turned:] + shifted[:turned]
    errors = line_errors(truth, LookRecord.model_validate(data))
    assert errors.grip_mm == pytest.approx((7.0 / SCALE,))
    assert errors.wall_mm == pytest.approx((0.0,))


def test_lines_not_given_and_lines_too_far_are_missed() -> None:
    data = look_dict("a.png", [])
    entry = data["cables"][0]["entry"]
    entry["wall_px"] = [[400.0, 50.0], [400.0, 150.0]]
    entry["grip_px"] = None
    photos = _result((truth_dict("a.png", []), data)).photos
    assert (photos.walls_given.count, photos.walls_given.of) == (0, 1)
    assert (photos.grips_given.count, photos.grips_given.of) == (0, 1)
