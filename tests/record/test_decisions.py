"""Decisions, undo, staleness, conflicts between two clients, and what a stop item asks for."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from audit.record.decisions import retake_request
from audit.record.errors import ConflictError, DecisionError, KeyReusedError, NotShownError
from audit.record.types import Agree, Decision, Overrule, Retake, SeenOnSite
from tests.record.conftest import BOARDING, CLEAR, STOP, UNSURE, Desk, new_key
from tests.record.jobs import make_job, picture

SEEN = SeenOnSite("B. Person", datetime(2026, 6, 1, 9, tzinfo=UTC), "no fault", "Looked in.")


def test_nothing_is_decided_at_first(desk: Desk) -> None:
    progress = desk.state.progress()
    assert (progress.items, progress.decided) == (9, 0)
    assert desk.state.progress("boarding").to_decide == (BOARDING, "joist-holes:F02")
    assert not progress.may_sign


@pytest.mark.parametrize(
    ("item", "decision"),
    [(CLEAR, Agree()), (CLEAR, Overrule("I see copper.")), (UNSURE, Retake("Take it again.")),
     (UNSURE, SEEN), (UNSURE, Overrule("Seen whole.", "no fault")), (BOARDING, Agree())],
)  # fmt: skip
def test_a_decision_comes_back_as_it_was_made(desk: Desk, item: str, decision: Decision) -> None:
    entry = desk.decide(item, decision)
    standing = desk.state.standings[item]
    assert standing.status == "decided"
    assert standing.token == (entry.hash,)
    found = standing.decision
    assert found is not None
    expected = (
        Overrule("I see copper.", "fault") if decision == Overrule("I see copper.") else decision
    )
    assert found.decision == expected
    assert (found.by, found.item_digest) == (desk.by, desk.job.digests[item])


@pytest.mark.parametrize(
    ("item", "decision", "told"),
    [
        (CLEAR, Overrule("  "), "reason"),
        (CLEAR, Overrule("I see none.", "no fault"), "says the same"),
        (UNSURE, Overrule("I can tell."), "whether the fault is there"),
        (UNSURE, Retake(""), "request"),
        (UNSURE, Retake("x" * 5000), "request"),
        (UNSURE, Overrule("turned \u202e round", "fault"), "reason"),
        (UNSURE, SeenOnSite("", datetime(2026, 6, 1, tzinfo=UTC), "fault"), "who"),
        (UNSURE, SeenOnSite("B. Person", datetime(2026, 6, 1), "fault"), "zone"),
        ("no-such:F01", Agree(), "no such item"),
    ],
)
def test_what_a_decision_lacks_is_named(
    desk: Desk, item: str, decision: Decision, told: str
) -> None:
    before = len(desk.record.entries())
    with pytest.raises(DecisionError, match=told):
        desk.record.decide(desk.job, item, decision, by=desk.by, saw=(), key=new_key())
    assert len(desk.record.entries()) == before


def test_nobody_decides_without_a_name(desk: Desk) -> None:
    with pytest.raises(DecisionError, match="by"):
        desk.record.decide(desk.job, CLEAR, Agree(), by=" ", saw=(), key=new_key())


def test_a_stop_item_is_opened_before_it_is_decided(desk: Desk) -> None:
    with pytest.raises(NotShownError):
        desk.decide(STOP, Agree())
    with pytest.raises(DecisionError, match="on screen"):
        desk.record.shown(desk.job, STOP, by=desk.by, photos=["F02-inside.jpg"], key=new_key())
    desk.record.shown(desk.job, STOP, by="Somebody Else", photos=["F01-inside.jpg"], key=new_key())
    with pytest.raises(NotShownError):
        desk.decide(STOP, Agree())
    desk.show(STOP)
    desk.decide(STOP, Agree())
    assert desk.state.progress().standing_stops == (STOP,)


def test_undo_is_an_entry_and_brings_back_what_counted_before(desk: Desk) -> None:
    first = desk.decide(UNSURE, Agree())
    second = desk.decide(UNSURE, Retake("Once more."))
    undo = desk.undo(UNSURE)
    assert [e.kind for e in desk.record.entries()[-3:]] == ["decision", "decision", "undo"]
    standing = desk.state.standings[UNSURE]
    assert standing.decision is not None
    assert standing.decision.id == first.hash
    assert standing.token == (undo.hash,)
    desk.undo(UNSURE)
    assert desk.state.standings[UNSURE].status == "undecided"
    with pytest.raises(DecisionError, match="no decision"):
        desk.undo(UNSURE)
    assert second.hash in {e.hash for e in desk.record.entries()}
    desk.decide(UNSURE, SEEN)
    assert desk.state.standings[UNSURE].status == "decided"


def test_a_decision_on_what_was_not_on_screen_is_a_conflict(desk: Desk) -> None:
    token = desk.state.standings[CLEAR].token
    desk.decide(CLEAR, Agree())
    before = len(desk.record.entries())
    with pytest.raises(ConflictError) as told:
        desk.record.decide(
            desk.job, CLEAR, Overrule("I see it."), by="B. Person", saw=token, key=new_key()
        )
    assert told.value.standing.decision is not None
    assert told.value.standing.decision.by == desk.by
    with pytest.raises(ConflictError):
        desk.record.undo(desk.job, CLEAR, by="B. Person", saw=token, key=new_key())
    assert len(desk.record.entries()) == before


def test_an_act_sent_twice_is_recorded_once(desk: Desk) -> None:
    key = new_key()
    first = desk.record.decide(desk.job, CLEAR, Agree(), by=desk.by, saw=(), key=key)
    again = desk.record.decide(desk.job, CLEAR, Agree(), by=desk.by, saw=(), key=key)
    assert again == first
    with pytest.raises(KeyReusedError):
        desk.record.decide(desk.job, UNSURE, Agree(), by=desk.by, saw=(), key=key)
    with pytest.raises(DecisionError, match="key"):
        desk.record.decide(desk.job, UNSURE, Agree(), by=desk.by, saw=(), key="short")


def test_another_picture_asks_for_another_decision(desk: Desk, sit: Callable[..., Desk]) -> None:
    desk.decide(UNSURE, Retake("Take it again."))
    desk.decide(BOARDING, Agree())
    assert desk.state.progress().retakes == (UNSURE,)
    make_job(desk.root, fittings=2, made_at="2026-06-02T08:00:00Z", seed=7)
    later = sit(desk.root)
    progress = later.state.progress()
    assert progress.again == (UNSURE,)
    assert progress.retakes == ()
    assert later.state.standings[BOARDING].status == "decided"
    with pytest.raises(DecisionError, match="made again"):
        desk.decide(CLEAR, Agree())
    later.decide(UNSURE, Agree())
    assert later.state.standings[UNSURE].status == "decided"
    assert later.state.standings[UNSURE].left_open


def test_facts_that_changed_alone_are_not_taken_for_the_old_ones(
    desk: Desk, sit: Callable[..., Desk]
) -> None:
    (desk.root / "job.toml").write_text('[job]\nname = "Another"\n', encoding="utf-8")
    with pytest.raises(DecisionError, match="declared facts changed"):
        sit(desk.root)


def test_a_request_opens_with_the_caution(desk: Desk) -> None:
    text = retake_request(desk.job.items[UNSURE])
    assert "Ask only for what can be seen without disturbing the work" in text
    assert "proved dead" in text
    assert "seen on site" in text


def test_two_people_see_one_record(desk: Desk, sit: Callable[..., Desk]) -> None:
    other = sit(desk.root, "B. Person")
    desk.decide(CLEAR, Agree())
    assert other.state.standings[CLEAR].decision is not None
    other.decide(UNSURE, Agree())
    assert desk.state.progress().decided == 2
    assert picture(0) != picture(1)
