"""Marks: measured at once, recorded as a person's, and the checklist follows."""

from __future__ import annotations

import uuid
from typing import Any

import pytest

from audit.measure.contract import LookRecord
from audit.photo.decode import read_photo
from audit.review import measure
from audit.review.pictures import photo_key
from tests.review.conftest import Pages
from tests.review.jobs import look_drawn

FILE = "F01-inside.jpg"


@pytest.fixture(autouse=True)
def _drawn_reader(monkeypatch: pytest.MonkeyPatch) -> None:
    """The drawings' own reader stands for seeing, which has tests of its own."""
    from audit.batch.photos import LookTask

    def look(
        path: Any, *, marks: Any, declared: Any, name: str, settings: Any, before: Any
    ) -> LookRecord:
        return look_drawn(LookTask(path, name, settings, tuple(marks), declared))

    monkeypatch.setattr(measure, "look_photo", look)


def _body(pages: Pages, points: list[list[float]], kind: str = "sheath_edge", **more: Any) -> Any:
    entry = pages.desk.basis().photos[photo_key(FILE)]
    mark = {"kind": kind, "of": "c1", "points_px": points}
    return {"photo": photo_key(FILE), "sha256": entry.sha256, "marks": [mark], **more}


def test_a_mark_is_measured_and_nothing_is_recorded_yet(pages: Pages) -> None:
    seq = len(pages.desk.record.entries())
    answer = pages.post("/do/marks/try", _body(pages, [[740.0, 535.0], [740.0, 665.0]]))
    assert answer.status_code == 200
    table = " ".join(answer.json["html"].split())
    assert "6.0 ± 0.6 mm" in table  # before
    assert "2.0 ± 0.3 mm" in table  # the edge 20 px before the grip, at 10 px a mm
    assert len(pages.desk.record.entries()) == seq
    assert not (pages.desk.root / "marks.json").exists()


def test_a_kept_mark_changes_the_item_and_asks_for_a_new_decision(pages: Pages) -> None:
    item = pages.item("core-outside-grip", "F01")
    pages.show(item)
    pages.decide(item, "agree")
    body = _body(pages, [[880.0, 535.0], [880.0, 665.0]], key=uuid.uuid4().hex)
    answer = pages.post("/do/marks/keep", body)
    assert answer.status_code == 200
    assert "measured=" in answer.json["to"]
    after = pages.item("core-outside-grip", "F01")
    assert (item.state, after.state) == ("flag", "clear")
    assert pages.standing(after).status == "again"
    entry = next(e for e in pages.desk.record.entries() if e.kind == "mark")
    assert entry.data["measured_by"] == "a person"
    assert entry.by == "A. Person"
    assert entry.data["mark"]["points_px"] == [[880.0, 535.0], [880.0, 665.0]]
    states = {f["check"]: f["state"] for f in entry.data["result"]["after"]}
    assert states["core-outside-grip"] == "clear"
    shown = pages.get(f"/marks/{photo_key(FILE)}").get_data(as_text=True)
    assert "880.0 535.0" in shown


def test_keeping_twice_keeps_once(pages: Pages) -> None:
    body = _body(pages, [[740.0, 535.0], [740.0, 665.0]], key=uuid.uuid4().hex)
    for _ in range(2):
        assert pages.post("/do/marks/keep", body).status_code == 200
    assert len([e for e in pages.desk.record.entries() if e.kind == "mark"]) == 1
    assert (pages.desk.root / "marks.json").read_text(encoding="utf-8").count('"sheath_edge"') == 1


@pytest.mark.parametrize(
    "points",
    [
        [[740.0, 535.0], [740.0, 99999.0]],
        [[-5.0, 535.0], [740.0, 600.0]],
        [[740.0, 535.0], [740.0, 535.0]],
        [[740.0, 535.0]],
    ],
)
def test_a_mark_that_can_t_be_meant_is_refused(pages: Pages, points: list[list[float]]) -> None:
    assert pages.post("/do/marks/try", _body(pages, points)).status_code == 422
    kept = pages.post("/do/marks/keep", _body(pages, points, key=uuid.uuid4().hex))
    assert kept.status_code == 422
    assert not (pages.desk.root / "marks.json").exists()


def test_a_mark_is_of_the_very_picture_it_was_put_on(pages: Pages) -> None:
    body = {**_body(pages, [[740.0, 535.0], [740.0, 665.0]]), "sha256": "0" * 64}
    answer = pages.post("/do/marks/try", body)
    assert answer.status_code == 422
    assert "another one" in answer.json["what"]


def test_what_no_mark_changes_is_seen_once_for_each_photo(
    pages: Pages, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen: list[str] = []
    monkeypatch.setattr(measure, "unmarked", lambda photo: seen.append(photo.sha256) or object())
    stages = measure._Kept()
    photos = [
        read_photo(pages.desk.root / "photos" / name)
        for name in ("F01-inside.jpg", "F02-inside.jpg")
    ]
    kept = [stages(photos[n]) for n in (0, 0, 1, 1, 0)]
    assert seen == [photos[n].sha256 for n in (0, 1, 0)]
    assert kept[0] is kept[1]
