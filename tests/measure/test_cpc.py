"""A bare protective conductor that crosses under the cores of its cable."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from audit.measure import ruled_out
from audit.measure.contract import FindingRecord
from audit.measure.cpc_findings import adopted, cpc_findings
from audit.measure.ruled_out import asked
from audit.measure.scale import WorkScale
from audit.sight.types import CableReading, Line, Readings, Tip

SCALE = WorkScale(10.0, 0.02, None, None, "card")
SIZE = (2000, 2000)


def cable(cpc: str = "not_seen", name: str = "c1", x: float = 500.0) -> CableReading:
    """A cable straight down, its sheath's end at y = 400; 10 px are 1 mm."""
    y = np.linspace(0, 900, 200)
    axis = np.stack([np.full_like(y, x), y], -1)
    edge = Line(np.array([[x - 40, 400.0], [x + 40, 400.0]]), 400.0, 2.0)
    return CableReading(
        name, "grey", axis, y, 80.0, edge, True, None, None, None, "clamp",
        (("sheath", 0.0, 400.0),), (0, 1), True, cpc=cpc,
    )  # fmt: skip


def bare(length_mm: float, x: float = 520.0, y: float = 600.0, ends_at: str = "terminal") -> Tip:
    """A bare conductor of no cable that leads away to the right from (x, y)."""
    path = np.stack(
        [x + np.arange(0, length_mm * 10 + 1, 10.0), np.full(int(length_mm) + 1, y)], -1
    )
    return Tip(-1, 0, None, "bare", path, 14.0, path[-1:], 0.0, 1.0, ends_at, False)


def unsleeved(reading: CableReading, tips: list[Tip]) -> tuple[str, float | None]:
    loose = adopted(Readings((reading,), tuple(tips)), SCALE, 1.0)
    _, found = cpc_findings(reading, [], SCALE, 1.0, SIZE, None, loose.get(reading.id, ()))
    (one,) = (f for f in found if f.check == "cpc-unsleeved")
    return one.state, one.value_mm


def test_a_long_bare_conductor_under_the_cores_is_an_unsleeved_cpc() -> None:
    state, value = unsleeved(cable(), [bare(18)])
    assert state == "flag"
    assert value == pytest.approx(18, abs=0.2)


def test_runs_of_one_cpc_are_added_up() -> None:
    state, value = unsleeved(cable(), [bare(9), bare(8, y=760.0)])
    assert state == "flag"
    assert value == pytest.approx(17, abs=0.3)


def test_a_short_piece_may_be_anything_and_is_left_unsure() -> None:
    assert unsleeved(cable(), [bare(9)])[0] == "unsure"


def test_one_that_is_not_seen_to_run_to_a_terminal_may_be_another_cores_end() -> None:
    assert unsleeved(cable(), [bare(18, ends_at="hidden")])[0] == "unsure"


def test_its_box_reaches_from_the_sheaths_end_to_where_it_is_last_seen() -> None:
    _, found = cpc_findings(cable(), [], SCALE, 1.0, SIZE, None, [bare(18)])
    box = next(f.box_px for f in found if f.check == "cpc-unsleeved")
    assert box is not None
    assert box[1] <= 400 and box[3] >= 600 and box[2] >= 700


@pytest.mark.parametrize("cpc", ["sleeved", "cut_short"])
def test_a_cable_whose_cpc_is_seen_takes_no_other(cpc: str) -> None:
    assert adopted(Readings((cable(cpc),), (bare(18),)), SCALE, 1.0) == {}


def test_the_nearer_of_two_cables_takes_it_and_a_far_one_none() -> None:
    two = Readings((cable(), cable(name="c2", x=560.0)), (bare(18, x=540.0),))
    assert list(adopted(two, SCALE, 1.0)) == ["c2"]
    assert adopted(replace(two, tips=(bare(18, x=900.0),)), SCALE, 1.0) == {}


def test_without_a_scale_none_is_taken() -> None:
    none = WorkScale(None, None, None, None, "none")
    assert adopted(Readings((cable(),), (bare(18),)), none, 1.0) == {}


def test_a_piece_that_seems_to_end_in_the_open_is_no_fact_for_the_rules() -> None:
    record, found = cpc_findings(cable("cut_short"), [], SCALE, 1.0, SIZE, None)
    assert record.seen == "not_seen"
    assert [f.state for f in found if f.check == "cpc-cut-short"] == ["unsure"]


@pytest.mark.parametrize(("told", "said"), [(0.001, "clear"), (0.2, "unsure"), (None, "clear")])
def test_sleeving_is_called_seen_only_where_the_evidence_agrees(
    told: float | None, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A green-and-yellow piece may be the neighbour's; a mark leaves no evidence to weigh."""
    monkeypatch.setattr("audit.measure.cpc_findings.fault_probability", lambda *_: told)
    monkeypatch.setattr("audit.measure.cpc_findings.cut_probability", lambda *_: None)
    path = np.stack([np.full(40, 500.0), np.linspace(400, 790, 40)], -1)
    own = Tip(
        0, -1, "c1", "green-and-yellow", path, 26.0, path[-1:].repeat(2, 0), 0.0, 1.0, "terminal", True,
        colour_score=0.9,
    )  # fmt: skip
    evidence = None if told is None else np.zeros(3, np.float32)
    reading = replace(cable("sleeved"), evidence=evidence)
    _, found = cpc_findings(reading, [own], SCALE, 1.0, SIZE, True)
    (one,) = (f for f in found if f.check == "cpc-unsleeved")
    assert one.state == said
    assert one.score == (0.01 if told is None else told)


@pytest.mark.parametrize(("told", "said"), [(0.89, "unsure"), (0.91, "flag")])
def test_what_one_look_alone_has_seen_of_a_cut_cpc_must_be_very_likely(
    told: float, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("audit.measure.cpc_findings.cut_probability", lambda *_: told)
    reading = replace(cable("not_seen"), evidence=np.zeros(3, np.float32))
    _, found = cpc_findings(reading, [], SCALE, 1.0, SIZE, True)
    assert [f.state for f in found if f.check == "cpc-cut-short"] == [said]


def test_a_cpc_is_clear_by_one_piece_that_is_seen_plainly_and_meets_a_terminal() -> None:
    """A long piece that something hides and a stump in a terminal may be two conductors'."""
    path = np.stack([np.full(40, 500.0), np.linspace(400, 790, 40)], -1)
    long = Tip(
        0, -1, "c1", "green-and-yellow", path, 26.0, path[-1:].repeat(2, 0), 0.0, 1.0, "hidden", True,
        colour_score=0.9,
    )  # fmt: skip
    stump = replace(long, path=path[-3:], ends_at="terminal")
    for tips, said in (([long, stump], "unsure"), ([replace(long, ends_at="terminal")], "clear")):
        _, found = cpc_findings(cable("sleeved"), tips, SCALE, 1.0, SIZE, True)
        assert next(f for f in found if f.check == "cpc-cut-short").state == said


@pytest.mark.parametrize(
    ("seen", "told", "expected", "said"),
    [
        ("sleeved", 0.01, True, "clear"),
        ("sleeved", 0.2, True, "unsure"),
        ("sleeved", 0.4, True, "unsure"),
        ("sleeved", None, True, "clear"),
        ("sleeved", 0.51, True, "unsure"),
        ("not_seen", 0.51, True, "flag"),
        ("not_seen", 0.49, True, "unsure"),
        ("not_seen", 0.51, None, "unsure"),
        ("not_seen", 0.1, True, "unsure"),
        ("none_comes_out", 0.51, True, "flag"),
        ("none_comes_out", 0.1, True, "unsure"),
        ("none_comes_out", None, True, "flag"),
        ("none_comes_out", 0.1, None, "unsure"),
    ],
)
def test_a_cpcs_end_is_told_by_what_is_read_and_by_the_evidence(
    seen: str, told: float | None, expected: bool | None, said: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Evidence alone never clears, and flags only where the cable is declared to have a CPC."""
    monkeypatch.setattr("audit.measure.cpc_findings.cut_probability", lambda *_: told)
    monkeypatch.setattr("audit.measure.cpc_findings.fault_probability", lambda *_: 0.001)
    path = np.stack([np.full(40, 500.0), np.linspace(400, 790, 40)], -1)
    own = Tip(
        0, -1, "c1", "green-and-yellow", path, 26.0, path[-1:].repeat(2, 0), 0.0, 1.0, "terminal", True,
        colour_score=0.9,
    )  # fmt: skip
    reading = replace(cable(seen), evidence=np.zeros((2, 3), np.float32))
    tips = [own] if seen == "sleeved" else []
    record, found = cpc_findings(reading, tips, SCALE, 1.0, SIZE, expected)
    one, *more = (f for f in found if f.check == "cpc-cut-short")
    assert one.state == said
    # Where what is seen may be a neighbour's, the sheath's end is shown as well.
    assert [f.state for f in more] == (["unsure"] if seen == "sleeved" and said == "unsure" else [])
    # What the evidence does not bear out is no fact for the rules.
    assert (record.seen == seen) == (said != "unsure" or seen != "none_comes_out" or not expected)
    if told is not None:
        assert one.score == told
    if said != "clear":
        assert one.why


def test_a_cpc_that_is_not_seen_is_doubted_from_the_sheaths_end_on() -> None:
    """A stump that was cut short starts there: the box holds the sheath's end and one width behind it."""
    _, found = cpc_findings(cable(), [], SCALE, 1.0, SIZE, None)
    (one,) = (f for f in found if f.check == "cpc-cut-short")
    assert one.box_px == pytest.approx((460.5, 336.5, 540.5, 520.5), abs=5)


def sleeved(begins_mm: float, x: float = 510.0, cable_id: str = "c1") -> Tip:
    """A green-and-yellow piece that begins so far behind the sheath's end and runs to a terminal."""
    path = np.stack([np.full(40, x), np.linspace(400 + 10 * begins_mm, 790, 40)], -1)
    return Tip(
        0, -1, cable_id, "green-and-yellow", path, 26.0, path[-1:].repeat(2, 0), 0.0, 1.0, "terminal",
        True, colour_score=0.9,
    )  # fmt: skip


def sleeving(tips: list[Tip], reading: CableReading | None = None) -> FindingRecord:
    _, found = cpc_findings(reading or cable("sleeved"), tips, SCALE, 1.0, SIZE, True)
    (one,) = (f for f in found if f.check == "cpc-unsleeved")
    return one


@pytest.mark.parametrize("begins_mm", [2.6, 5.0, 12.0])
def test_a_sleeve_that_begins_late_is_in_doubt_and_measured(begins_mm: float) -> None:
    """Bare copper between the sheath and its sleeve is a fault whatever the sleeve does farther on."""
    one = sleeving([sleeved(begins_mm)])
    assert one.state == "unsure"
    assert one.value_mm == pytest.approx(begins_mm, abs=0.06)
    assert one.u95_mm == pytest.approx(1.8, abs=0.3)
    assert f"{begins_mm:.1f} ±" in one.why
    assert one.box_px is not None
    # The stretch before the sleeve, not the sleeve.
    assert one.box_px[1] <= 400 <= one.box_px[3]
    assert one.box_px[3] == pytest.approx(400 + 10 * begins_mm, abs=20)


@pytest.mark.parametrize("begins_mm", [0.0, 1.0, 1.9])
def test_a_sleeve_that_begins_at_the_sheaths_end_is_clear(begins_mm: float) -> None:
    assert sleeving([sleeved(begins_mm)]).state == "clear"


def test_the_piece_that_comes_first_counts_whichever_way_it_was_followed() -> None:
    back = sleeved(1.0)
    back = replace(back, path=back.path[::-1])
    assert sleeving([sleeved(6.0), back]).state == "clear"


def test_without_a_sheaths_end_or_a_scale_no_length_is_made_up() -> None:
    unseen = sleeving([sleeved(0.0)], replace(cable("sleeved"), edge=None))
    assert (unseen.state, unseen.value_mm) == ("unsure", None)
    covered = sleeving([sleeved(0.0)], replace(cable("sleeved"), edge_seen=False))
    assert (covered.state, covered.value_mm) == ("unsure", None)
    none = WorkScale(None, None, None, None, "none")
    for begins_mm, state in ((6.0, "unsure"), (1.0, "clear")):
        _, found = cpc_findings(cable("sleeved"), [sleeved(begins_mm)], none, 1.0, SIZE, True)
        (one,) = (f for f in found if f.check == "cpc-unsleeved")
        assert (one.state, one.value_mm) == (state, None)


@pytest.mark.parametrize(("score", "length"), [(0.1, 60.0), (0.9, 20.0)])
def test_a_shred_by_the_sheaths_end_is_no_sleeve(score: float, length: float) -> None:
    path = np.stack([np.full(10, 505.0), np.linspace(402, 402 + length, 10)], -1)
    shred = replace(sleeved(0.0), path=path, colour_score=score)
    assert sleeving([shred, sleeved(12.0)]).value_mm == pytest.approx(12, abs=0.1)


def test_a_bare_stretch_that_is_seen_before_a_sleeve_is_asked_about_as_well(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(ruled_out, "fault_probability", lambda *_: 0.0)
    path = np.stack([np.full(9, 510.0), np.linspace(400, 480, 9)], -1)
    stub = replace(sleeved(8.0), colour="bare", path=path, ends_at="hidden")
    one = sleeving([stub, sleeved(8.0)])
    assert (one.state, one.value_mm) == ("unsure", 8.0)
    assert one.box_px is not None
    assert one.box_px[3] < 500
    assert asked([one], np.zeros(3, np.float32)) == [one]


def test_a_sleeve_that_begins_late_is_asked_about_whatever_the_trees_say(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """They learned from no CPC that is bare for a few millimetres only."""
    monkeypatch.setattr(ruled_out, "fault_probability", lambda *_: 0.0)
    row = np.zeros(3, np.float32)
    late = sleeving([sleeved(6.0)])
    assert asked([late], row) == [late]
    assert asked([late.model_copy(update={"u95_mm": None})], row) == []
