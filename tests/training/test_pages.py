"""The pages without a browser: nothing of the truth beforehand, nothing foreign, nothing lost."""

from __future__ import annotations

import csv
import io
import json
import uuid
from pathlib import Path

import pytest
from PIL import Image

from audit.bench.stats import share
from audit.training.export import as_csv, as_json, write
from audit.training.history import history
from audit.training.sets import from_folder
from audit.training.store import Results
from audit.training.web.app import create_app
from audit.training.web.context import Practice
from audit.training.words import practice_texts
from tests.training.conftest import OWN, Pages
from tests.training.samples import COPPER, GRIP

AT_COPPER = {"at_px": [538, 302], "check": "copper-beyond-terminal", "length_mm": 4}
AT_GRIP = {"at_px": [330, 310], "check": "core-outside-grip"}
AWAY = {"at_px": [50, 50], "check": "cpc-unsleeved"}


def test_the_page_before_the_answer_tells_nothing_of_it(pages: Pages) -> None:
    for title in ("both faults", "nothing", "too dark"):
        page = pages.get(f"/look/{pages.key(title)}").text
        for word in ("Telling", "both faults", "copper-and-entry", "clean", "dark", "truth"):
            assert word not in page
        for box in (COPPER, GRIP):
            assert str(round(box[0])) not in page
    bare = [
        pages.get(f"/look/{pages.key(t)}").text.replace(pages.key(t), "KEY")
        for t in ("both faults", "nothing", "too dark")
    ]
    assert bare[0] == bare[1] == bare[2]


def test_the_photo_carries_nothing_of_its_file(pages: Pages, folder: Path) -> None:
    data = (folder / "copper-and-entry.jpg").read_bytes()
    assert b"Maker of a phone" in data
    assert b"Plot 3" in data
    for size, longer in (("small", 240), ("screen", 800), ("full", 800)):
        served = pages.get(f"/photo/{pages.key('both faults')}/{size}")
        assert served.mimetype == "image/jpeg"
        for word in (b"Exif", b"Maker", b"Plot 3", b"hall"):
            assert word not in served.data
        assert max(Image.open(io.BytesIO(served.data)).size) == longer


def test_a_card_with_names_on_it_is_painted_over(folder: Path, results: Results) -> None:
    made = from_folder(folder)
    photos = {}
    for key, photo in made.photos.items():
        corners = ((300.0, 400.0), (400.0, 400.0), (400.0, 450.0), (300.0, 450.0))
        photos[key] = type(photo)(**{**vars(photo), "cover": corners})
    practice = Practice(type(made)("a job", photos), results, "A")
    client = create_app(practice, bounded=False).test_client()
    data = client.get(f"/photo/{next(iter(photos.values())).key}/full").data
    picture = Image.open(io.BytesIO(data)).convert("RGB")
    assert all(abs(v - 128) < 6 for v in picture.getpixel((350, 425)))
    assert all(abs(v - 226) < 6 for v in picture.getpixel((350, 395))[:2])


def test_an_answer_is_scored_kept_and_shown(pages: Pages, results: Results) -> None:
    answer = pages.answer("both faults", "marks", AT_COPPER, AT_GRIP, AWAY, seconds=31.4)
    assert answer.json == {"to": "/round/1"}
    (kept,) = results.rounds()
    assert (kept.score.found, kept.score.false, kept.score.missed) == (2, 1, 0)
    assert (kept.seconds, kept.counted, kept.trainee) == (31.4, True, "A. Trainee")
    page = pages.get("/round/1").text
    assert "2 of 2 faults found, 1 mark where no fault is." in page
    assert "4.5 mm long; you said 4 mm, 0.5 mm too short." in page
    assert "Telling title: both faults" in page
    assert "Why it matters" in page
    assert "BS 7671" in page
    assert "The camera sees 20 % of it" in page


@pytest.mark.parametrize(
    ("title", "kind", "said"),
    [
        ("both faults", "nothing", "There was something to find: 2 faults missed."),
        ("both faults", "unusable", "This photo can&#39;t be judged"),
        ("nothing", "nothing", "Right: no fault is to be seen in this photo."),
        ("nothing", "unusable", "This photo can be judged: no fault is to be seen in it."),
        ("too dark", "unusable", "Right: this photo can&#39;t be judged, since it is too dark."),
        ("too dark", "nothing", "This photo can&#39;t be judged, since it is too dark."),
    ],
)
def test_the_other_two_answers(pages: Pages, title: str, kind: str, said: str) -> None:
    if (title, kind) == ("both faults", "unusable"):
        said = "This photo can be judged: there were 2 faults to find."
    assert pages.answer(title, kind).status_code == 200
    assert said in pages.get("/round/1").text


def test_what_was_missed_comes_back_first(pages: Pages) -> None:
    pages.answer("both faults", "nothing")
    pages.answer("nothing", "nothing")
    pages.answer("too dark", "unusable")
    assert pages.get("/next").location == "/"
    assert "Nothing is due" in pages.get("/").text
    assert "in 10 minutes" in pages.get("/").text
    pages.clock.on(minutes=11)
    assert pages.get("/next").location == f"/look/{pages.key('both faults')}"


def test_what_is_not_due_counts_nothing(pages: Pages, results: Results) -> None:
    pages.answer("both faults", "nothing")
    pages.answer("both faults", "marks", AT_COPPER, AT_GRIP)
    assert [r.counted for r in results.rounds()] == [True, False]
    assert "counts nothing" in pages.get("/round/2").text
    assert "counts nothing" in pages.get(f"/look/{pages.key('both faults')}").text
    found = {c.check: c.found for c in history(results.rounds()).checks}
    assert (found["copper-beyond-terminal"].count, found["copper-beyond-terminal"].of) == (0, 1)


def test_the_same_act_twice_is_one_round(pages: Pages, results: Results) -> None:
    body = {"photo": pages.key("nothing"), "kind": "nothing", "marks": [], "key": uuid.uuid4().hex}
    for _ in range(2):
        assert pages.client.post("/do/answer", json=body, headers=OWN).json == {"to": "/round/1"}
    assert len(results.rounds()) == 1


@pytest.mark.parametrize(
    "change",
    [
        {"photo": "0" * 16},
        {"kind": "perhaps"},
        {"kind": "nothing", "marks": [AT_COPPER]},
        {"kind": "marks", "marks": []},
        {"marks": [{**AT_COPPER, "at_px": [801, 5]}]},
        {"marks": [{**AT_COPPER, "at_px": [-1, 5]}]},
        {"marks": [{**AT_COPPER, "at_px": [float("nan"), 5]}]},
        {"marks": [{**AT_COPPER, "length_mm": 0}]},
        {"marks": [{**AT_COPPER, "check": "paperwork"}]},
        {"marks": [AT_COPPER] * 41},
        {"seconds": -1},
        {"seconds": "soon"},
        {"more": 1},
        {"key": "x"},
    ],
)
def test_what_is_no_answer_is_told_and_keeps_nothing(
    pages: Pages, results: Results, change: dict[str, object]
) -> None:
    body = {"photo": pages.key("both faults"), "kind": "marks", "marks": [AT_COPPER],
            "key": uuid.uuid4().hex, **change}  # fmt: skip
    answer = pages.client.post("/do/answer", json=body, headers=OWN)
    assert answer.status_code == 422
    assert answer.json is not None
    assert answer.json["what"]
    assert results.rounds() == ()


def test_no_other_site_can_answer(pages: Pages, results: Results) -> None:
    body = {"photo": pages.key("nothing"), "kind": "nothing", "marks": [], "key": uuid.uuid4().hex}
    for headers in ({}, {"Origin": "http://elsewhere.example"}, {**OWN, "Sec-Fetch-Site": "cross-site"}):  # fmt: skip
        assert pages.client.post("/do/answer", json=body, headers=headers).status_code == 403
    foreign = pages.client.get("/", base_url="http://elsewhere.example")
    assert foreign.status_code == 400
    assert results.rounds() == ()


def test_strict_headers_on_every_page(pages: Pages) -> None:
    pages.answer("both faults", "nothing")
    for path in ("/", "/checks", f"/look/{pages.key('nothing')}", "/round/1", "/nowhere", "/static/look.js", "/shared/viewer.js"):  # fmt: skip
        answer = pages.get(path)
        policy = answer.headers["Content-Security-Policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert answer.headers["X-Content-Type-Options"] == "nosniff"
        if answer.mimetype == "text/html":
            assert " style=" not in answer.text
            assert "<script>" not in answer.text
            assert " onclick" not in answer.text


def test_another_trainees_round_is_not_shown(pages: Pages, folder: Path, results: Results) -> None:
    pages.answer("both faults", "nothing")
    other = create_app(Practice(from_folder(folder), results, "B. Trainee"), bounded=False)
    client = other.test_client()
    assert client.get("/round/1").status_code == 404
    assert "None yet" in client.get("/").text
    assert json.loads(client.get("/results.json").data)["rounds"] == []


def test_a_round_of_another_set_is_still_told(pages: Pages, folder: Path, results: Results) -> None:
    pages.answer("both faults", "nothing")
    (folder / "copper-and-entry.truth.json").unlink()
    smaller = Practice(from_folder(folder), results, "A. Trainee")
    page = create_app(smaller, bounded=False).test_client().get("/round/1")
    assert page.status_code == 200
    assert "not in the set that is open now" in page.text


def test_nothing_at_other_addresses(pages: Pages) -> None:
    key = pages.key("nothing")
    for path in ("/round/0", "/round/1", "/round/99999999999999999999", f"/photo/{key}/huge",
                 "/photo/../../etc/small", "/look/none", "/results.exe"):  # fmt: skip
        assert pages.get(path).status_code == 404


def test_a_photo_that_goes_missing_is_told(pages: Pages, folder: Path) -> None:
    (folder / "clean.jpg").unlink()
    answer = pages.get(f"/photo/{pages.key('nothing')}/screen")
    assert answer.status_code == 404
    assert "Traceback" not in answer.text


def test_markup_in_names_stays_text(folder: Path, results: Results) -> None:
    (folder / "set.toml").write_text('[[photo]]\nname = "clean"\ntitle = "<img src=x onerror=y>"\n')
    practice = Practice(from_folder(folder), results, "<b>A</b>")
    client = create_app(practice, bounded=False).test_client()
    key = next(p.key for p in practice.set.photos.values() if p.title.startswith("<img"))
    body = {"photo": key, "kind": "nothing", "marks": [], "key": uuid.uuid4().hex}
    client.post("/do/answer", json=body, headers=OWN)
    for path in ("/", "/round/1"):
        page = client.get(path).text
        assert "<img src=x" not in page
        assert "<b>A</b>" not in page


def test_history_adds_up_with_its_range(pages: Pages, results: Results) -> None:
    pages.answer("both faults", "marks", AT_COPPER, AWAY, seconds=20.0)
    pages.answer("nothing", "unusable", seconds=10.0)
    pages.answer("too dark", "unusable")
    found = history(results.rounds())
    lines = {c.check: c for c in found.checks}
    copper = lines["copper-beyond-terminal"]
    assert (copper.found, copper.length_error_mm) == (share(1, 1), 0.5)
    # Clopper-Pearson for 1 of 1 is 0.025 to 1: the lower end is 0.025 ** (1 / 1).
    assert copper.found.low == pytest.approx(0.025)
    assert lines["core-outside-enclosure"].found == share(0, 1)
    assert lines["cpc-unsleeved"].false == 1
    assert found.missed["core-outside-enclosure"] == 1.0
    assert (found.without_fault, found.not_judgeable) == (share(0, 1), share(1, 1))
    assert (found.photos, found.seconds) == (3, 15.0)
    page = pages.get("/").text
    assert "few" in page
    assert "3–100 %" in page


def test_few_is_said_where_the_range_is_wide() -> None:
    """Clopper-Pearson, 15 of 30: 0.3130 to 0.6870, as R's binom.test(15, 30) gives it (from memory)."""
    found = share(15, practice_texts().few)
    assert (found.low, found.high) == (pytest.approx(0.3130, abs=5e-4), pytest.approx(0.6870, abs=5e-4))  # fmt: skip


def test_exports(pages: Pages, folder: Path, results: Results, tmp_path: Path) -> None:
    pages.answer("both faults", "marks", AT_COPPER, AWAY)
    pages.answer("nothing", "nothing")
    rows = list(csv.DictReader(io.StringIO(pages.get("/results.csv").data.decode("utf-8-sig"))))
    assert [(r["round"], r["verdict"], r["fault"], r["named"]) for r in rows] == [
        ("1", "missed", "core-outside-enclosure", ""),
        ("1", "found", "copper-beyond-terminal", "copper-beyond-terminal"),
        ("1", "hard to see", "copper-beyond-terminal", ""),
        ("1", "false", "", "cpc-unsleeved"),
        ("2", "right", "", ""),
    ]
    assert rows[1]["length mm"] == "4.50"
    data = json.loads(pages.get("/results.json").data)
    assert data["schema"] == "lidoff.practice-results/1"
    assert len(data["rounds"]) == 2
    write(results.rounds(), tmp_path / "a.csv")
    write(results.rounds(), tmp_path / "a.json")
    assert (tmp_path / "a.csv").read_bytes() == as_csv(results.rounds())
    assert (tmp_path / "a.json").read_bytes() == as_json(results.rounds())


@pytest.mark.parametrize("evil", ["=1+1", "+cmd", "-2", "@SUM(A1)", " =x", "\t=x", "＝x"])
def test_no_spreadsheet_takes_a_name_for_a_formula(
    folder: Path, results: Results, evil: str
) -> None:
    """OWASP, CSV injection: such characters do not begin a cell."""
    practice = Practice(from_folder(folder), results, evil)
    client = create_app(practice, bounded=False).test_client()
    body = {"photo": next(iter(practice.set.photos.values())).key, "kind": "nothing", "marks": [], "key": uuid.uuid4().hex}  # fmt: skip
    assert client.post("/do/answer", json=body, headers=OWN).status_code == 200
    for row in csv.reader(io.StringIO(as_csv(results.rounds()).decode("utf-8-sig"))):
        for cell in row:
            assert cell.lstrip()[:1] not in tuple("=+@＝") or cell == ""
            assert not cell.startswith("-2")
