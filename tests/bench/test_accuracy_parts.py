"""What the accuracy page is made by: taking figures, cutting pictures out, drawing the chart."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image

from audit.bench.truth import find_cases
from audit.resources import models_dir
from tests.bench.conftest import Folder, finding, item, look_dict, truth_dict
from tests.bench.test_cli import _run as bench
from tests.benchmarks.accuracy.chart import LINES, shares, svg
from tests.benchmarks.accuracy.gallery import crop_box, jpeg
from tests.benchmarks.accuracy.measure import Places, take, take_harm
from tests.benchmarks.accuracy.page import page
from tests.benchmarks.accuracy.stored import ROOT, Harms, load_all, models_digest

COPPER = "copper-beyond-terminal"
LEVEL = {
    "findings": 40, "flag_to_clear": 1, "flag_to_unsure": 2, "flag_to_silent": 3, "clear_to_flag": 1,
    "clear_to_unsure": 0, "unsure_to_flag": 0, "unsure_to_clear": 0, "refused": 3, "flags": 10,
    "clears": 4,
}  # fmt: skip
HARM = {
    "schema": "lidoff.harm/1",
    "folder": "set",
    "photos": 6,
    "harms": [
        {
            "harm": "blur <b>",
            "unit": "px sigma",
            "levels": [{"level": x, **LEVEL} for x in (1, 2.5)],
        }
    ],
}


@pytest.fixture
def filled(folder: Folder) -> Folder:
    folder.add(
        truth_dict("a.png", [item(COPPER, 2.0, 0), item(COPPER, 3.0, 100)]),
        look_dict("a.png", [finding(COPPER, "flag", 0, 2.1)]),
    )
    folder.add(
        truth_dict("b.png", [item(COPPER, 0.0, 0), item(COPPER, 1.0, 100)]),
        look_dict("b.png", [finding(COPPER, "flag", 0, 4.0), finding(COPPER, "clear", 100, 0.0)]),
    )
    return folder


@pytest.fixture
def figures(filled: Folder, tmp_path: Path) -> Path:
    path = tmp_path / "figures.json"
    assert bench(filled.path, "--looks", filled.looks_file(), "--json", path) == 0
    return path


def test_one_run_of_the_bench_gives_page_list_and_pictures(
    filled: Folder, figures: Path, tmp_path: Path
) -> None:
    to = Places(tmp_path / "docs")
    take("report", filled.path, figures, filled.looks_file(), "*", to)
    stored = load_all(to.figures)
    assert stored.worst is not None
    told = [(w.photo, w.verdict, w.true_mm, w.said_mm) for w in stored.worst.items]
    # In the order of `--worst`: said clear, silent, false flag; counted by hand.
    assert told == [
        ("b.png", "said clear", 1.0, 0.0),
        ("a.png", "silent", 3.0, None),
        ("b.png", "false flag", 0.0, 4.0),
    ]
    assert stored.worst.of_rows == 3
    assert stored.worst.items[0].said_box == (100.0, 50.0, 140.0, 90.0)
    drawn = sorted(p.name for p in to.pictures.glob("*.jpg"))
    assert drawn == ["worst-01.jpg", "worst-02.jpg", "worst-03.jpg"]
    assert (to.figures / "report.json").read_bytes() == figures.read_bytes()
    text = page(stored)
    assert "| **copper-beyond-terminal** | 3 | 1 | 0 | 1 | 1 | 0 | 1 |" in text
    assert all(f"](img/accuracy/{name})" in text for name in drawn)


def test_figures_without_records_take_the_old_gallery_away(
    filled: Folder, figures: Path, tmp_path: Path
) -> None:
    to = Places(tmp_path / "docs")
    take("report", filled.path, figures, filled.looks_file(), "*", to)
    take("report", filled.path, figures, None, "*", to)
    assert not list(to.pictures.glob("*.jpg"))
    assert load_all(to.figures).worst is None


def test_models_are_noted_only_when_older_than_the_figures(
    filled: Folder, figures: Path, tmp_path: Path
) -> None:
    to = Places(tmp_path / "docs")
    take("third", filled.path, figures, None, "*", to)
    assert load_all(to.figures).measured.runs["third"].models_sha256 == models_digest()
    assert "The models have changed" not in page(load_all(to.figures))
    os.utime(figures, (86400 * 365, 86400 * 365))
    take("third", filled.path, figures, None, "*", to)
    run = load_all(to.figures).measured.runs["third"]
    assert (run.date, run.models_sha256) == ("1971-01-01", None)
    assert "With which models `third` was measured was not noted" in page(load_all(to.figures))


def test_a_digest_of_other_models_is_told(filled: Folder, figures: Path, tmp_path: Path) -> None:
    to = Places(tmp_path / "docs")
    take("third", filled.path, figures, None, "*", to)
    noted = to.figures / "measured.json"
    noted.write_text(noted.read_text("utf-8").replace(models_digest(), "0" * 64), "utf-8")
    assert "**The models have changed since `third` was measured" in page(load_all(to.figures))


def test_the_digest_knows_names_and_contents(tmp_path: Path) -> None:
    (tmp_path / "materials").mkdir()
    (tmp_path / "materials" / "a").write_bytes(b"1")
    first = models_digest(tmp_path)
    (tmp_path / "materials" / "a").write_bytes(b"2")
    second = models_digest(tmp_path)
    (tmp_path / "materials" / "a").rename(tmp_path / "materials" / "b")
    assert len({first, second, models_digest(tmp_path), models_digest(models_dir())}) == 4


def _command(*args: object) -> subprocess.CompletedProcess[str]:
    words = [sys.executable, "-m", "tests.benchmarks.accuracy", *(str(a) for a in args)]
    return subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)


def test_the_command_writes_the_page_beside_the_figures(
    filled: Folder, figures: Path, tmp_path: Path
) -> None:
    docs, harm = tmp_path / "docs", tmp_path / "harm.json"
    harm.write_text(json.dumps(HARM), encoding="utf-8")
    looks = filled.looks_file()
    given = ("--take", "report", figures, looks, "--report", filled.path, "--harm", harm)
    done = _command(*given, "--docs", docs)
    assert done.returncode == 0, done.stderr
    text = (docs / "accuracy.md").read_text(encoding="utf-8")
    assert text == page(load_all(docs / "accuracy"))
    assert (docs / "img" / "accuracy" / "harm.svg").is_file()
    assert "| 2.5 | 40 | 1 | 2 | 3 | 1 | 0 | 0 | 0 | 3 | 10 | 4 |" in text


@pytest.mark.parametrize(
    ("spoil", "says"),
    [
        (lambda f, j, x: x.write_text(x.read_text("utf-8").replace('"flag"', '"unsure"')), "another run"),
        (lambda f, j, x: f.add(truth_dict("c.png", []), None), "figures of 2 photos, but there are 3"),
        (lambda f, j, x: j.write_text("{}"), "another kind than lidoff.bench/1"),
        (lambda f, j, x: j.write_text("{"), "not JSON"),
        (lambda f, j, x: j.write_text('{"schema": "lidoff.bench/1"}'), "field 'folder'"),
    ],
)  # fmt: skip
def test_figures_that_do_not_fit_are_told_in_a_line_and_change_nothing(
    filled: Folder, figures: Path, tmp_path: Path, spoil: object, says: str
) -> None:
    looks = filled.looks_file()
    spoil(filled, figures, looks)  # type: ignore[operator]
    docs = tmp_path / "docs"
    done = _command("--take", "report", figures, looks, "--report", filled.path, "--docs", docs)
    assert done.returncode == 3
    assert says in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert not docs.exists()


def test_shares_of_the_chart_are_those_counted_by_hand(tmp_path: Path) -> None:
    harms = Harms.model_validate(HARM)
    # 1 + 3 of 10 flags, 2 of 10 flags, 1 of 4 clears, 3 of 6 photos
    assert shares(harms.harms[0].levels[0], harms.photos) == (0.4, 0.2, 0.25, 0.5)
    root = ElementTree.fromstring(svg(harms))
    points = [p for p in root.iter("{http://www.w3.org/2000/svg}path") if "class" in p.attrib]
    assert len(points) == (2 + 1) * len(LINES)  # of each line two levels, and one in the legend
    # The scale ends at 50 %: refused photos lie on its top line, flags to unsure 40 % up.
    heights = [float(p.attrib["d"].split()[1].split("m")[0]) for p in points]
    assert heights[6] == pytest.approx(30, abs=0.1)
    assert heights[2] == pytest.approx(148 - 0.4 * 118, abs=0.1)
    file = tmp_path / "harm.json"
    file.write_text(json.dumps(HARM), encoding="utf-8")
    take_harm(file, [tmp_path / "nowhere" / "set"], Places(tmp_path / "docs"))
    assert load_all(tmp_path / "docs" / "accuracy").measured.runs["harm"].photos_sha256 is None


coordinate = st.floats(0, 1, allow_nan=False)


@given(
    size=st.tuples(st.integers(40, 4000), st.integers(40, 4000)), at=st.tuples(*[coordinate] * 4)
)
def test_a_crop_lies_within_the_photo_and_holds_the_place(
    size: tuple[int, int], at: tuple[float, float, float, float]
) -> None:
    xs, ys = sorted((at[0] * size[0], at[2] * size[0])), sorted((at[1] * size[1], at[3] * size[1]))
    left, top, right, bottom = crop_box(size, [(xs[0], ys[0], xs[1], ys[1])])
    assert 0 <= left < right <= size[0]
    assert 0 <= top < bottom <= size[1]
    assert left <= xs[0] and right >= xs[1] - 1
    assert top <= ys[0] and bottom >= ys[1] - 1


def test_a_picture_carries_nothing_but_the_picture() -> None:
    photo = Image.effect_noise((640, 526), 90).convert("RGB")  # hard to pack
    assert len(jpeg(photo)) < 60_000
    assert b"Exif" not in jpeg(photo)


def test_the_set_for_the_report_is_where_the_command_looks() -> None:
    assert find_cases(ROOT / "sample_images" / "bench" / "report")
