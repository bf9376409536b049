"""Answers come from truth, or from what a person decided; never from the tool's own states."""

from __future__ import annotations

import uuid
from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

import pytest

from audit.bench.truth import Truth
from audit.checklist.models import Item
from audit.errors import JobError, PhotoError, UsageError
from audit.record.types import Agree, Decision, Overrule, Retake, SeenOnSite
from audit.review.desk import Desk
from audit.training.answers import Sheet, from_truth
from audit.training.sets import from_job
from tests.review.jobs import make_job
from tests.training.samples import COPPER, FAULTS, GRIP, NOON, OUTSIDE, SIZE, item, truth

OUTSIDE_CHECK, GRIP_CHECK = "core-outside-enclosure", "core-outside-grip"
COPPER_CHECK = "copper-beyond-terminal"


def test_faults_of_a_truth_become_answers() -> None:
    found = from_truth(Truth.model_validate(truth("a", FAULTS)), SIZE)
    assert found.px_per_mm == 8.0
    assert [(a.check, a.of, a.to_find) for a in found.answers] == [
        (OUTSIDE_CHECK, "c1", True),
        (COPPER_CHECK, "e1", True),
        (COPPER_CHECK, "e2", False),
    ]
    outside, copper, _ = found.answers
    assert (outside.also, outside.box_px, outside.also_px) == (
        ("core-outside-grip",),
        OUTSIDE,
        GRIP,
    )
    assert (copper.box_px, copper.length_mm) == (COPPER, 4.5)


def test_a_grip_stands_alone_where_the_enclosure_is_right() -> None:
    items = [item("core-outside-grip", "c1", GRIP, 3.0), item(OUTSIDE_CHECK, "c2", OUTSIDE, 3.0)]
    found = from_truth(Truth.model_validate(truth("a", items)), SIZE).answers
    assert [(a.check, a.of, a.also) for a in found] == [
        (OUTSIDE_CHECK, "c2", ()),
        ("core-outside-grip", "c1", ()),
    ]


def test_a_grip_that_shows_stands_for_cores_outside_that_do_not() -> None:
    """Nobody is asked to find the graver fault where the camera does not see it."""
    items = [
        item(OUTSIDE_CHECK, "c1", OUTSIDE, 7.0, visible=0.0),
        item("core-outside-grip", "c1", GRIP, 17.0, visible=0.9),
    ]
    found = from_truth(Truth.model_validate(truth("a", items)), SIZE)
    assert [a.check for a in found.to_find] == ["core-outside-grip"]


def test_what_lies_outside_of_the_picture_is_not_to_be_found() -> None:
    items = [item(COPPER_CHECK, "e1", (900, 100, 950, 150), 3.0)]
    found = from_truth(Truth.model_validate(truth("a", items)), SIZE)
    assert [a.seen for a in found.answers] == [0.0]
    assert found.to_find == ()


def test_a_photo_that_cannot_be_judged_says_why() -> None:
    found = from_truth(
        Truth.model_validate(truth("a", FAULTS, usable=False, unusable_because="glare")), SIZE
    )
    assert (found.judgeable, found.to_find) == (False, ())
    assert "glare" in found.why_not
    other = from_truth(Truth.model_validate(truth("a", usable=False, unusable_because="xyz")), SIZE)
    assert other.why_not


@dataclass
class Decide:
    """A job with one fitting, of which a test decides what it wants."""

    root: Path
    desk: Desk

    def item(self, check: str) -> Item:
        return self.desk.basis().evidence.items[f"{check}:F01"]

    def __call__(self, check: str, decision: Decision) -> None:
        by, found = "C. Competent", self.item(check)
        basis, _ = self.desk.adopted(by)
        photos = [p.file for p in basis.checklist.photos]
        self.desk.record.shown(basis.evidence, found.id, by=by, photos=photos, key=uuid.uuid4().hex)
        saw = self.desk.record.state(basis.evidence).standings[found.id].token
        self.desk.record.decide(
            basis.evidence, found.id, decision, by=by, saw=saw, key=uuid.uuid4().hex
        )

    @property
    def photo(self) -> str:
        return self.desk.basis().checklist.photos[0].file

    def sheet(self) -> Sheet:
        (photo,) = from_job(self.root, [self.photo]).photos.values()
        return photo.sheet


@pytest.fixture
def decide(tmp_path: Path) -> Decide:
    root = make_job(tmp_path / "job", fittings=1)
    return Decide(root, Desk(root, 0.0))


def test_the_job_of_these_tests_holds_flags_of_the_tool(decide: Decide) -> None:
    """Else the tests below would show nothing."""
    assert decide.item(GRIP_CHECK).state == "flag"
    assert any(e.box_px for e in decide.item(GRIP_CHECK).evidence)


def test_nothing_of_the_tool_counts_before_a_person_decided(decide: Decide) -> None:
    with pytest.raises(JobError, match="nobody has decided anything"):
        decide.sheet()


def test_a_flag_that_was_agreed_to_is_an_answer_and_the_others_are_not(decide: Decide) -> None:
    decide(GRIP_CHECK, Agree())
    found = decide.sheet()
    assert {a.check for a in found.answers} == {GRIP_CHECK}
    assert found.basis == "decisions"
    assert GRIP_CHECK not in found.unknown
    assert set(found.unknown) == {
        OUTSIDE_CHECK, COPPER_CHECK, "cpc-cut-short", "cpc-unsleeved", "core-colours",
    }  # fmt: skip


def test_a_flag_that_was_overruled_is_no_fault(decide: Decide) -> None:
    decide(GRIP_CHECK, Overrule("it is a shadow"))
    found = decide.sheet()
    assert found.answers == ()
    assert GRIP_CHECK not in found.unknown


def test_no_fault_that_was_agreed_to_is_known_to_be_none(decide: Decide) -> None:
    assert decide.item(OUTSIDE_CHECK).state == "clear"
    decide(OUTSIDE_CHECK, Agree())
    found = decide.sheet()
    assert found.answers == ()
    assert OUTSIDE_CHECK not in found.unknown


def test_a_fault_that_the_tool_did_not_see_is_an_answer_where_its_place_is_known(
    decide: Decide,
) -> None:
    decide(OUTSIDE_CHECK, Overrule("cores show before the wall"))
    (answer,) = decide.sheet().answers
    (evidence,) = decide.item(OUTSIDE_CHECK).evidence
    assert (answer.check, answer.box_px, answer.length_mm) == (
        OUTSIDE_CHECK,
        evidence.box_px,
        None,  # what the tool measured there speaks for the opposite
    )


def test_a_fault_whose_place_nobody_knows_is_not_asked_for(decide: Decide) -> None:
    decide("cpc-unsleeved", Overrule("it is bare", "fault"))
    with pytest.raises(JobError, match="nobody has decided anything of this photo"):
        decide.sheet()


@pytest.mark.parametrize(
    "decision",
    [
        Retake("One sharp photo."),
        SeenOnSite("S. Seer", NOON - timedelta(days=400), "fault"),
        SeenOnSite("S. Seer", NOON - timedelta(days=400), "no fault"),
    ],
    ids=["retake", "fault seen on site", "none seen on site"],
)
def test_what_a_photo_did_not_settle_is_not_counted(decide: Decide, decision: Decision) -> None:
    decide(GRIP_CHECK, decision)
    with pytest.raises(JobError, match="nobody has decided anything of this photo"):
        decide.sheet()


def test_unsure_that_was_left_open_is_not_counted(decide: Decide) -> None:
    unsure = next(
        i for i in decide.desk.basis().checklist.items
        if i.from_photos and i.state == "unsure" and i.subject.id == "F01"
    )  # fmt: skip
    decide(unsure.check, Agree())
    with pytest.raises(JobError, match="nobody has decided anything of this photo"):
        decide.sheet()


def test_no_photo_of_a_job_is_taken_by_itself(decide: Decide) -> None:
    decide(GRIP_CHECK, Agree())
    with pytest.raises(UsageError) as caught:
        from_job(decide.root, [])
    assert "--photo" in caught.value.one_line()


def test_a_photo_the_job_has_not(decide: Decide) -> None:
    with pytest.raises(UsageError) as caught:
        from_job(decide.root, ["F01-closd.jpg"])
    assert "no photo 'F01-closd.jpg'" in caught.value.one_line()


def test_a_photo_that_was_changed_since(decide: Decide) -> None:
    decide(GRIP_CHECK, Agree())
    path = next((decide.root / "photos").glob("*.jpg"))
    path.write_bytes(path.read_bytes() + b"\0")
    with pytest.raises(PhotoError, match="not the one that was read"):
        decide.sheet()


def test_looking_at_a_job_leaves_its_record_as_it_is(decide: Decide) -> None:
    decide(GRIP_CHECK, Agree())
    before = len(decide.desk.record.entries())
    decide.sheet()
    assert len(Desk(decide.root, 0.0).record.entries()) == before


def test_a_job_without_a_record_is_not_given_one(tmp_path: Path) -> None:
    root = make_job(tmp_path / "job", fittings=1)
    with pytest.raises(JobError, match="nobody has decided anything of this job"):
        from_job(root, ["F01-inside.jpg"])
    assert not (root / "record.sqlite").exists()


def test_nothing_names_the_job_or_its_fitting(decide: Decide) -> None:
    decide(GRIP_CHECK, Agree())
    made = from_job(decide.root, [decide.photo])
    (photo,) = made.photos.values()
    told = f"{made.name} {photo.title} {photo.facts} {photo.key}"
    for word in ("F01", "Two rooms", "Plot 3", "Apprentice", decide.root.name + "/"):
        assert word not in told


def test_colours_are_shown_by_the_cores_of_older_colours() -> None:
    def core(colour: str, y: float) -> dict[str, object]:
        return {"what": "core", "colour": colour, "path_px": [[100, y], [200, y]]}

    reading = [core("brown", 1), core("red", 2), core("black", 3), core("blue", 4), {"what": 7}, 5]
    cable = {"id": "c1", "entry": {"kind": "clamp"}, "reading": reading}
    found = from_truth(
        Truth.model_validate(
            truth(
                "a",
                [item("core-colours", "photo", None)],
                cables=[cable, {**cable, "reading": None}],
            )
        ),
        SIZE,
    )
    (answer,) = found.answers
    assert answer.box_px is None
    assert answer.paths_px == (((100, 2), (200, 2)), ((100, 3), (200, 3)))
