"""`lidoff lesson`: files written, and one line for each thing that is wrong."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from audit.cli.main import main
from audit.record.types import Agree
from tests.training.lessons.jobs import PART_OF_CARD, PLAIN, TUNE, desk_of, make_job

SHEETS = {
    "lesson-handout.pdf", "lesson-answers.pdf", "lesson-handout.html", "lesson-answers.html",
}  # fmt: skip


def run(*args: object) -> int:
    with pytest.raises(SystemExit) as left:
        main([str(a) for a in args])
    code = left.value.code
    assert isinstance(code, int)
    return code


def job(tmp_path: Path, files: dict[str, tuple[str, str]]) -> Path:
    root = make_job(tmp_path / "job", files)
    desk = desk_of(root)
    for standing in desk.state.standings.values():
        desk.decide(standing.item.id, Agree())
    return root


def test_a_job_gives_four_files(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root = job(tmp_path, {"F01-inside.jpg": (PLAIN, "inside")})
    assert run("lesson", root, "--photo", "F01-inside.jpg", "--out", tmp_path / "out") == 0
    assert {p.name for p in (tmp_path / "out").iterdir()} == SHEETS
    said = capsys.readouterr()
    assert said.out.startswith("1 sheet.\n")
    assert "Look at every page" in said.out
    assert said.err == ""


def test_the_course_gives_four_files(tmp_path: Path) -> None:
    assert run("lesson", "--course", "--out", tmp_path) == 0
    names = {"course.pdf", "course-answers.pdf", "course.html", "course-answers.html"}
    assert {p.name for p in tmp_path.iterdir()} == names


def test_the_list_writes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    root = job(tmp_path, {"F01-inside.jpg": (PLAIN, "inside")})
    before = sorted(p.name for p in tmp_path.rglob("*"))
    assert run("lesson", root, "--list") == 0
    assert capsys.readouterr().out == "F01-inside.jpg: copper-beyond-terminal\n"
    assert sorted(p.name for p in tmp_path.rglob("*")) == before


def test_a_refused_photo_is_told_and_the_rest_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = {"F01-inside.jpg": (PLAIN, "inside"), "F02-inside.jpg": (PART_OF_CARD, "inside")}
    root = job(tmp_path, files)
    assert run("lesson", root, "--all-photos", "--out", tmp_path / "out") == 3
    said = capsys.readouterr().err.splitlines()
    assert len(said) == 1
    assert "photo left out: F02-inside.jpg" in said[0]
    assert {p.name for p in (tmp_path / "out").iterdir()} == SHEETS


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (("--check", "no-such"), 2, "there is no check 'no-such'"),
        (("{missing}",), 2, "no such folder"),
        (("{empty}", "--all-photos"), 2, "no photo with a truth file"),
        (("{bare}", "--all-photos"), 2, "no photo with a truth file"),
        (("{truth}",), 2, "no photo is chosen"),
        (("{truth}", "--photo", "other"), 2, "no photo of this name"),
        (("{truth}", "--all-photos", "--check", "core-colours"), 2, "shows a fault of core-colours"),
        (("{truth}", "--cover", "tune-009:1,2,3"), 2, "not an area to cover"),
        (("{truth}", "--cover", "nothing"), 2, "not an area to cover"),
        (("{broken}", "--all-photos"), 3, "broken.jpg"),
        (("{job}", "--all-photos"), 2, "nothing in this job is decided yet"),
        (("{truth}", "--course"), 2, "the course has its own photos"),
        (("--course", "--check", "core-colours"), 2, "the course has its own photos"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_one_line(
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    args: tuple[str, ...],
    code: int,
    words: str,
) -> None:
    folders = {n: tmp_path / n for n in ("missing", "empty", "bare", "truth", "broken", "job")}
    for name in ("empty", "bare", "truth", "broken"):
        folders[name].mkdir()
    for name in ("bare", "truth"):
        shutil.copy(TUNE / "tune-009.jpg", folders[name])
    shutil.copy(TUNE / "tune-009.truth.json", folders["truth"])
    (folders["broken"] / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 nothing")
    shutil.copy(TUNE / "tune-009.truth.json", folders["broken"] / "broken.truth.json")
    make_job(folders["job"], {"F01-inside.jpg": (PLAIN, "inside")})
    filled = [a.format(**{k: str(v) for k, v in folders.items()}) for a in args]
    assert run("lesson", *filled, "--out", tmp_path / "out") == code
    said = capsys.readouterr()
    lines = said.err.splitlines()
    assert len(lines) == 1, said.err
    assert lines[0].startswith("lidoff: ")
    assert words in lines[0]
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("how", [("--course",), ("--check", "core-colours")])
def test_a_folder_that_can_not_be_written_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], how: tuple[str, ...]
) -> None:
    (tmp_path / "file").write_text("here", encoding="utf-8")
    assert run("lesson", *how, "--out", tmp_path / "file" / "in") == 2
    (line,) = capsys.readouterr().err.splitlines()
    assert "nothing can be written there" in line
    assert "--out" in line
    assert [p.name for p in tmp_path.iterdir()] == ["file"]
