"""What a file name says, and which fitting each photo belongs to."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from audit.job.label import VIEWS, Labels, Linking, PhotoTag, label_key, link_photos
from audit.job.read import load_job

from .folders import SMALL, write_job

LABELS = Labels(["F01", "F02", "Bath-1", "Bath 1b", "12", "Kü 3"])


@pytest.mark.parametrize(
    ("name", "label", "view"),
    [
        ("F01-inside.jpg", "F01", "inside"),
        ("F01_entry_2.JPG", "F01", "entry"),
        ("f01 terminals.jpeg", "F01", "terminals"),
        ("f01 terminal.jpeg", "F01", "terminals"),
        ("F01inside.jpg", "F01", "inside"),
        ("F01-closed-1.jpg", "F01", "closed"),
        ("F01.inside.jpg", "F01", "inside"),
        ("photos/sub/F02/F01-plate.heic", "F01", "plate"),
        ("photos\\F01-plate.heic", "F01", "plate"),
        ("bath_1-Back (2).HEIC", "Bath-1", "back"),
        ("BATH 1B above.png", "Bath 1b", "above"),
        ("12-face.jpg", "12", "face"),
        ("Ku\u0308 3-entry.jpg", "Kü 3", "entry"),
        ("F01 entry terminals.jpg", "F01", "inside"),
        ("F01.jpg", "F01", None),
        ("F01", "F01", None),
        ("F01-after painting.jpg", "F01", None),
        ("IMG_2031.jpg", None, None),
        ("IMG_2031-plate.jpg", None, "plate"),
        ("20261125_101112.jpg", None, None),
        ("PXL_20261125_101112.jpg", None, None),
        ("inside.jpg", None, "inside"),
        (".jpg", None, None),
        ("---.jpg", None, None),
    ],
)
def test_names(name: str, label: str | None, view: str | None) -> None:
    says = LABELS.read(name)
    assert (says.label, says.view, says.unknown_label) == (label, view, None)


@pytest.mark.parametrize("name", ["F1-inside.jpg", "F11.jpg", "F011-entry.jpg", "F01a-inside.jpg"])
def test_a_label_is_taken_as_declared_only(name: str) -> None:
    says = LABELS.read(name)
    assert says.label is None
    assert says.unknown_label == name.split("-")[0].split(".")[0].lower()
    assert "'F01'" in says.note


def test_two_labels_or_views_are_not_guessed() -> None:
    both = LABELS.read("F01-F02.jpg")
    assert both.label is None
    assert "two labels" in both.note
    views = LABELS.read("F01-entry-back.jpg")
    assert (views.label, views.view) == ("F01", None)
    assert "several views" in views.note
    near = LABELS.read("F01-entrry.jpg")
    assert near.view is None
    assert "did you mean 'entry'" in near.note


LETTERS = st.text("ABCDEFGHXYZ", min_size=1, max_size=3)
LABEL = st.builds(lambda a, n: f"{a}{n}", LETTERS, st.integers(0, 99))


@given(
    labels=st.lists(LABEL, min_size=1, max_size=12, unique_by=label_key),
    pick=st.integers(0, 11),
    view=st.sampled_from(VIEWS),
    apart=st.sampled_from(["-", "_", " ", ".", " - ", ", "]),
    count=st.integers(0, 30),
    case=st.sampled_from([str.upper, str.lower, str.title, str]),
    ending=st.sampled_from([".jpg", ".JPEG", ".heic", ".png", ".tif"]),
)
@settings(max_examples=300, deadline=None)
def test_every_declared_label_and_view_is_read_back(
    labels: list[str], pick: int, view: str, apart: str, count: int, case: type[str], ending: str
) -> None:
    label = labels[pick % len(labels)]
    name = case(f"{label}{apart}{view}{apart + str(count) if count else ''}") + ending
    says = Labels(labels).read(name)
    assert (says.label, says.view, says.note) == (label, view, "")


@given(name=st.text(max_size=60), labels=st.lists(LABEL, max_size=5, unique_by=label_key))
@settings(max_examples=300, deadline=None)
def test_any_name_is_read_without_harm(name: str, labels: list[str]) -> None:
    says = Labels(labels).read(name)
    assert says.label is None or says.label in labels
    assert says.view is None or says.view in VIEWS


START = datetime(2026, 5, 31, 10, 0, 0)


def at(seconds: int, card: str | None = None, **more: str) -> PhotoTag:
    return PhotoTag(START + timedelta(seconds=seconds), card, **more)


def linking(folder: Path, tags: Mapping[str, PhotoTag], toml: str = SMALL) -> Linking:
    job = load_job(write_job(folder, toml, photos=tuple(tags)))
    result = link_photos(job, {f"photos/{name}": tag for name, tag in tags.items()})
    assert sum(result.counts().values()) == len(tags) == len(result.links)
    return result


def told(result: Linking, name: str) -> tuple[str, str | None, str | None, bool]:
    link = result.of(f"photos/{name}")
    return link.outcome, link.label, link.how, link.confirm


def test_entry_beats_name_beats_card_beats_run(tmp_path: Path) -> None:
    toml = SMALL + '[[photo]]\nfile = "F01-a.jpg"\nfitting = "F02"\nview = "plate"\n'
    result = linking(
        tmp_path,
        {
            "F01-a.jpg": at(0, "F01"),
            "F01-b.jpg": at(10, "F01"),
            "IMG_1.jpg": at(20, " f02 "),
            "IMG_2-inside.jpg": at(30),
        },
        toml,
    )
    assert told(result, "F01-a.jpg") == ("linked", "F02", "entry", True)
    assert "its file name says 'F01'" in result.of("photos/F01-a.jpg").why
    assert result.of("photos/F01-a.jpg").view == "plate"
    assert told(result, "F01-b.jpg") == ("linked", "F01", "name", False)
    assert told(result, "IMG_1.jpg") == ("linked", "F02", "card", False)
    assert told(result, "IMG_2-inside.jpg") == ("linked", "F02", "run", True)
    assert result.of("photos/IMG_2-inside.jpg").view == "inside"
    assert result.of("photos/IMG_2-inside.jpg").like == "photos/IMG_1.jpg"
    assert [x.photo for x in result.for_fitting("F01")] == ["photos/F01-b.jpg"]


def test_a_run_goes_by_the_clock_until_the_next_label(tmp_path: Path) -> None:
    result = linking(
        tmp_path,
        {
            "IMG_9.jpg": at(0),
            "IMG_1.jpg": at(10, "F01"),
            "IMG_8.jpg": at(20),
            "IMG_2.jpg": at(30, "F02"),
            "IMG_7.jpg": at(4000),
            "IMG_3.jpg": PhotoTag(),
        },
    )
    assert told(result, "IMG_9.jpg") == ("unlabelled", None, None, False)
    assert told(result, "IMG_8.jpg") == ("linked", "F01", "run", True)
    assert told(result, "IMG_7.jpg") == ("linked", "F02", "run", True)
    assert "66 min after" in result.of("photos/IMG_7.jpg").why
    assert told(result, "IMG_3.jpg")[0] == "unlabelled"
    assert "no time" in result.of("photos/IMG_3.jpg").why
    assert {x.photo for x in result.open_points()} == {
        "photos/IMG_9.jpg", "photos/IMG_8.jpg", "photos/IMG_7.jpg", "photos/IMG_3.jpg",
    }  # fmt: skip


def test_a_run_stays_with_one_camera(tmp_path: Path) -> None:
    result = linking(
        tmp_path,
        {
            "A1.jpg": at(0, "F01", camera="a"),
            "B1.jpg": at(5, "F02", camera="b"),
            "A2.jpg": at(10, camera="a"),
            "B2.jpg": at(12, camera="b"),
        },
    )
    assert told(result, "A2.jpg")[1] == "F01"
    assert told(result, "B2.jpg")[1] == "F02"


def test_no_run_begins_with_what_is_in_doubt(tmp_path: Path) -> None:
    result = linking(
        tmp_path,
        {
            "IMG_1.jpg": at(0, "F01"),
            "IMG_2.jpg": at(10, "F77"),
            "IMG_3.jpg": at(20),
            "F01-x.jpg": at(30, "F02"),
            "IMG_4.jpg": at(40),
            "F01-F02.jpg": at(50),
            "IMG_5.jpg": at(60),
            "F99-x.jpg": at(70, "F01"),
            "IMG_6.jpg": at(80),
        },
    )
    assert told(result, "IMG_2.jpg") == ("unknown-label", "F77", None, False)
    assert told(result, "F01-x.jpg") == ("linked", "F01", "name", True)
    assert told(result, "F01-F02.jpg") == ("unlabelled", None, None, True)
    assert told(result, "F99-x.jpg") == ("linked", "F01", "card", True)
    for name in ("IMG_3.jpg", "IMG_4.jpg", "IMG_5.jpg", "IMG_6.jpg"):
        assert told(result, name)[:2] == ("unlabelled", None), name


def test_the_second_in_which_labels_change_is_not_guessed(tmp_path: Path) -> None:
    result = linking(
        tmp_path, {"IMG_1.jpg": at(0, "F01"), "IMG_2.jpg": at(5), "IMG_3.jpg": at(5, "F02")}
    )
    assert told(result, "IMG_2.jpg") == ("unlabelled", None, None, False)


def test_clocks_with_and_without_offset_go_together(tmp_path: Path) -> None:
    result = linking(
        tmp_path,
        {"IMG_1.jpg": PhotoTag(START.replace(tzinfo=UTC), "F01"), "IMG_2.jpg": at(5)},
    )
    assert told(result, "IMG_2.jpg")[1] == "F01"


def test_copies_count_once(tmp_path: Path) -> None:
    result = linking(
        tmp_path,
        {
            "F01-inside.jpg": at(0, sha256="a" * 64),
            "IMG_1.jpg": at(0, sha256="a" * 64),
            "IMG_2.jpg": at(5),
            "IMG_3.jpg": at(9, sha256="b" * 64),
            "IMG_3 copy.jpg": at(9, sha256="b" * 64),
        },
    )
    assert told(result, "F01-inside.jpg") == ("linked", "F01", "name", False)
    assert told(result, "IMG_1.jpg") == ("duplicate", "F01", None, False)
    assert result.of("photos/IMG_1.jpg").like == "photos/F01-inside.jpg"
    assert told(result, "IMG_2.jpg") == ("linked", "F01", "run", True)
    outcomes = {told(result, n)[:2] for n in ("IMG_3.jpg", "IMG_3 copy.jpg")}
    assert outcomes == {("linked", "F01"), ("duplicate", "F01")}


def test_one_picture_for_two_fittings_counts_for_neither(tmp_path: Path) -> None:
    same = "c" * 64
    result = linking(
        tmp_path,
        {"F01-inside.jpg": at(0, sha256=same), "F02-inside.jpg": at(0, sha256=same),
         "IMG_1.jpg": at(5)},
    )  # fmt: skip
    for name in ("F01-inside.jpg", "F02-inside.jpg"):
        assert told(result, name) == ("duplicate", None, None, True)
        assert "'F01' and 'F02'" in result.of(f"photos/{name}").why
    assert told(result, "IMG_1.jpg")[:2] == ("unlabelled", None)


def test_a_copy_with_another_view_or_label_is_asked_about(tmp_path: Path) -> None:
    same, other = "d" * 64, "e" * 64
    result = linking(
        tmp_path,
        {"F01-entry.jpg": at(0, sha256=same), "F01-terminals.jpg": at(0, sha256=same),
         "F02-face.jpg": at(1, sha256=other), "F77-face.jpg": at(1, sha256=other)},
    )  # fmt: skip
    assert told(result, "F01-entry.jpg") == ("linked", "F01", "name", True)
    assert told(result, "F01-terminals.jpg") == ("duplicate", "F01", None, False)
    assert told(result, "F02-face.jpg") == ("linked", "F02", "name", True)


TAG = st.builds(
    PhotoTag,
    taken=st.none() | st.integers(0, 40).map(lambda s: START + timedelta(seconds=s)),
    card_label=st.none() | st.sampled_from(["F01", "f02", "F77", "", " "]),
    sha256=st.none() | st.sampled_from(["1" * 64, "2" * 64, "3" * 64]),
    camera=st.sampled_from(["", "a"]),
)
NAMES = [f"IMG_{i}.jpg" for i in range(6)] + [
    "F01-inside.jpg", "F01-entry.jpg", "F02.jpg", "F01-F02.jpg", "F77-face.jpg", "x.jpg",
]  # fmt: skip


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_job(tmp_path_factory.mktemp("many"), photos=tuple(NAMES))


@given(data=st.data())
@settings(max_examples=200, deadline=None)
def test_n_in_n_out_and_no_silent_certainty(many: Path, data: st.DataObject) -> None:
    job = load_job(many)
    tags = {f"photos/{n}": data.draw(TAG) for n in NAMES}
    result = link_photos(job, tags)
    assert [x.photo for x in result.links] == [p.path for p in job.photos]
    for link in result.links:
        assert link.why
        assert (link.how is not None) == (link.outcome == "linked")
        if link.outcome == "linked":
            assert link.label in {"F01", "F02"}
        if link.how == "run":
            assert link.confirm, "a run is never certain"
            begun = result.of(str(link.like))
            assert begun.label == link.label
    labelled = [x for x in result.links if x.outcome == "linked"]
    hashes = [tags[x.photo].sha256 for x in labelled if tags[x.photo].sha256]
    assert len(hashes) == len(set(hashes)), "the same picture never counts twice"
