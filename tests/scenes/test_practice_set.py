"""The ready practice photos: every one has its answer, and the answer says what the index orders."""

from __future__ import annotations

import hashlib
import json
import re
from collections import Counter
from typing import Any

import pytest
from PIL import Image

from audit.resources import practice_dir
from audit.training.order import CHECKS, LENGTHS
from audit.training.practice_set import PracticePhoto, read_set
from sample_images.scenes.layout import build_fitting
from sample_images.scenes.orders import TOLERANCE_MM, Order, built_as_ordered, tries

FOLDER = practice_dir()
PHOTOS = read_set(FOLDER / "set.toml")
SOUND = [p for p in PHOTOS if not p.order.checks and not p.order.poor]
each = pytest.mark.parametrize("photo", PHOTOS, ids=lambda p: p.name)


def truth_of(photo: PracticePhoto) -> dict[str, Any]:
    data: dict[str, Any] = json.loads((FOLDER / photo.truth_file).read_text("utf-8"))
    return data


def test_the_folder_holds_the_set_and_nothing_else() -> None:
    wanted = {"set.toml", "SHA256SUMS"}
    wanted |= {name for p in PHOTOS for name in (p.file, p.truth_file)}
    assert {p.name for p in FOLDER.iterdir()} == wanted
    assert len(PHOTOS) >= 40
    assert sum(p.stat().st_size for p in FOLDER.iterdir()) <= 9_000_000


def test_check_sums_match() -> None:
    lines = (FOLDER / "SHA256SUMS").read_text("utf-8").splitlines()
    sums = {name: value for value, name in (line.split("  ") for line in lines)}
    assert len(sums) == 2 * len(PHOTOS)
    for name, value in sums.items():
        assert hashlib.sha256((FOLDER / name).read_bytes()).hexdigest() == value, name


@each
def test_the_truth_says_the_fault_ordered_and_no_other(photo: PracticePhoto) -> None:
    truth, order = truth_of(photo), photo.order
    assert truth["schema"] == "lidoff.truth/1" and truth["photo"] == photo.file
    faults = [i for i in truth["items"] if i["fault"]]
    found = Counter(i["check"] for i in faults)
    implied = {"core-outside-grip"} if "core-outside-enclosure" in order.checks else set()
    assert set(order.checks) <= set(found) <= set(order.checks) | implied
    assert set(found.values()) <= {1}
    for item in faults:
        mm = order.mm.get(item["check"])
        assert mm is None or item["size_mm"] == pytest.approx(mm, abs=TOLERANCE_MM)
        if not order.poor:
            assert item["visible"] >= 0.5 or item["check"] not in order.checks


@each
def test_lengths_stand_in_the_reading_too(photo: PracticePhoto) -> None:
    """What the items say against what is met along the cable: the runs of the readings."""
    truth, mm = truth_of(photo), photo.order.mm
    runs = [r for c in truth["cables"] for r in c["reading"]]
    if want := mm.get("copper-beyond-terminal"):
        ends = [r["to_mm"] - r["from_mm"] for r in runs if r["what"] == "copper" and r["core"] != "cpc"]  # fmt: skip
        assert ends == [pytest.approx(want, abs=TOLERANCE_MM)]
    if want := mm.get("core-outside-enclosure"):
        outside = [-r["from_mm"] for r in runs if r["what"] == "core" and "core" not in r and r["from_mm"] < 0]  # fmt: skip
        assert outside == [pytest.approx(want, abs=TOLERANCE_MM)]
    if want := mm.get("cpc-unsleeved"):
        bare = [r["to_mm"] - r["from_mm"] for r in runs if r["what"] == "copper" and r["core"] == "cpc"]  # fmt: skip
        assert bare[0] == pytest.approx(want, abs=TOLERANCE_MM)


@each
def test_the_photo_is_as_its_index_says(photo: PracticePhoto) -> None:
    truth, order = truth_of(photo), photo.order
    assert truth["view"] == order.view
    assert truth["usable"] is (order.poor == "")
    assert truth["card"]["present"] is order.card
    assert tuple(truth["tags"]["cable_sizes"]) == order.cables
    assert order.sheath is None or {c["sheath"] for c in truth["cables"]} == {order.sheath}
    assert truth["tags"]["family"] == "practice"


@each
def test_the_photo_comes_of_its_order(photo: PracticePhoto) -> None:
    """The plan it was made from is one that its order draws, and its geometry is as ordered."""
    seeds = truth_of(photo)["seeds"]
    order = Order(**vars(photo.order))
    for fplan, plan in tries(order):
        if (fplan.seed, plan.seed) == (seeds["fitting"], seeds["photo"]):
            fit = build_fitting(fplan, closed=plan.view == "closed")
            assert built_as_ordered(order, fit)
            return
    pytest.fail("no plan of this order has the seeds of its truth")


@each
def test_the_file_holds_a_picture_and_nothing_else(photo: PracticePhoto) -> None:
    data = (FOLDER / photo.file).read_bytes()
    assert _segments(data) <= {0xE0, 0xDB, 0xC0, 0xC2, 0xC4, 0xDA}
    with Image.open(FOLDER / photo.file) as image:
        assert image.size == (1200, 900) and image.mode == "RGB"
        assert not image.getexif() and "comment" not in image.info and "icc_profile" not in image.info  # fmt: skip


def _segments(data: bytes) -> set[int]:
    """Markers before the scan (ITU-T T.81, B.1.1: FF, code, length of two bytes that counts itself).

    E0 is JFIF; E1 would be EXIF or XMP, ED IPTC, FE a comment.
    """
    found, at = set(), 2
    while data[at + 1] not in found | {0xDA} or data[at + 1] in (0xDB, 0xC4):
        assert data[at] == 0xFF
        found.add(data[at + 1])
        at += 2 + int.from_bytes(data[at + 2 : at + 4])
    return found | {data[at + 1]}


def test_titles_do_not_give_the_answer_away() -> None:
    telling = re.compile(
        "copper|bare|sleeve|cpc|earth|cut|short|outside|fault|sound|blur|dark|glare|old|new"
    )
    for photo in PHOTOS:
        assert not telling.search(photo.title.lower()), photo.title


def test_the_mix_teaches_every_check_at_several_sizes() -> None:
    usable = [p for p in PHOTOS if not p.order.poor]
    per_check = Counter(c for p in usable for c in p.order.checks)
    assert set(per_check) == set(CHECKS) and min(per_check.values()) >= 3
    for check in LENGTHS:
        lengths = [p.order.mm[check] for p in usable if check in p.order.mm]
        assert len(set(lengths)) >= 2 and max(lengths) >= 1.8 * min(lengths)
    assert 0.28 <= len(SOUND) / len(PHOTOS) <= 0.40
    assert len({p.order.poor for p in PHOTOS} - {""}) >= 4
    assert {p.order.difficulty for p in PHOTOS} == {1, 2, 3}
    for view in ("entry", "terminals", "inside", "closed"):
        assert sum(p.order.view == view for p in PHOTOS) >= 3
        assert any(p.order.view == view for p in SOUND)
    assert {len(p.order.cables) for p in PHOTOS} == {1, 2, 3}
    assert 5 <= sum(p.order.card for p in PHOTOS) <= len(PHOTOS) - 5
    sheaths = Counter(c["sheath"] for p in PHOTOS for c in truth_of(p)["cables"])
    assert min(sheaths[s] for s in ("grey", "white", "black")) >= 3
