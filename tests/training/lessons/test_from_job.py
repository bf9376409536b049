"""Sheets of a job: a person's decisions alone, and photos that a person chose."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from audit.errors import LidoffError, RecordError, UsageError
from audit.record.types import Agree, Overrule, Retake, SeenOnSite
from audit.settings import Settings
from audit.training.lessons.from_job import confirmed_faults
from audit.training.lessons.make import Choice, from_record
from tests.record.conftest import Desk
from tests.training.lessons.jobs import ONE_PLACE, PART_OF_CARD, PLAIN, desk_of, make_job

ALL = Choice(all_photos=True)
MANY = "copper-beyond-terminal:Q7W-LANDING-SECRET-0"
ONE = "cpc-cut-short:Q7W-LANDING-SECRET-0"


def job(tmp_path: Path, name: str, view: str = "inside") -> tuple[Path, Desk]:
    root = make_job(tmp_path / "job", {"F01-inside.jpg": (name, view)})
    return root, desk_of(root)


def as_state(root: Path, state: str) -> Desk:
    """The same job with a tool that said otherwise of every place."""
    path = root / "out" / "checklist.json"
    text = path.read_text(encoding="utf-8").replace('"state": "flag"', f'"state": "{state}"')
    path.write_text(text, encoding="utf-8")
    return desk_of(root)


def test_undecided_flags_are_never_used(tmp_path: Path) -> None:
    root, _ = job(tmp_path, PLAIN)
    with pytest.raises(UsageError, match="confirmed by a person"):
        from_record(root, ALL, Settings())


def test_without_a_record_nothing_is_confirmed(tmp_path: Path) -> None:
    root = make_job(tmp_path / "job", {"F01-inside.jpg": (PLAIN, "inside")})
    with pytest.raises(UsageError, match="nothing in this job is decided") as caught:
        from_record(root, ALL, Settings())
    assert "lidoff review" in caught.value.one_line()
    assert not (root / "record.sqlite").exists(), "reading a job begins no record"


def test_an_agreed_flag_is_a_sheet_with_its_measured_lengths(tmp_path: Path) -> None:
    root, desk = job(tmp_path, PLAIN)
    desk.decide(MANY, Agree())
    made = from_record(root, ALL, Settings())
    assert [s.check for s in made.sheets] == ["copper-beyond-terminal"]
    (sheet,) = made.sheets
    # tune-009.truth.json: 2.90 mm is seen well, the other end has 0.73 mm.
    assert "2.9" in sheet.wrong
    assert "agreed by a person" in sheet.known
    assert sheet.ribbon is not None


@pytest.mark.parametrize(
    "decision", [Overrule("It is a reflection."), Retake("One sharp photo of the terminals.")]
)
def test_a_flag_that_a_person_does_not_hold_is_none(
    tmp_path: Path, decision: Overrule | Retake
) -> None:
    root, desk = job(tmp_path, PLAIN)
    desk.decide(MANY, decision)
    with pytest.raises(UsageError, match="confirmed by a person"):
        from_record(root, ALL, Settings())


def test_a_decision_taken_back_counts_no_more(tmp_path: Path) -> None:
    root, desk = job(tmp_path, PLAIN)
    desk.decide(MANY, Agree())
    desk.undo(MANY)
    with pytest.raises(UsageError, match="confirmed by a person"):
        from_record(root, ALL, Settings())


@pytest.mark.parametrize("state", ["unsure", "clear"])
def test_agreeing_with_no_flag_confirms_no_fault(tmp_path: Path, state: str) -> None:
    root, _ = job(tmp_path, PLAIN)
    as_state(root, state).decide(MANY, Agree())
    with pytest.raises(UsageError, match="confirmed by a person"):
        from_record(root, ALL, Settings())


def test_a_fault_found_on_site_needs_one_place(tmp_path: Path) -> None:
    """Of several places that the tool could not judge, nobody said which is meant."""
    root, _ = job(tmp_path, PLAIN)
    desk = as_state(root, "unsure")
    when = datetime(2031, 7, 9, 9, tzinfo=UTC)
    assert len(desk.job.items[MANY].evidence) > 1
    desk.decide(MANY, SeenOnSite("B. Person", when, "fault"))
    with pytest.raises(UsageError, match="1 without a place"):
        from_record(root, ALL, Settings())


def test_a_fault_that_a_person_found_shows_no_length_of_the_tool(tmp_path: Path) -> None:
    root, _ = job(tmp_path, ONE_PLACE)
    desk = as_state(root, "unsure")
    desk.decide(ONE, Overrule("It ends in the open.", "fault"))
    (sheet,) = from_record(root, ALL, Settings()).sheets
    assert "the tool had not flagged it" in sheet.known
    assert sheet.ribbon is None, "the tool's reading is not what was confirmed"
    assert " mm" not in sheet.wrong


def test_a_photo_that_was_changed_since_is_refused(tmp_path: Path) -> None:
    root, desk = job(tmp_path, PLAIN)
    desk.decide(MANY, Agree())
    photo = root / "photos" / "F01-inside.jpg"
    photo.write_bytes(photo.read_bytes() + b"x")
    with pytest.raises(RecordError, match="is not the one it speaks of"):
        from_record(root, ALL, Settings())


def test_no_photo_is_used_that_nobody_chose(tmp_path: Path) -> None:
    root, desk = job(tmp_path, PLAIN)
    desk.decide(MANY, Agree())
    with pytest.raises(UsageError, match="no photo is chosen"):
        from_record(root, Choice(), Settings())


def test_a_photo_is_chosen_by_its_name(tmp_path: Path) -> None:
    files = {"F01-inside.jpg": (PLAIN, "inside"), "F02-inside.jpg": (ONE_PLACE, "inside")}
    root = make_job(tmp_path / "job", files)
    desk = desk_of(root)
    for standing in desk.state.standings.values():
        desk.decide(standing.item.id, Agree())
    assert list(confirmed_faults(root).photos) == list(files)
    made = from_record(root, Choice(photos=("F02-inside.jpg",)), Settings())
    assert [s.check for s in made.sheets] == ["cpc-cut-short"]
    with pytest.raises(UsageError, match="no such photo") as caught:
        from_record(root, Choice(photos=("F03-inside.jpg",)), Settings())
    assert "\n" not in caught.value.one_line()


@pytest.mark.parametrize(
    ("name", "view", "why"),
    [(PLAIN, "plate", "rating plate"), (PART_OF_CARD, "inside", "label can't be found")],
)
def test_what_would_tell_is_refused_with_the_reason(
    tmp_path: Path, name: str, view: str, why: str
) -> None:
    root, desk = job(tmp_path, name, view)
    for standing in desk.state.standings.values():
        desk.decide(standing.item.id, Agree())
    with pytest.raises(LidoffError, match=why):
        from_record(root, ALL, Settings())


def test_a_part_covered_by_hand_lets_the_photo_out(tmp_path: Path) -> None:
    root, desk = job(tmp_path, PART_OF_CARD)
    for standing in desk.state.standings.values():
        desk.decide(standing.item.id, Agree())
    covers = {"F01-inside.jpg": ((0.0, 0.0, 1600.0, 200.0),)}
    made = from_record(root, Choice(all_photos=True, covers=covers), Settings())
    assert made.sheets
    assert "label is covered" in made.sheets[0].bare.alt
