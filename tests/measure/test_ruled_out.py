"""Answers in doubt that are not given: by what is seen a fault is all but ruled out at their place."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from audit.measure import ruled_out as module
from audit.measure.answered import all_answered
from audit.measure.contract import CABLE_CHECKS, FindingRecord, LookRecord, State
from audit.measure.declared import Declared
from audit.measure.likely import no_end
from audit.measure.look import Seen, record_of, see
from audit.measure.ruled_out import RULED_OUT, asked
from audit.measure.verdicts import CLEAR_AT
from audit.photo.decode import read_photo
from audit.settings import Settings
from audit.sight.marks import SightMark, apply_marks

ROW = np.zeros((2, 3), np.float32)


@pytest.fixture(scope="module")
def seen() -> Seen:
    return see(read_photo(Path("sample_images/demo/photos/F02-entry.jpg"), Settings()), Settings())


def _say(monkeypatch: pytest.MonkeyPatch, told: float) -> None:
    """Let all trees find a fault so likely."""
    monkeypatch.setattr(module, "fault_probability", lambda check, row: told)
    monkeypatch.setattr(module, "cut_probability", lambda row: told)


def _record(seen: Seen, declared: Declared | None = None) -> LookRecord:
    return record_of(seen, Settings(), declared or Declared(), "x.jpg")


def _of_things(look: LookRecord) -> list[FindingRecord]:
    return [f for f in look.findings if f.of[0] in "ce" and f.check in RULED_OUT]


@pytest.mark.parametrize("check", sorted(RULED_OUT))
@pytest.mark.parametrize(
    ("more", "state", "passed"),
    [
        (-1e-4, "unsure", True),
        (1e-4, "unsure", False),
        (-1e-4, "flag", False),
        (-1e-4, "clear", False),
    ],
)
def test_only_what_is_in_doubt_and_hardly_a_fault_is_passed_over(
    monkeypatch: pytest.MonkeyPatch, check: str, more: float, state: State, passed: bool
) -> None:
    _say(monkeypatch, RULED_OUT[check] + more)
    finding = FindingRecord(check=check, of="c1", state=state, score=0.5, why="")
    assert (asked([finding], ROW) == []) is passed
    assert asked([finding], None) == [finding]
    assert asked([finding], ROW, (check,)) == [finding]


@pytest.mark.parametrize("check", sorted(RULED_OUT))
def test_what_is_in_doubt_beside_a_clear_answer_stays(
    monkeypatch: pytest.MonkeyPatch, check: str
) -> None:
    """The looks do not agree which conductor is the CPC: clear alone would hide it."""
    _say(monkeypatch, 0.0)
    clear, doubt = (
        FindingRecord(check=check, of="c1", state=state, score=0.0, why="")
        for state in ("clear", "unsure")
    )
    other = doubt.model_copy(update={"check": "core-colours"})
    assert asked([clear, doubt, other], ROW) == [clear, doubt, other]


@pytest.mark.parametrize("check", sorted(RULED_OUT))
def test_an_entry_that_was_measured_is_answered(
    monkeypatch: pytest.MonkeyPatch, check: str
) -> None:
    """A millimetre of core before a line is less than its uncertainty: to weigh it rules nothing out."""
    _say(monkeypatch, 0.0)
    told = FindingRecord(check=check, of="c1", state="unsure", value_mm=0.0, score=0.0, why="")
    assert bool(asked([told], ROW)) is (check in CABLE_CHECKS)


def test_nothing_is_passed_over_that_would_not_be_clear_were_it_plainly_seen() -> None:
    assert RULED_OUT.keys() == CLEAR_AT.keys()
    for check, most in RULED_OUT.items():
        assert 0 < most <= CLEAR_AT[check]


def test_a_cable_that_nothing_is_asked_of_is_still_told_of(
    monkeypatch: pytest.MonkeyPatch, seen: Seen
) -> None:
    _say(monkeypatch, 1.0)
    all_told = _record(seen)
    _say(monkeypatch, 0.0)
    told = _record(seen)
    clear = {(f.of, f.check) for f in all_told.findings if f.state == "clear"}
    hidden = {e.id for e in all_told.ends if e.ends_at == "hidden"}
    passed = [
        f
        for f in _of_things(all_told)
        if f.state == "unsure"
        and f.of not in hidden
        and (f.of, f.check) not in clear
        and (f.check not in CABLE_CHECKS or f.value_mm is None)
    ]
    assert passed
    assert [f for f in _of_things(all_told) if f not in passed] == _of_things(told)
    assert told.cables == all_told.cables
    assert told.ends == all_told.ends
    assert told.cpc == all_told.cpc
    assert not all_answered(told)


def test_a_cpc_that_is_read_not_to_come_out_is_asked_about_whatever_the_evidence_says(
    monkeypatch: pytest.MonkeyPatch, seen: Seen
) -> None:
    """By itself the reading would flag it, where the cable is declared to have one."""
    _say(monkeypatch, 0.0)
    monkeypatch.setattr("audit.measure.cpc_findings.cut_probability", lambda row: 0.001)
    cables = tuple(replace(c, cpc="none_comes_out") for c in seen.readings.cables)
    read = replace(seen, readings=replace(seen.readings, cables=cables, again=()), spots=())
    for expected in (True, None):
        found = _record(read, Declared(cpc_expected=expected)).findings
        cut = {f.of for f in found if f.check == "cpc-cut-short" and f.state == "unsure"}
        assert cut == ({c.id for c in cables} if expected else set())


def test_an_end_that_something_covers_is_answered(
    monkeypatch: pytest.MonkeyPatch, seen: Seen
) -> None:
    """The trees learned from copper that can be seen."""
    _say(monkeypatch, 0.0)
    tips = tuple(replace(t, ends_at="hidden") for t in seen.readings.tips)
    told = _record(replace(seen, readings=replace(seen.readings, tips=tips)))
    asked_of = {f.of for f in told.findings if f.check == "copper-beyond-terminal"}
    insulated = {f"e{k}" for k, t in enumerate(tips, 1) if t.colour != "bare" and not no_end(t)}
    assert insulated
    assert insulated <= asked_of


def test_in_a_photo_that_cannot_be_judged_all_is_told(
    monkeypatch: pytest.MonkeyPatch, seen: Seen
) -> None:
    """The trees learned from none such."""
    poor = replace(seen, usability=replace(seen.usability, usable=False, reasons=("too dark",)))
    _say(monkeypatch, 1.0)
    all_told = _record(poor)
    _say(monkeypatch, 0.0)
    assert _record(poor).findings == all_told.findings


def test_what_a_person_has_marked_is_answered(monkeypatch: pytest.MonkeyPatch, seen: Seen) -> None:
    _say(monkeypatch, 0.0)
    grips = {f.of for f in _record(seen).findings if f.check == "core-outside-grip"}
    cable = next(c for c in seen.readings.cables if c.id not in grips)
    across = cable.axis[len(cable.axis) // 2] + np.array([[-20.0, 0.0], [20.0, 0.0]])
    marks = [SightMark("sheath_edge", cable.id, across * seen.image.scale)]
    marked = _record(replace(seen, readings=apply_marks(seen.readings, marks, seen.image.scale)))
    assert any(f.of == cable.id and f.check == "core-outside-grip" for f in marked.findings)


def test_of_a_makers_lead_it_is_always_said_that_its_instructions_decide(
    monkeypatch: pytest.MonkeyPatch, seen: Seen
) -> None:
    _say(monkeypatch, 0.0)
    told = _record(seen, Declared(factory_lead=True))
    grips = {f.of for f in told.findings if f.check == "core-outside-grip" and f.of[0] == "c"}
    assert grips == {c.id for c in told.cables}
