"""The photos that no forest of materials learned from can be rendered again, and are those told of."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest

from audit.sight.fit_provenance import names_digest
from sample_images.scenes.__main__ import _parser, _plans, main

ROOT = Path(__file__).resolve().parents[2]
LISTED = Path("sample_images", "scenes", "listed")
FIRST, COUNT = 2001, 2300
TUNE = sorted(p.name for p in (ROOT / "sample_images" / "bench" / "tune").glob("*.jpg"))
STEPS = ("nearness", "further")
"""Lists of photos of the set, in the order of DEVELOPERS.md."""
LEARNED = {"nearness": "nearness", "joint": "further", "further": "further", "spots": "further"}
"""What learned from which list; nearness from the photos of `tune` as well."""


def _named(told: str) -> list[str]:
    return (ROOT / LISTED / f"{told}.txt").read_text(encoding="utf-8").split()


@pytest.mark.parametrize("told", LEARNED)
def test_the_listed_photos_are_those_that_trees_learned_from(told: str) -> None:
    text = (ROOT / "models" / "materials" / f"{told}.toml").read_text(encoding="utf-8")
    stored = tomllib.loads(text)
    names = [f"{name}.jpg" for name in _named(LEARNED[told])] + (TUNE if told == "nearness" else [])
    assert stored["photos"] == len(names)
    assert stored["photo_names_sha256"] == names_digest(names)


def test_damaged_photos_can_be_planned_as_developers_are_told() -> None:
    """Late sleeves were learned from all of them."""
    text = (ROOT / "models" / "materials" / "sleeves.toml").read_text(encoding="utf-8")
    stored = tomllib.loads(text)
    told = f"--set fit --damaged --count {stored['photos']} --first 9600 --width 1200"
    assert told in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    plans = _plans(_parser().parse_args([*told.split(), "--out", "out"]))
    assert names_digest(sorted(p.file for _, p in plans)) == stored["photo_names_sha256"]


def test_each_step_adds_photos_to_the_folder_of_the_one_before() -> None:
    nearness, further = (set(_named(told)) for told in STEPS)
    assert nearness < further


@pytest.mark.parametrize("told", STEPS)
def test_the_listed_photos_can_be_planned_as_developers_are_told(told: str) -> None:
    listed = LISTED / f"{told}.txt"
    command = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert f"--count {COUNT} --first {FIRST} --listed {listed.as_posix()}" in command
    ask = ["--set", "fit", "--first", str(FIRST), "--count", str(COUNT), "--out", "out"]
    plans = _plans(_parser().parse_args([*ask, "--listed", str(ROOT / listed)]))
    assert [Path(photo.file).stem for _, photo in plans] == _named(told)


def test_a_list_without_a_name_is_refused(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = tmp_path / "none.txt"
    listed.write_text("\n", encoding="utf-8")
    asked = [
        "--set",
        "fit",
        "--count",
        "2",
        "--listed",
        str(listed),
        "--out",
        str(tmp_path / "out"),
    ]
    assert main(asked) == 2
    assert capsys.readouterr().err.splitlines() == [f"{listed}: names no photo"]


def test_a_wrong_specification_is_named_not_the_list(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    spec, listed = tmp_path / "spec.toml", tmp_path / "some.txt"
    spec.write_text("= nothing", encoding="utf-8")
    listed.write_text("a\n", encoding="utf-8")
    asked = ["--spec", str(spec), "--listed", str(listed), "--out", str(tmp_path / "out")]
    assert main(asked) == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert line.startswith(f"{spec}: ")


def test_a_listed_photo_that_is_not_of_the_set_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    listed = tmp_path / "some.txt"
    listed.write_text("fit-002\nfit-009\n", encoding="utf-8")
    asked = ["--set", "fit", "--first", "1", "--count", "2", "--listed", str(listed)]
    assert main([*asked, "--out", str(tmp_path / "out")]) == 2
    said = capsys.readouterr().err.splitlines()
    assert said == [f"{listed}: not among the photos: fit-009"]
    assert not (tmp_path / "out").exists()
