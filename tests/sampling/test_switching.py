"""Switching rules of ISO 2859-1, 9.3 (from memory of the 1999 edition), each on its own."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.errors import UsageError
from audit.sampling.plans import plan
from audit.sampling.sizing import ZERO_WHY, by_plan
from audit.sampling.switching import SCORE_FOR_REDUCED, Lot, Scheme, follow

SCHEME = Scheme("4.0")  # a lot of 30 has n 13, Ac 1
GOOD, BAD = Lot(30, 0), Lot(30, 2)


def test_it_begins_on_normal() -> None:
    assert follow([], SCHEME).severity == "normal"
    assert follow([BAD], SCHEME).severity == "normal"


@pytest.mark.parametrize("between", [0, 1, 2, 3])
def test_two_of_five_or_fewer_lots_over_tighten(between: int) -> None:
    lots = [BAD, *[GOOD] * between, BAD]
    assert follow(lots, SCHEME).severity == "tightened"


def test_two_of_six_do_not() -> None:
    assert follow([BAD, *[GOOD] * 4, BAD], SCHEME).severity == "normal"


def test_five_within_in_a_row_on_tightened_lead_back() -> None:
    tightened = [BAD, BAD]
    assert follow([*tightened, *[GOOD] * 4], SCHEME).severity == "tightened"
    assert follow([*tightened, *[GOOD] * 5], SCHEME).severity == "normal"
    # One over in between begins the count anew.
    assert follow([*tightened, *[GOOD] * 4, BAD, *[GOOD] * 4], SCHEME).severity == "tightened"


def test_five_over_on_tightened_discontinue() -> None:
    """Five in all while on tightened inspection, not in a row."""
    lots = [BAD, BAD, BAD, GOOD, BAD, BAD, GOOD, BAD]
    assert not follow(lots, SCHEME).stopped
    stopped = follow([*lots, BAD], SCHEME)
    assert stopped.stopped
    assert follow([*lots, BAD, *[GOOD] * 20], SCHEME).stopped  # good lots alone do not undo it
    sized = by_plan(30, SCHEME, None, [*lots, BAD])
    assert sized.n == 30
    assert "no longer enough" in sized.words[0]


def test_a_fault_of_weight_stop_is_over_whatever_ac_says() -> None:
    assert follow([Lot(30, 1, 0)] * 2, SCHEME).severity == "normal"
    assert follow([Lot(30, 1, 1)] * 2, SCHEME).severity == "tightened"


def test_the_score_reaches_thirty_by_twos_where_ac_is_nought_or_one() -> None:
    assert follow([GOOD] * 14, SCHEME).score == 28
    found = follow([GOOD] * 15, SCHEME)
    assert (found.score, found.reduced_possible, found.severity) == (30, True, "normal")
    assert SCORE_FOR_REDUCED == 30


def test_reduced_follows_only_when_agreed() -> None:
    agreed = Scheme("4.0", reduced_agreed=True)
    assert follow([GOOD] * 15, agreed).severity == "reduced"
    assert follow([*[GOOD] * 15, Lot(30, 2)], agreed).severity == "normal"


def test_the_score_goes_by_threes_where_a_tighter_aql_would_have_held_too() -> None:
    # A lot of 200 at AQL 4.0 has 32:3/4; one step tighter, at 2.5, 32:2/3.
    assert follow([Lot(200, 2)] * 3, SCHEME).score == 9
    assert follow([Lot(200, 2), Lot(200, 3)], SCHEME).score == 0  # held at 4.0, not at 2.5
    assert follow([Lot(200, 2), Lot(200, 4)], SCHEME).score == 0


@given(st.lists(st.tuples(st.sampled_from([5, 30, 100, 200, 600]), st.integers(0, 8)), max_size=30))
def test_any_history_ends_somewhere(lots: list[tuple[int, int]]) -> None:
    try:
        found = follow([Lot(*x) for x in lots], SCHEME)
    except UsageError:
        return  # more faulty than the sample then held
    assert found.severity in ("normal", "tightened")
    assert not (found.stopped and found.severity != "tightened")


def test_more_faulty_than_looked_at_is_refused() -> None:
    with pytest.raises(UsageError, match="earlier lot 2"):
        follow([GOOD, Lot(30, 14)], SCHEME)
    with pytest.raises(UsageError, match="of weight stop"):
        follow([Lot(30, 1, 2)], SCHEME)


def test_stop_never_rests_on_an_acceptance_number() -> None:
    assert plan(30, "4.0").ac == 1
    sized = by_plan(30, SCHEME, "normal")
    assert ZERO_WHY in sized.words
    assert sized.asked["ac"] == 1
    assert ZERO_WHY not in by_plan(30, SCHEME, "normal", has_stop=False).words


def test_reduced_by_hand_wants_agreement() -> None:
    with pytest.raises(UsageError, match="not taken by itself"):
        by_plan(30, SCHEME, "reduced")
    assert by_plan(30, Scheme("4.0", reduced_agreed=True), "reduced").n == 8
