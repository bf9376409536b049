"""Sign-off: what stands in its way, what it covers, what makes it stale."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from audit.record import signoff
from audit.record.errors import DecisionError
from audit.record.evidence import load_evidence
from audit.record.keys import Signer
from audit.record.signoff import sign_off_problem
from audit.record.types import Agree, Overrule, Retake
from audit.record.verify import verify_job
from tests.record.conftest import CLEAR, STOP, UNSURE, Desk, new_key
from tests.record.jobs import make_job, picture


def test_every_item_of_the_hold_point_must_be_decided(desk: Desk) -> None:
    with pytest.raises(DecisionError, match="not decided"):
        desk.sign()
    desk.decide_all()
    desk.sign()
    status = desk.state.sign_off("closing-up")
    assert (status.state, status.by, status.reasons) == ("signed", desk.by, ())
    assert desk.state.sign_off("boarding").state == "none"
    assert verify_job(desk.root).signed[0].public_key == desk.signer.public_key  # type: ignore[union-attr]


def test_a_stop_flag_that_is_agreed_stands_in_the_way(desk: Desk) -> None:
    desk.decide_all()
    desk.decide(STOP, Agree())
    with pytest.raises(DecisionError, match=f"a fault that stops it stands: {STOP}"):
        desk.sign()
    desk.sign("boarding")


def test_a_stop_fault_that_a_person_sees_stands_in_the_way_too(desk: Desk) -> None:
    desk.decide_all()
    items = {**desk.job.items}
    assert items[CLEAR].weight == "put right"
    desk.decide(CLEAR, Overrule("I see copper."))
    assert desk.state.standings[CLEAR].finds_fault
    assert desk.state.progress().standing_stops == ()
    desk.sign()


def test_an_outstanding_retake_stands_in_the_way(desk: Desk) -> None:
    desk.decide_all()
    desk.decide(UNSURE, Retake("Take it again."))
    with pytest.raises(DecisionError, match="another photo is asked for"):
        desk.sign()


def test_the_same_sign_off_sent_twice_is_one(desk: Desk) -> None:
    desk.decide_all()
    key = new_key()
    assert desk.signer is not None
    made = [
        desk.record.sign_off(
            desk.job, "boarding", by=desk.by, statement="All seen.", signer=desk.signer, key=key
        )
        for _ in range(2)
    ]
    assert made[0] == made[1]


def _photo(desk: Desk) -> None:
    make_job(desk.root, fittings=2, made_at="2026-06-02T08:00:00Z", seed=7)


def _photo_added(desk: Desk) -> None:
    make_job(desk.root, fittings=3, made_at="2026-06-02T08:00:00Z")


def _facts(desk: Desk) -> None:
    make_job(desk.root, fittings=2, made_at="2026-06-02T08:00:00Z")
    (desk.root / "job.toml").write_text('[job]\nname = "Another"\n', encoding="utf-8")


def _house_rules(desk: Desk) -> None:
    make_job(desk.root, fittings=2, made_at="2026-06-02T08:00:00Z")
    (desk.root / "house.toml").write_text("x = 1\n", encoding="utf-8")


@pytest.mark.parametrize(
    ("change", "why"),
    [(_photo, "photo F01-inside.jpg changed"), (_photo_added, "photo F03-inside.jpg was added"),
     (_facts, "job.toml changed"), (_house_rules, "house.toml was added")],
)  # fmt: skip
def test_what_changes_later_makes_it_stale(
    desk: Desk, sit: Callable[..., Desk], change: Callable[[Desk], None], why: str
) -> None:
    desk.decide_all()
    desk.sign("boarding")
    change(desk)
    status = sit(desk.root).state.sign_off("boarding")
    assert status.state == "stale"
    assert why in status.reasons


def test_other_rules_make_it_stale(desk: Desk, monkeypatch: pytest.MonkeyPatch) -> None:
    desk.decide_all()
    desk.sign()
    monkeypatch.setattr(signoff, "rules_hash", lambda: "0" * 64)
    desk.decide("joist-holes:F01", Agree())
    assert desk.state.sign_off("closing-up").reasons == ("the rules changed",)
    with pytest.raises(DecisionError, match="the rules"):
        desk.sign()


def test_a_decision_taken_back_makes_it_stale_and_only_its_own_hold_point(desk: Desk) -> None:
    desk.decide_all()
    desk.sign()
    desk.sign("boarding")
    desk.undo(CLEAR)
    assert desk.state.sign_off("closing-up").reasons == (
        f"{CLEAR} was decided again or taken back",
    )
    assert desk.state.sign_off("boarding").state == "signed"
    desk.decide(CLEAR, Agree())
    assert desk.state.sign_off("closing-up").state == "stale"
    desk.sign()
    assert desk.state.sign_off("closing-up").state == "signed"


def test_a_checklist_made_again_alike_leaves_it_standing(
    desk: Desk, sit: Callable[..., Desk]
) -> None:
    desk.decide_all()
    desk.sign()
    make_job(desk.root, fittings=2, made_at="2026-06-02T08:00:00Z")
    assert sit(desk.root).state.sign_off("closing-up").state == "signed"


@pytest.mark.parametrize("name", ["photos/F01-inside.jpg", "job.toml"])
def test_what_changed_on_the_disk_stands_in_the_way(desk: Desk, name: str) -> None:
    desk.decide_all()
    path = desk.root / name
    path.write_bytes(path.read_bytes() + b"\n")
    with pytest.raises(DecisionError, match=path.name):
        desk.sign()


def test_a_photo_that_came_since_stands_in_the_way(desk: Desk) -> None:
    desk.decide_all()
    (desk.root / "photos" / "new.jpg").write_bytes(picture(99))
    with pytest.raises(DecisionError, match=r"new\.jpg was added"):
        desk.sign()


@pytest.mark.parametrize(
    ("by", "statement"), [("", "All seen."), ("A. Person", " "), ("A\x00", "All seen.")]
)
def test_name_and_statement_are_needed(desk: Desk, by: str, statement: str) -> None:
    desk.decide_all()
    assert desk.signer is not None
    with pytest.raises(DecisionError):
        desk.record.sign_off(
            desk.job, "boarding", by=by, statement=statement, signer=desk.signer, key=new_key()
        )


def test_a_key_in_the_job_folder_does_not_sign(desk: Desk) -> None:
    desk.decide_all()
    assert desk.signer is not None
    desk.signer = Signer(desk.signer.private, Path(desk.root) / "mine.pem")
    with pytest.raises(DecisionError, match="key lies in the job folder"):
        desk.sign()


def test_a_changed_sign_off_does_not_hold(desk: Desk) -> None:
    desk.decide_all()
    entry = desk.sign()
    assert sign_off_problem(entry) == ""
    entry.data["statement"] = "I looked at none."
    assert "signature" in sign_off_problem(entry)
    assert load_evidence(desk.root).digests == desk.job.digests


def test_what_is_left_open_is_signed_with_it(desk: Desk) -> None:
    desk.decide_all()
    entry = desk.sign()
    assert entry.data["left_open"] == [UNSURE, "cpc-cut-short:F02", "circuit-tested:C1"]


def test_verify_tells_that_a_sign_off_is_stale(desk: Desk) -> None:
    desk.decide_all()
    desk.sign()
    assert verify_job(desk.root).notes == []
    desk.undo(CLEAR)
    found = verify_job(desk.root)
    assert found.holds
    assert found.notes == [
        f"the sign-off of closing-up is stale: {CLEAR} was decided again or taken back"
    ]
