"""Answers in doubt that are not given: by what is seen a fault is all but ruled out at their place."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from audit.measure import ruled_out as module
from audit.measure.contract import FindingRecord, LookRecord, State
from audit.measure.declared import Declared
from audit.measure.look import Seen, record_of, see
from audit.measure.ruled_out import RULED_OUT, ruled_out
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
    assert ruled_out(finding, ROW) is passed
    assert ruled_out(finding, None) is False


def test_nothing_is_passed_over_that_would_not_be_clear_were_it_plainly_seen() -> None:
    assert RULED_OUT.keys() == CLEAR_AT.keys()
    for check, most in RULED_OUT.items():
        assert 0 < most <= CLEAR_AT[check]


def test_a_cable_that_nothing_is_asked_of_is_still_told_of(
    monkeypatch: pytest.MonkeyPatch, seen: Seen
) -> None:
    _say(monkeypatch, 1.0)
    asked = _record(seen)
    _say(monkeypatch, 0.0)
    told = _record(seen)
    doubted = [f for f in _of_things(asked) if f.state == "unsure"]
    assert doubted
    assert [f for f in _of_things(asked) if f not in doubted] == _of_things(told)
    assert told.cables == asked.cables
    assert told.ends == asked.ends
    assert told.cpc == asked.cpc


def test_what_a_person_has_marked_is_answered(monkeypatch: pytest.MonkeyPatch, seen: Seen) -> None:
    _say(monkeypatch, 0.0)
    cable = seen.readings.cables[0]
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
