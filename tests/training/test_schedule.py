"""What comes back when: the library's own numbers, and first what was missed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import pytest
from fsrs import Card, Rating, Scheduler
from hypothesis import given
from hypothesis import strategies as st

from audit.measure.contract import CheckId
from audit.training.schedule import SOON, Judged, Shows, cards, deck, rating, scheduler
from audit.training.scoring import Score
from tests.training.samples import NOON

COPPER: CheckId = "copper-beyond-terminal"


def scored(
    found: int = 0, missed: int = 0, false: int = 0, other: int = 0, right: bool = False
) -> Score:
    return Score(
        lines=(), found=found, other=other, missed=missed, false=false, agreement=0.0, right=right
    )


GOOD, BAD, SO_SO = scored(2, right=True), scored(1, missed=1), scored(2, false=1)


@dataclass(frozen=True)
class Round:
    photo: str
    days: float
    score: Score
    counted: bool = True

    @property
    def moment(self):  # type: ignore[no-untyped-def]
        return NOON + timedelta(days=self.days)


def rounds(*several: Round) -> list[Judged]:
    return list(several)


def test_the_library_gives_its_own_published_numbers() -> None:
    """py-fsrs 6, tests/test_basic.py, test_review_card: intervals in days, fuzzing off.

    Go and TypeScript ports of the scheduler hold themselves to the same thirteen numbers.
    """
    plan, card, now, days = Scheduler(enable_fuzzing=False), Card(), NOON, []
    for each in (*[Rating.Good] * 6, Rating.Again, Rating.Again, *[Rating.Good] * 5):
        card, _ = plan.review_card(card, each, now)
        assert card.last_review is not None
        days.append((card.due - card.last_review).days)
        now = card.due
    assert days == [0, 2, 11, 46, 163, 498, 0, 0, 2, 4, 7, 12, 21]


def test_the_library_gives_its_own_published_memory_state() -> None:
    """py-fsrs 6, tests/test_basic.py, test_memo_state: Again, then Good after 0, 1, 3, 8, 21 days."""
    plan, card, now = Scheduler(enable_fuzzing=False), Card(), NOON
    for each, days in zip((Rating.Again, *[Rating.Good] * 5), (0, 0, 1, 3, 8, 21), strict=True):
        now += timedelta(days=days)
        card, _ = plan.review_card(card, each, now)
    assert card.stability == pytest.approx(53.62691, abs=1e-4)
    assert card.difficulty == pytest.approx(6.3574867, abs=1e-4)


def test_ours_differs_in_its_first_step_alone() -> None:
    ours, plain = scheduler(), Scheduler()
    assert ours.parameters == plain.parameters
    assert ours.desired_retention == plain.desired_retention == 0.9
    assert not ours.enable_fuzzing
    assert (ours.learning_steps, ours.relearning_steps) == ((SOON,), (SOON,))


def test_a_photo_found_wholly_comes_after_its_first_stability() -> None:
    """FSRS-6: the first stability of Good is w[2] = 2.3065 days, the interval at 90 % retention
    is the stability, rounded to days (The Algorithm, wiki of Open Spaced Repetition)."""
    card = cards(rounds(Round("a", 0, GOOD)))["a"]
    assert card.stability == pytest.approx(2.3065)
    assert card.due - NOON == timedelta(days=2)


def test_a_photo_with_a_miss_comes_back_in_the_same_sitting() -> None:
    assert cards(rounds(Round("a", 0, BAD)))["a"].due - NOON == SOON
    due = {k: cards(rounds(Round(k, 0, s)))[k].due for k, s in {"b": BAD, "s": SO_SO, "g": GOOD}.items()}  # fmt: skip
    assert due["b"] < due["s"] < due["g"]


@given(st.lists(st.sampled_from([GOOD, BAD, SO_SO]), min_size=1, max_size=12))
def test_cards_are_what_the_library_makes_of_the_same_ratings(scores: list[Score]) -> None:
    made = [Round("a", 3.0 * n, s) for n, s in enumerate(scores)]
    card = Card(card_id=1, due=NOON)
    for each in made:
        card, _ = scheduler().review_card(card, rating(each.score), each.moment)
    assert cards(rounds(*made))["a"].to_dict() == card.to_dict()
    assert cards(rounds(*made)) == cards(rounds(*made))


@pytest.mark.parametrize(
    ("score", "expected"),
    [
        (scored(3, right=True), Rating.Good),
        (scored(right=True), Rating.Good),  # nothing to find, and said so
        (scored(2, missed=1), Rating.Again),
        (scored(0, other=1), Rating.Hard),
        (scored(2, false=1), Rating.Hard),
        (scored(false=2), Rating.Hard),  # nothing to find, two marks
        (scored(), Rating.Again),  # could be judged, and was not
        (scored(1, missed=1, other=1), Rating.Again),
    ],
)
def test_ratings(score: Score, expected: Rating) -> None:
    assert rating(score) == expected


def test_a_round_that_does_not_count_changes_nothing() -> None:
    once = rounds(Round("a", 0, GOOD))
    assert cards([*once, Round("a", 1, BAD, counted=False)]) == cards(once)


def test_a_clock_put_back_does_no_harm() -> None:
    found = cards(rounds(Round("a", 10, GOOD), Round("a", 0, GOOD)))["a"]
    assert found.last_review == NOON + timedelta(days=10)


PHOTOS = {k: Shows() for k in "abcdef"}


def test_due_ones_come_before_new_ones_and_the_likeliest_forgotten_first() -> None:
    made = rounds(Round("a", 0, GOOD), Round("b", 0, BAD), Round("c", 1, GOOD))
    now = NOON + timedelta(days=3.5)
    found = deck(PHOTOS, made, now, "x", {})
    plan, known = scheduler(), cards(made)
    held = [plan.get_card_retrievability(known[k], now) for k in found.due]
    assert held == sorted(held)
    assert found.due[0] == "b"
    assert set(found.due) == {"a", "b", "c"}
    assert set(found.new) == {"d", "e", "f"}
    assert found.next == "b"
    assert found.is_due("a")
    assert found.is_due("d")


def test_nothing_is_due_when_all_was_found() -> None:
    made = rounds(*(Round(k, 0, GOOD) for k in PHOTOS))
    found = deck(PHOTOS, made, NOON + timedelta(hours=1), "x", {})
    assert found.next is None
    assert not found.is_due("a")
    assert [d for d, _ in found.later] == [NOON + timedelta(days=2)] * 6


def test_new_photos_that_show_what_was_missed_come_first_but_not_only() -> None:
    photos = {f"m{n}": Shows((COPPER,)) for n in range(6)} | {f"o{n}": Shows() for n in range(6)}
    found = deck(photos, [], NOON, "x", {COPPER: 0.8}).new
    assert sorted(found) == sorted(photos)
    assert sum(k.startswith("m") for k in found[:6]) >= 4
    one_by_one = []
    made: list[Judged] = []
    for n in range(12):
        following = deck(photos, made, NOON, "x", {COPPER: 0.8}).new[0]
        one_by_one.append(following)
        made.append(Round(following, n / 10000, GOOD))
    assert sum(k.startswith("m") for k in one_by_one[:6]) >= 4
    assert sorted(one_by_one) == sorted(photos)


def test_a_new_photo_without_a_fault_is_not_kept_for_the_end() -> None:
    photos = {f"m{n}": Shows((COPPER,)) for n in range(20)} | {f"o{n}": Shows() for n in range(20)}
    found = deck(photos, [], NOON, "x", {COPPER: 0.8}).new
    assert any(k.startswith("o") for k in found[:15])


def test_easy_ones_first_and_another_order_for_each_trainee() -> None:
    photos = {f"p{n}": Shows(level=1 + n % 3) for n in range(30)}
    found = deck(photos, [], NOON, "x", {}).new
    levels = [photos[k].level for k in found]
    assert levels == sorted(levels)
    assert found == deck(dict(reversed(photos.items())), [], NOON, "x", {}).new
    assert found != deck(photos, [], NOON, "y", {}).new


def test_photos_of_another_set_are_not_due() -> None:
    assert "z" not in deck(PHOTOS, rounds(Round("z", 0, BAD)), NOON + SOON, "x", {}).due
