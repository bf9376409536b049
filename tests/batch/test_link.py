"""Which photo belongs to which fitting, before and after the photos are read."""

from __future__ import annotations

from pathlib import Path

from PIL import Image

from audit.batch.audit import Options, audit_job
from audit.batch.executor import LocalProcesses
from audit.batch.link import declared_for, file_name, first_tags
from audit.batch.tags import tag_of
from audit.checklist.models import Checklist
from audit.job.facts import Fitting
from audit.job.label import Link, PhotoTag
from audit.job.read import load_job
from tests.batch import fakes
from tests.batch.jobs import write_job


def photo_at(path: Path, time: str, shade: int) -> None:
    """A photo with its capture time, as Exif writes it (CIPA DC-008, DateTimeOriginal 0x9003)."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = f"2026:05:01 {time}"
    Image.new("RGB", (320, 240), (shade, 80, 60)).save(path, exif=exif)


def audited(job: Path) -> Checklist:
    with LocalProcesses(1) as executor:
        return audit_job(job, Options(work=fakes.look), executor=executor).checklist


def test_times_are_read_where_a_photo_has_no_fitting(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    photo_at(job / "photos" / "F01-inside.jpg", "10:00:00", 10)
    photo_at(job / "photos" / "IMG_2.jpg", "10:01:00", 20)
    (job / "photos" / "IMG_3.jpg").write_text("no photo")
    tags = dict(first_tags(load_job(job), LocalProcesses(1)))
    assert len(tags) == 3
    taken = tags["photos/IMG_2.jpg"].taken
    assert taken is not None and taken.isoformat() == "2026-05-01T10:01:00"
    assert tags["photos/IMG_3.jpg"].taken is None
    assert all(t.sha256 for t in tags.values())


def test_photos_that_follow_in_time_belong_to_the_run_and_want_confirming(tmp_path: Path) -> None:
    job = write_job(tmp_path)
    photo_at(job / "photos" / "F01-inside.jpg", "10:00:00", 10)
    photo_at(job / "photos" / "IMG_2.jpg", "10:01:00", 20)
    photos = {p.file: p for p in audited(job).photos}
    assert photos["IMG_2.jpg"].fitting == "F01"
    assert photos["IMG_2.jpg"].linked_by == "run"
    assert photos["IMG_2.jpg"].notes[0].startswith("to be confirmed")
    assert photos["IMG_2.jpg"].taken == "2026-05-01T10:01:00"
    assert photos["F01-inside.jpg"].notes == ()


def test_label_that_only_the_whole_reading_finds_links_and_is_read_again(tmp_path: Path) -> None:
    job = write_job(tmp_path, photos=("card-F02.jpg", "F01-inside.jpg"))
    photos = {p.file: p for p in audited(job).photos}
    assert photos["card-F02.jpg"].fitting == "F02"
    assert photos["card-F02.jpg"].linked_by == "card"
    # Read again with what is declared of the fitting that was not known at first.
    assert (job / "read.log").read_text().split().count("card-F02.jpg") == 2
    assert (photos["card-F02.jpg"].look.model_extra or {})["declared_cables"] == 1


def test_facts_that_help_the_reading() -> None:
    fitting = Fitting.model_validate(
        {"label": "F01", "cable": "1.5 T&E", "cables": 2, "sheath": "other", "cpc_in_cable": True}
    )
    facts = declared_for(fitting, Link("photos/a.jpg", "linked", "F01", "inside"))
    assert (facts.cable_size, facts.cables, facts.sheath) == ("1.5 T&E", 2, None)
    assert (facts.view, facts.cpc_expected) == ("inside", True)
    assert declared_for(None, Link("photos/a.jpg", "unlabelled")).cables is None


def test_reading_keeps_what_was_known_before(tmp_path: Path) -> None:
    record = fakes.look(type("T", (), {"name": "a.jpg", "path": tmp_path / "a.jpg",
                                       "declared": None}))  # fmt: skip
    before = PhotoTag(card_label="F01")
    assert tag_of(record, before).card_label == "F01"
    again = record.model_copy(update={"label": "F02", "taken": "2026-05-01T10:00:00"})
    assert tag_of(again, before).card_label == "F02"
    assert tag_of(again.model_copy(update={"taken": "yesterday"}), None).taken is None


def test_names_are_those_within_photos() -> None:
    assert file_name("photos/first floor/F01.jpg") == "first floor/F01.jpg"
