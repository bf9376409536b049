"""How photos of one fitting answer a check together; the rules are ours."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.checklist.merge import STATES, Expected, SeenPhoto, merge_check
from audit.checklist.texts import texts
from audit.measure.contract import (
    CableRecord,
    EndRecord,
    EntryRecord,
    FindingRecord,
    LookRecord,
)

GRIP = "core-outside-grip"
COPPER = "copper-beyond-terminal"


def cable(n: int) -> CableRecord:
    return CableRecord(id=f"c{n}", sheath="grey", entry=EntryRecord(kind="clamp"))


def finding(state: str, of: str = "c1", check: str = GRIP, **more: object) -> FindingRecord:
    return FindingRecord(check=check, of=of, state=state, score=0.5, why=f"{state} of {of}", **more)


def photo(
    *findings: FindingRecord,
    name: str = "p.jpg",
    view: str | None = "inside",
    cables: int = 1,
    ends: int = 3,
    outcome: str = "read",
    said: int | None = None,
    bare: int = 0,
) -> SeenPhoto:
    """The last `bare` of the ends are those of bare conductors."""
    record = LookRecord(
        photo=name,
        sha256="0" * 64,
        size_px=(100, 100),
        outcome=outcome,
        usable=outcome == "read",
        reasons=() if outcome == "read" else ("too blurred at the cable",),
        cables=tuple(cable(n + 1) for n in range(cables)),
        ends=tuple(
            EndRecord(id=f"e{n + 1}", cable="c1", colour=colour, ends_at="terminal")
            for n, colour in enumerate(["brown"] * (ends - bare) + ["bare"] * bare)
        ),
        findings=findings,
    )
    return SeenPhoto(record, view, said)


ONE = Expected(cables=1)


def test_flag_in_any_photo_stays_whatever_the_others_say() -> None:
    merged = merge_check(
        GRIP,
        [
            photo(finding("clear"), name="a.jpg"),
            photo(finding("flag", value_mm=6.1, u95_mm=0.6), name="b.jpg"),
        ],
        ONE,
    )
    assert merged.state == "flag"
    assert merged.worst is not None and merged.worst.value_mm == 6.1
    assert [x.photo for x in merged.evidence] == ["b.jpg", "a.jpg"]


def test_flag_stays_from_a_view_that_need_not_show_it_and_from_a_poor_photo() -> None:
    for outcome, view in (("read", "plate"), ("retake", "inside"), ("read", None)):
        merged = merge_check(GRIP, [photo(finding("flag"), view=view, outcome=outcome)], ONE)
        assert merged.state == "flag"


def test_clear_needs_a_view_that_can_show_it() -> None:
    assert merge_check(GRIP, [photo(finding("clear"))], ONE).state == "clear"
    assert merge_check(GRIP, [photo(finding("clear"), view="terminals")], ONE).state == "missing"
    assert merge_check(GRIP, [], ONE).state == "missing"
    assert merge_check(GRIP, [photo(finding("clear"), view="closed")], ONE).state == "clear"


def test_doubt_beats_no_fault_seen() -> None:
    merged = merge_check(GRIP, [photo(finding("clear"), finding("unsure", "c2"), cables=2)], ONE)
    assert merged.state == "unsure"
    merged = merge_check(
        GRIP, [photo(finding("clear"), name="a"), photo(finding("unsure"), name="b")], ONE
    )
    assert merged.state == "unsure"


def test_poor_photo_never_yields_clear_but_a_good_one_beside_it_may() -> None:
    poor = photo(finding("clear"), outcome="retake", name="poor.jpg")
    merged = merge_check(GRIP, [poor], ONE)
    assert merged.state == "unsure"
    assert "too blurred" in merged.why.lower()
    assert merge_check(GRIP, [poor, photo(finding("clear"))], ONE).state == "clear"


def test_silence_is_not_clear() -> None:
    assert merge_check(GRIP, [photo()], ONE).state == "unsure"


@pytest.mark.parametrize(
    ("expected", "said", "cables", "state"),
    [
        (Expected(), None, 1, "unsure"),
        (Expected(), 1, 1, "clear"),
        (Expected(cables=2), None, 1, "unsure"),
        (Expected(cables=2), 1, 1, "unsure"),
        (Expected(cables=1), None, 2, "unsure"),
    ],
)
def test_all_cables_must_be_found(
    expected: Expected, said: int | None, cables: int, state: str
) -> None:
    findings = [finding("clear", f"c{n + 1}") for n in range(cables)]
    assert merge_check(GRIP, [photo(*findings, cables=cables, said=said)], expected).state == state


def test_each_cable_must_be_answered_for() -> None:
    two = Expected(cables=2)
    assert merge_check(GRIP, [photo(finding("clear"), cables=2)], two).state == "unsure"
    both = photo(finding("clear"), finding("clear", "c2"), cables=2)
    assert merge_check(GRIP, [both], two).state == "clear"
    # one cable in each photo: they can't be told apart, so nothing is added up
    apart = [photo(finding("clear"), name="a"), photo(finding("clear"), name="b")]
    assert merge_check(GRIP, apart, two).state == "unsure"


@pytest.mark.parametrize(
    ("ends", "bare", "judged", "cpc", "state"),
    [
        (3, 0, 3, None, "clear"),
        (3, 1, 2, None, "clear"),  # nothing is asked of a bare conductor's end
        (3, 0, 2, None, "unsure"),  # an end that no answer speaks of may hide a fault
        (2, 0, 2, None, "unsure"),
        (2, 0, 2, False, "clear"),
        (3, 0, 1, True, "unsure"),
        (3, 2, 1, True, "unsure"),
        (4, 0, 4, None, "unsure"),
    ],
)
def test_all_ends_must_be_found(
    ends: int, bare: int, judged: int, cpc: bool | None, state: str
) -> None:
    findings = [finding("clear", f"e{n + 1}", COPPER) for n in range(judged)]
    merged = merge_check(COPPER, [photo(*findings, ends=ends, bare=bare)], Expected(1, cpc))
    assert merged.state == state


def test_a_link_that_is_not_confirmed_never_yields_clear_but_keeps_its_flag() -> None:
    guessed = replace(photo(finding("clear")), sure=False)
    merged = merge_check(GRIP, [guessed], ONE)
    assert merged.state == "unsure"
    assert "confirmed" in merged.why
    assert merge_check(GRIP, [guessed, photo(finding("clear"), name="b")], ONE).state == "clear"
    flagged = replace(photo(finding("flag")), sure=False)
    assert merge_check(GRIP, [flagged], ONE).state == "flag"


def test_missing_says_which_view_and_names_photos_without_one() -> None:
    merged = merge_check(COPPER, [photo(view=None, name="IMG_1.jpg", cables=0, ends=0)], ONE)
    assert merged.state == "missing"
    assert "terminals or inside" in merged.why
    assert "IMG_1.jpg" in merged.why


def test_a_photo_without_a_view_shows_the_cables_that_are_read_in_it() -> None:
    """Nothing is asked of them: that is no fault ruled out, and no lack of a photo either."""
    silent = photo(view=None, name="IMG_1.jpg", cables=2)
    merged = merge_check(GRIP, [silent], Expected(cables=2))
    assert merged.state == "unsure"
    assert "nor shows plainly that there is none" in merged.why
    colours = merge_check("core-colours", [silent], Expected(cables=2))
    assert colours.why == "Nothing in IMG_1.jpg answers this."
    # Three cables where two are said to be: another photo's two clear ones don't settle it.
    crowded = replace(photo(cables=3), view=None)
    both = photo(finding("clear"), finding("clear", "c2"), cables=2, name="b.jpg")
    assert merge_check(GRIP, [crowded, both], Expected(cables=2)).state == "unsure"


def test_a_cable_that_one_look_alone_has_seen_is_not_passed_over_in_silence() -> None:
    """It is not counted, and where it is the true one, one of those counted is none."""
    two = Expected(cables=2)
    clear = [finding("clear"), finding("clear", "c2")]
    seen = photo(*clear, cables=3)
    third = seen.record.cables[2].model_copy(update={"one_look": True})
    record = seen.record.model_copy(update={"cables": (*seen.record.cables[:2], third)})
    merged = merge_check(GRIP, [replace(seen, record=record)], two)
    assert merged.state == "unsure"
    assert "c3, of which nothing is said" in merged.why


def test_open_states_name_the_request_that_settles_them() -> None:
    known = texts().request
    for findings in ([], [finding("unsure")], [finding("flag")]):
        merged = merge_check(GRIP, [photo(*findings)], ONE)
        assert merged.request in known
    assert merge_check(GRIP, [photo(finding("clear"))], ONE).request is None


def test_worst_value_is_the_one_that_is_surely_longest() -> None:
    merged = merge_check(
        COPPER,
        [
            photo(
                finding("flag", "e1", COPPER, value_mm=3.0, u95_mm=2.0),
                finding("flag", "e2", COPPER, value_mm=2.5, u95_mm=0.3),
            )
        ],
        ONE,
    )
    assert merged.worst is not None and merged.worst.of == "e2"


@pytest.mark.parametrize("cables", [1, 2])
def test_of_two_photos_of_one_name_neither_answers_for_the_other(cables: int) -> None:
    read = photo(cables=cables, name="b.jpg")
    again = photo(finding("clear"), cables=cables, outcome="retake", name="b.jpg")
    assert merge_check(GRIP, [read, again], Expected(cables)).state == "unsure"


_finding = st.builds(
    finding,
    st.sampled_from(["flag", "clear", "unsure"]),
    st.sampled_from(["c1", "c2", "photo"]),
)
_photo = st.builds(
    lambda fs, view, cables, outcome, name: photo(
        *fs, view=view, cables=cables, outcome=outcome, name=name
    ),
    st.lists(_finding, max_size=3),
    st.sampled_from(["inside", "terminals", "entry", "plate", None]),
    st.integers(0, 3),
    st.sampled_from(["read", "retake", "failed"]),
    st.sampled_from(["a", "b", "c"]),
)


@given(st.lists(_photo, max_size=4), st.sampled_from([None, 1, 2]))
def test_never_clear_with_a_flag_or_nothing_positive(
    photos: list[SeenPhoto], cables: int | None
) -> None:
    merged = merge_check(GRIP, photos, Expected(cables))
    states = [f.state for p in photos for f in p.record.findings]
    assert merged.state in STATES
    assert merged.why
    assert (merged.state == "flag") == ("flag" in states)
    if merged.state == "clear":
        assert cables is not None
        assert any(
            f.state == "clear"
            for p in photos
            if p.record.outcome == "read"
            for f in p.record.findings
        )


@given(st.lists(_photo, max_size=4), st.permutations(range(4)))
def test_order_of_photos_does_not_matter(photos: list[SeenPhoto], order: list[int]) -> None:
    named = [
        photo(
            *p.record.findings,
            view=p.view,
            cables=len(p.record.cables),
            outcome=p.record.outcome,
            name=f"{n}.jpg",
        )
        for n, p in enumerate(photos)
    ]
    shuffled = [named[n] for n in order if n < len(named)]
    assert merge_check(GRIP, named, ONE).state == merge_check(GRIP, shuffled, ONE).state
