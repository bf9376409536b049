"""Marks against what is right: by hand, by property, and beside the bench's own matching."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from audit.bench.match import match_photo
from audit.bench.truth import TruthItem
from audit.measure.contract import FindingRecord
from audit.training.answers import Answer, Sheet
from audit.training.schedule import rating
from audit.training.scoring import Given, Line, Mark, _summed, score
from audit.training.words import CHECKS

SIZE = (2000, 2000)
SCALE = 10.0
FAR = (1990.0, 1990.0)
"""No fault of these tests lies near."""

cells = st.lists(
    st.tuples(st.integers(0, 8), st.integers(0, 8)), min_size=1, max_size=10, unique=True
)
"""Places 200 px, 20 mm, apart: a mark at one fault is at no other."""


def at(x: float, y: float, wide: float = 20.0, high: float = 20.0) -> tuple[float, ...]:
    return (x - wide / 2, y - high / 2, x + wide / 2, y + high / 2)


def sheet(*answers: Answer, **more: object) -> Sheet:
    fields = {"px_per_mm": SCALE, **more}
    return Sheet(basis="truth", size_px=SIZE, answers=answers, **fields)  # type: ignore[arg-type]


def fault(x: float, y: float, check: str = "copper-beyond-terminal", **more: object) -> Answer:
    return Answer(check=check, of=f"{x},{y}", box_px=at(x, y), **more)  # type: ignore[arg-type]


def mark(
    x: float, y: float, check: str = "copper-beyond-terminal", mm: float | None = None
) -> Mark:
    return Mark(at_px=(x, y), check=check, length_mm=mm)  # type: ignore[arg-type]


def marks(*several: Mark) -> Given:
    return Given(kind="marks", marks=several)


NOTHING, UNUSABLE = Given(kind="nothing"), Given(kind="unusable")


@st.composite
def sheets(draw: st.DrawFn) -> Sheet:
    places = draw(cells)
    return sheet(
        *(
            fault(100 + 200 * x, 100 + 200 * y, draw(st.sampled_from(CHECKS)), length_mm=3.0)
            for x, y in places
        )
    )


def perfect(of: Sheet) -> list[Mark]:
    return [
        mark((a.box_px[0] + a.box_px[2]) / 2, (a.box_px[1] + a.box_px[3]) / 2, a.check, a.length_mm)
        for a in of.answers
        if a.box_px
    ]


@given(sheets())
def test_perfect_marks_find_all(of: Sheet) -> None:
    result = score(of, marks(*perfect(of)))
    assert (result.found, result.missed, result.false, result.other) == (len(of.answers), 0, 0, 0)
    assert result.right
    assert result.agreement == 1
    assert {line.length_error_mm for line in result.lines} == {0.0}


@given(sheets(), st.randoms(use_true_random=False), st.data())
def test_the_order_of_marks_does_not_matter(
    of: Sheet, lot: random.Random, data: st.DataObject
) -> None:
    several = [
        mark(
            100 + 200 * data.draw(st.integers(0, 8)) + data.draw(st.integers(-40, 40)),
            100 + 200 * data.draw(st.integers(0, 8)) + data.draw(st.integers(-40, 40)),
            data.draw(st.sampled_from(CHECKS)),
        )
        for _ in range(data.draw(st.integers(1, 12)))
    ]
    turned = several[:]
    lot.shuffle(turned)
    a, b = score(of, marks(*several)), score(of, marks(*turned))
    assert (a.found, a.other, a.missed, a.false) == (b.found, b.other, b.missed, b.false)
    assert sorted(line.verdict for line in a.lines) == sorted(line.verdict for line in b.lines)


@given(sheets(), st.integers(1, 10), st.data())
def test_more_false_marks_never_raise_the_score(of: Sheet, more: int, data: st.DataObject) -> None:
    kept = [m for m in perfect(of) if data.draw(st.booleans())]
    false = [mark(*FAR, data.draw(st.sampled_from(CHECKS))) for _ in range(more)]
    base = score(of, marks(*kept) if kept else NOTHING)
    worse = score(of, marks(*kept, *false))
    assert worse.agreement <= base.agreement
    assert rating(worse) <= rating(base)
    assert worse.false == base.false + more
    assert not worse.right


@given(sheets(), st.data())
def test_every_fault_and_every_mark_once(of: Sheet, data: st.DataObject) -> None:
    several = [
        mark(data.draw(st.integers(0, 2000)), data.draw(st.integers(0, 2000)),
             data.draw(st.sampled_from(CHECKS)))
        for _ in range(data.draw(st.integers(1, 15)))
    ]  # fmt: skip
    lines = score(of, marks(*several)).lines
    answers = [line.answer for line in lines if line.answer is not None]
    assert sorted(answers) == list(range(len(of.answers)))
    assert sorted(line.mark for line in lines if line.mark is not None) == list(range(len(several)))


@settings(max_examples=60)
@given(st.data())
def test_as_many_pairs_as_the_bench_finds(data: st.DataObject) -> None:
    """With faults of a point's size the rule is the bench's: centres within 3 mm, one to one."""
    spots = st.tuples(st.integers(0, 150), st.integers(0, 150))
    faults, put = data.draw(st.lists(spots, max_size=6)), data.draw(st.lists(spots, min_size=1, max_size=6))  # fmt: skip
    check = "copper-beyond-terminal"
    items = [TruthItem(check=check, of=f"e{n}", fault=True, box_px=(x, y, x, y)) for n, (x, y) in enumerate(faults)]  # fmt: skip
    found = [FindingRecord(check=check, of=f"e{n}", state="flag", box_px=(x, y, x, y), score=1, why="") for n, (x, y) in enumerate(put)]  # fmt: skip
    pairs = [p for p in match_photo(items, found, SCALE) if p.item and p.finding]
    of = sheet(*(Answer(check=check, of=i.of, box_px=i.box_px) for i in items))
    assert score(of, marks(*(mark(x, y) for x, y in put))).found == len(pairs)


def test_agreement_is_the_critical_success_index() -> None:
    """Finley's tornado forecasts of 1884: 28 hits, 23 misses, 72 false alarms, threat score 0.228.

    Source: Wilks, Statistical Methods in the Atmospheric Sciences, the 2 x 2 example (from memory).
    """
    lines = [Line(verdict="found", answer=n, mark=n) for n in range(28)]
    lines += [Line(verdict="missed", answer=28 + n) for n in range(23)]
    lines += [Line(verdict="false", mark=28 + n) for n in range(72)]
    assert _summed(lines, True).agreement == pytest.approx(0.228, abs=5e-4)


def test_right_place_other_fault() -> None:
    of = sheet(fault(500, 500, length_mm=4.0))
    result = score(of, marks(mark(505, 500, "cpc-unsleeved", 4.0)))
    (line,) = result.lines
    assert (line.verdict, line.answer, line.mark) == ("other fault", 0, 0)
    assert line.length_error_mm is None
    assert (result.found, result.missed, result.other) == (0, 0, 1)
    assert result.agreement == 0.5
    assert not result.right


def test_a_mark_that_names_it_goes_before_a_nearer_one_that_does_not() -> None:
    result = score(sheet(fault(500, 500)), marks(mark(500, 500, "cpc-unsleeved"), mark(512, 500)))
    assert [(line.verdict, line.mark) for line in result.lines] == [("found", 1), ("false", 0)]


@pytest.mark.parametrize(("away", "found"), [(29.9, True), (30.1, False)])
def test_three_millimetres_from_the_centre(away: float, found: bool) -> None:
    """Design, 4.2: centres within 3 mm; the box here ends 1 mm from its centre."""
    assert score(sheet(fault(500, 500)), marks(mark(500 + away, 500))).found == found


@pytest.mark.parametrize(("along", "found"), [(209, True), (211, False)])
def test_a_long_fault_is_found_anywhere_along_it(along: float, found: bool) -> None:
    """Within 1 mm of a box that is 40 mm long, at its far end."""
    long = Answer(check="cpc-unsleeved", of="c1", box_px=at(500, 500, 400, 20))
    result = score(sheet(long), marks(mark(500 + along, 500, "cpc-unsleeved")))
    assert result.found == found


def test_a_second_mark_on_one_fault_is_neither_found_nor_false() -> None:
    result = score(sheet(fault(500, 500)), marks(mark(500, 500), mark(505, 505)))
    assert [line.verdict for line in result.lines] == ["found", "same fault"]
    assert result.right


def test_cores_outside_the_enclosure_lie_under_the_grip_too() -> None:
    both = Answer(
        check="core-outside-enclosure", also=("core-outside-grip",), of="c1",
        box_px=at(500, 500, 60, 60), also_px=at(600, 500, 260, 60),
    )  # fmt: skip
    at_grip = mark(700, 500, "core-outside-grip")
    assert score(sheet(both), marks(at_grip)).found == 1
    twice = score(sheet(both), marks(at_grip, mark(500, 500, "core-outside-enclosure")))
    assert [(line.verdict, line.mark) for line in twice.lines] == [("found", 1), ("same fault", 0)]


def test_what_hardly_shows_is_never_missed_and_never_false() -> None:
    of = sheet(fault(500, 500, seen=0.49))
    assert score(of, NOTHING).right
    assert [line.verdict for line in score(of, NOTHING).lines] == ["hard to see"]
    result = score(of, marks(mark(500, 500)))
    assert [line.verdict for line in result.lines] == ["hard to see"]
    assert result.right
    assert score(sheet(fault(500, 500, seen=0.5)), NOTHING).missed == 1


def test_a_fault_that_shows_goes_before_one_that_hardly_does() -> None:
    of = sheet(fault(500, 500, seen=0.1), fault(520, 500))
    result = score(of, marks(mark(505, 500)))
    assert (result.found, result.missed) == (1, 0)


def test_nothing_to_find() -> None:
    assert score(sheet(), NOTHING).right
    wrong = score(sheet(fault(500, 500), fault(900, 900)), NOTHING)
    assert (wrong.missed, wrong.right, wrong.agreement) == (2, False, 0.0)


def test_a_photo_that_cannot_be_judged() -> None:
    of = sheet(fault(500, 500), judgeable=False, why_not="it is too dark")
    assert score(of, UNUSABLE).right
    for given_ in (NOTHING, marks(mark(500, 500))):
        result = score(of, given_)
        assert not result.right
        assert result.agreement == 0
        assert {line.verdict for line in result.lines} == {"open"}
    held_back = score(sheet(fault(500, 500)), UNUSABLE)
    assert (held_back.missed, held_back.right) == (1, False)
    assert not score(sheet(), UNUSABLE).right


def test_what_nobody_decided_is_not_counted() -> None:
    of = sheet(fault(500, 500), unknown=("cpc-unsleeved",))
    result = score(of, marks(mark(500, 500), mark(900, 900, "cpc-unsleeved"), mark(*FAR)))
    assert [line.verdict for line in result.lines] == ["found", "open", "false"]


def test_a_fault_of_the_whole_photo_has_no_place() -> None:
    of = sheet(Answer(check="core-colours", of="photo"))
    assert score(of, marks(mark(*FAR, "core-colours"))).found == 1
    assert score(of, marks(mark(*FAR))).missed == 1


def test_length_errors() -> None:
    of = sheet(fault(500, 500, length_mm=3.8), fault(900, 900, length_mm=2.0, bound="at_least"))
    lines = score(of, marks(mark(500, 500, mm=3.0), mark(900, 900, mm=9.0))).lines
    assert lines[0].length_error_mm == pytest.approx(-0.8)
    assert lines[1].length_error_mm is None  # a mere bound tells no error


def test_without_a_scale_the_photo_is_taken_to_be_150_mm_wide() -> None:
    of = sheet(fault(500, 500), px_per_mm=None)
    assert score(of, marks(mark(539, 500))).found == 1  # 3 mm of 2000 px / 150 mm = 40 px
    assert score(of, marks(mark(541, 500))).found == 0


@pytest.mark.parametrize(
    "body",
    [
        {"kind": "marks", "marks": []},
        {"kind": "nothing", "marks": [{"at_px": [1, 1], "check": "core-colours"}]},
        {"kind": "perhaps"},
        {"kind": "marks", "marks": [{"at_px": [1, 1], "check": "no-such-check"}]},
        {"kind": "marks", "marks": [{"at_px": [1, 1], "check": "core-colours", "length_mm": -1}]},
        {"kind": "marks", "marks": [{"at_px": [1, 1], "check": "core-colours", "length_mm": 501}]},
        {"kind": "marks", "marks": [{"at_px": [1, 1], "check": "core-colours"}] * 41},
    ],
)
def test_what_is_no_answer_is_refused(body: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        Given.model_validate(body)
