"""The accuracy page is as new as its figures, and the figures are of the photos in the tree."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from PIL import Image

from audit.bench.score import SCHEMA, BenchResult
from audit.bench.truth import Truth, find_cases, load_truth
from audit.resources import models_dir
from tests.benchmarks.accuracy.chart import svg
from tests.benchmarks.accuracy.gallery import COUNT, MAX_BYTES
from tests.benchmarks.accuracy.measure import Places
from tests.benchmarks.accuracy.page import page
from tests.benchmarks.accuracy.stored import (
    ROOT,
    SETS,
    Stored,
    WorstList,
    load_all,
    photos_digest,
    read,
)

TO = Places(ROOT / "docs")
BENCH = ROOT / "sample_images" / "bench"
RENEW = "python -m tests.benchmarks.accuracy renews it"


@pytest.fixture(scope="module")
def stored() -> Stored:
    return load_all(TO.figures)


def test_the_page_is_as_new_as_the_figures(stored: Stored) -> None:
    assert TO.page.read_text(encoding="utf-8") == page(stored), RENEW


def test_the_chart_is_as_new_as_the_figures(stored: Stored) -> None:
    chart = TO.pictures / "harm.svg"
    drawn = chart.read_text(encoding="utf-8") if chart.is_file() else None
    assert drawn == (svg(stored.harms) if stored.harms else None), RENEW


def test_report_has_been_measured(stored: Stored) -> None:
    assert "report" in stored.sets


@pytest.mark.parametrize("name", SETS)
def test_figures_are_of_all_photos_of_the_set_as_they_are(stored: Stored, name: str) -> None:
    photos = BENCH / name
    if name not in stored.sets:
        assert not photos.is_dir(), f"photos of {name} are there, and nothing was measured on them"
        return
    run = stored.measured.runs[name]
    assert run.photos == stored.sets[name].photos.photos
    if name == "report" or photos.is_dir():  # a set that is not kept can't be counted
        assert run.photos == len(find_cases(photos))
        assert run.photos_sha256 == photos_digest(photos), "the photos have changed: measure again"


def test_nothing_was_fitted_on_what_is_told(stored: Stored) -> None:
    """What the page says in so many words, held to what the models tell of themselves."""
    told = {result.folder for result in stored.sets.values()}
    fitted = {*stored.provenance["families"], *stored.provenance["weighed_families"]}
    assert stored.further is not None
    fitted |= set(stored.further["families"])
    assert stored.nearness is not None
    fitted |= set(stored.nearness["families"])
    assert stored.spots is not None
    fitted |= set(stored.spots["families"])
    assert told and not told & fitted
    limits = (models_dir() / "photo_limits.toml").read_text(encoding="utf-8")
    assert tomllib.loads(limits)
    assert stored.limits_from and not any(name in stored.limits_from for name in told)


def test_pictures_are_those_of_the_list_small_and_bare(stored: Stored) -> None:
    listed = [one.picture for one in stored.worst.items] if stored.worst else []
    assert sorted(p.name for p in TO.pictures.glob("*.jpg")) == sorted(listed)
    for name in listed:
        path = TO.pictures / name
        assert path.stat().st_size < MAX_BYTES
        with Image.open(path) as picture:
            assert not picture.getexif()
            assert not {"icc_profile", "comment", "xmp", "exif"} & set(picture.info)


def test_the_worst_are_of_the_same_run_as_the_figures(stored: Stored) -> None:
    if stored.worst is None:
        assert "Not measured yet." in page(stored)
        return
    worst, report = stored.worst, stored.sets["report"]
    assert worst.folder == report.folder
    assert worst.of_rows >= _rows_against(report)
    assert report.not_scored or worst.of_rows == _rows_against(report)
    assert len(worst.items) == min(COUNT, worst.of_rows)
    for one in worst.items:
        truth = load_truth(BENCH / "report" / f"{Path(one.photo).stem}.truth.json")
        _holds(one.check, one.of, one.true_mm, one.verdict, truth)


def _rows_against(result: BenchResult) -> int:
    c = result.all_checks
    return c.false_flags + c.unsure + c.said_clear + c.silent + c.refused


def _holds(check: str, of: str, true_mm: float | None, verdict: str, truth: Truth) -> None:
    if verdict == "false flag":
        return
    (item,) = [i for i in truth.items if (i.check, i.of) == (check, of)]
    assert item.fault
    assert item.size_mm == true_mm


def test_a_figure_that_changes_makes_the_page_old(stored: Stored, tmp_path: Path) -> None:
    text = (TO.figures / "report.json").read_text(encoding="utf-8")
    result = read(TO.figures / "report.json", SCHEMA, BenchResult)
    count = result.all_checks.visible_faults
    changed = text.replace(f'"visible_faults": {count},', f'"visible_faults": {count + 1},')
    assert changed != text
    (tmp_path / "report.json").write_text(changed, encoding="utf-8")
    assert page(load_all(tmp_path)) != page(stored)


def test_what_is_not_measured_is_said(tmp_path: Path) -> None:
    assert "Nothing has been measured yet." in page(load_all(tmp_path))
    (tmp_path / "report.json").write_bytes((TO.figures / "report.json").read_bytes())
    text = page(load_all(tmp_path))
    assert "The set `third`, a further family" in text
    assert "How findings change when a photo is spoiled has not been measured." in text
    assert text.count("Not measured yet.") == 2


def test_a_list_of_the_worst_is_told_in_order(stored: Stored, tmp_path: Path) -> None:
    one = {
        "photo": "report-001.jpg", "check": "core-outside-grip", "of": "c1", "verdict": "silent",
        "true_mm": 4.0, "visible": 1.0, "said_mm": None, "score": None, "why": "",
        "truth_box": [0, 0, 9, 9], "said_box": None, "picture": "worst-01.jpg",
    }  # fmt: skip
    two = {
        **one,
        "verdict": "false flag",
        "true_mm": 0.0,
        "said_mm": 2.5,
        "score": 0.8,
        "why": "x.",
    }
    worst = WorstList.model_validate({"folder": "report", "of_rows": 7, "items": [one, two]})
    text = page(Stored(**{**vars(stored), "worst": worst}))
    assert "## The 2 worst" in text
    assert "core-outside-grip: fault, 4.0 mm; **nothing was said of it**." in text
    assert "no fault, 0.0 mm; **flagged**, 2.5 mm, score 0.80 (x)." in text
