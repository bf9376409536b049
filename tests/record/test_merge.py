"""Two copies of a job brought together: nothing lost, nothing settled in silence."""

from __future__ import annotations

import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from audit.record.errors import DecisionError
from audit.record.merge import Merged, merge
from audit.record.types import Agree, Overrule, Retake
from audit.record.verify import verify_job
from tests.record.conftest import BOARDING, CLEAR, STOP, UNSURE, Desk, open_desk
from tests.record.jobs import make_job


@pytest.fixture
def other(desk: Desk, sit: Callable[..., Desk]) -> Desk:
    """A copy of the job in another town."""
    shutil.copytree(desk.root, desk.root.parent / "copy")
    return sit(desk.root.parent / "copy", "B. Person", desk.signer)


def bring(desk: Desk, other: Desk) -> Merged:
    return merge(desk.record, desk.job, other.record.entries(), name="pack.zip", by=desk.by)


def test_decisions_of_both_count(desk: Desk, other: Desk) -> None:
    desk.decide(CLEAR, Agree())
    other.decide(UNSURE, Retake("Take it again."))
    done = bring(desk, other)
    assert (done.taken, done.decisions, done.conflicts) == (1, 1, ())
    found = desk.state.standings[UNSURE].decision
    assert found is not None
    assert (found.by, found.merged_by, found.seq) == ("B. Person", done.entry.seq, None)  # type: ignore[union-attr]
    assert verify_job(desk.root).holds


def test_different_decisions_stand_side_by_side_until_decided_anew(desk: Desk, other: Desk) -> None:
    desk.decide(CLEAR, Agree())
    other.decide(CLEAR, Overrule("I see copper."))
    done = bring(desk, other)
    (conflict,) = done.conflicts
    assert conflict.item.id == CLEAR
    assert {d.by for d in conflict.sides} == {desk.by, "B. Person"}
    progress = desk.state.progress()
    assert progress.conflicts == (CLEAR,)
    assert not progress.may_sign
    desk.decide(CLEAR, Overrule("B. Person is right."))
    assert desk.state.progress().conflicts == ()
    desk.undo(CLEAR)
    assert desk.state.standings[CLEAR].status == "conflict"


def test_the_same_word_from_both_is_no_conflict(desk: Desk, other: Desk) -> None:
    desk.decide(CLEAR, Agree())
    other.decide(CLEAR, Agree())
    assert bring(desk, other).conflicts == ()
    assert desk.state.standings[CLEAR].status == "decided"
    desk.undo(CLEAR)
    assert desk.state.standings[CLEAR].status == "undecided"


def test_a_decision_taken_back_there_and_made_anew_here_is_a_conflict(
    desk: Desk, sit: Callable[..., Desk]
) -> None:
    desk.decide(CLEAR, Agree())
    shutil.copytree(desk.root, desk.root.parent / "copy")
    other = sit(desk.root.parent / "copy", "B. Person")
    other.undo(CLEAR)
    desk.decide(CLEAR, Overrule("I see copper."))
    (conflict,) = bring(desk, other).conflicts
    assert {(d.by, d.taken_back) for d in conflict.sides} == {(desk.by, True), (desk.by, False)}


def test_a_decision_taken_back_there_is_taken_back_here(
    desk: Desk, sit: Callable[..., Desk]
) -> None:
    desk.decide(CLEAR, Agree())
    shutil.copytree(desk.root, desk.root.parent / "copy")
    other = sit(desk.root.parent / "copy", "B. Person")
    other.undo(CLEAR)
    assert bring(desk, other).conflicts == ()
    assert desk.state.standings[CLEAR].status == "undecided"


def test_merging_again_and_back_adds_nothing(desk: Desk, other: Desk) -> None:
    desk.decide(CLEAR, Agree())
    other.decide(UNSURE, Agree())
    bring(desk, other)
    before = len(desk.record.entries())
    assert bring(desk, other).entry is None
    assert len(desk.record.entries()) == before
    back = bring(other, desk)
    assert (back.taken, back.conflicts) == (1, ())
    assert bring(desk, other).entry is None
    assert bring(other, desk).entry is None
    for item in (CLEAR, UNSURE):
        ours, theirs = desk.state.standings[item], other.state.standings[item]
        assert ours.decision is not None
        assert theirs.decision is not None
        assert ours.decision.id == theirs.decision.id


def test_a_sign_off_made_elsewhere_comes_along(desk: Desk, other: Desk) -> None:
    other.decide_all()
    other.sign()
    bring(desk, other)
    status = desk.state.sign_off("closing-up")
    assert (status.state, status.by) == ("signed", "B. Person")
    assert [s.by for s in verify_job(desk.root).signed] == ["B. Person"]
    desk.decide(CLEAR, Overrule("I see copper."))
    assert desk.state.sign_off("closing-up").state == "stale"


def test_what_was_open_on_screen_there_counts_for_its_person_only(desk: Desk, other: Desk) -> None:
    other.show(STOP)
    bring(desk, other)
    assert desk.state.standings[STOP].shown_to == {"B. Person"}


def test_the_record_of_another_job_is_refused(desk: Desk, tmp_path: Path) -> None:
    stranger = open_desk(make_job(tmp_path / "stranger", fittings=2))
    before = len(desk.record.entries())
    with pytest.raises(DecisionError, match="another job"):
        bring(desk, stranger)
    assert len(desk.record.entries()) == before


STEP = st.tuples(
    st.sampled_from(["here", "there"]),
    st.sampled_from(["agree", "retake", "undo", "merge"]),
    st.sampled_from([CLEAR, UNSURE, BOARDING]),
)


@given(st.lists(STEP, max_size=9))
@settings(
    max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_order_of_deciding_and_merging_ends_alike(
    tmp_path_factory: pytest.TempPathFactory, steps: list[tuple[str, str, str]]
) -> None:
    """After merging both ways, both copies say the same of every item."""
    root = make_job(tmp_path_factory.mktemp("merge") / "job", fittings=1)
    here = open_desk(root)
    shutil.copytree(root, root.parent / "copy")
    desks = {"here": here, "there": open_desk(root.parent / "copy", "B. Person")}
    for side, act, item in steps:
        desk = desks[side]
        if act == "merge":
            bring(desk, desks["there" if side == "here" else "here"])
        elif act == "undo":
            if desk.state.standings[item].decision is not None:
                desk.undo(item)
        else:
            desk.decide(item, Agree() if act == "agree" else Retake(f"{side} asks"))
    bring(desks["here"], desks["there"])
    bring(desks["there"], desks["here"])
    for item in (CLEAR, UNSURE, BOARDING):
        ours, theirs = (desks[s].state.standings[item] for s in ("here", "there"))
        assert ours.status == theirs.status
        assert set(ours.token) == set(theirs.token)
        assert {(d.id, d.taken_back) for d in ours.sides} == {
            (d.id, d.taken_back) for d in theirs.sides
        }
    assert all(verify_job(d.root).holds for d in desks.values())
