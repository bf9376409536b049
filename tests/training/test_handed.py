"""Truth files and listings that somebody handed over: told in one line, never a crash or a wait."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from audit.cli.main import main
from audit.errors import JobError, LidoffError
from audit.training.handed import read_truth
from audit.training.lessons.from_truth import known_photos
from audit.training.practice_set import read_set
from audit.training.sets import from_folder
from audit.training.store import Results
from audit.training.web.app import create_app
from audit.training.web.context import Practice
from tests.training.conftest import OWN
from tests.training.samples import truth

WRONG: dict[str, tuple[str, str]] = {
    "nested too deeply": ('{"a":' * 5000 + "1" + "}" * 5000, "nested too deeply"),
    "a number of 5000 digits": (json.dumps(truth("clean")).replace("8.0", "9" * 5000), "too long"),
    "no number": (json.dumps(truth("clean", odd=float("nan"))), "odd"),
    "endless": (json.dumps(truth("clean", odd=[1, float("inf")])), "odd.1"),
    "half a character": (json.dumps(truth("clean", tags=["\ud800"])), "tags.0"),
    "half a character as a key": (json.dumps(truth("clean", more={"\ud800": 1})), "more"),
    "a scale of nothing": (json.dumps(truth("clean")).replace("8.0", "1e-300"), "scale.px_per_mm"),
    "a scale beyond all": (json.dumps(truth("clean")).replace("8.0", "1e300"), "scale.px_per_mm"),
}


@pytest.mark.parametrize("read", [from_folder, known_photos])
@pytest.mark.parametrize("case", WRONG)
def test_a_truth_that_cannot_be_kept_is_one_line(
    folder: Path, case: str, read: Callable[[Path], Any]
) -> None:
    text, words = WRONG[case]
    (folder / "clean.truth.json").write_text(text, encoding="utf-8")
    with pytest.raises(JobError) as caught:
        read(folder)
    said = caught.value.one_line()
    assert "clean.truth.json" in said and words in said and "\n" not in said


def test_what_is_sound_is_read(folder: Path) -> None:
    found, raw = read_truth(folder / "clean.truth.json")
    assert found.photo == raw["photo"] == "clean.jpg"


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes on this system")
@pytest.mark.parametrize("name", ["clean.truth.json", "clean.jpg", "set.toml"])
def test_a_pipe_is_refused_and_nobody_waits_for_it(folder: Path, name: str) -> None:
    (folder / name).unlink(missing_ok=True)
    os.mkfifo(folder / name)
    with pytest.raises(LidoffError, match=r"regular file|can't be read"):
        from_folder(folder)


@pytest.mark.parametrize("text", ["photo = " + "[" * 5000 + "]" * 5000, "a = " + "9" * 5000])
def test_a_listing_that_would_break_the_parser_is_one_line(folder: Path, text: str) -> None:
    (folder / "set.toml").write_text(text, encoding="utf-8")
    for read in (from_folder, lambda f: read_set(f / "set.toml")):
        with pytest.raises(JobError) as caught:
            read(folder)
        assert "set.toml" in caught.value.one_line()


@pytest.mark.skipif(os.name != "posix", reason="names are bytes on POSIX alone")
def test_names_that_are_no_utf_8_lose_no_answer(folder: Path, results: Results) -> None:
    odd = folder.rename(folder.with_name("set\udce9"))
    (odd / "set.toml").unlink()
    for end in (".jpg", ".truth.json"):
        (odd / f"clean{end}").rename(odd / f"cl\udce9an{end}")
    practice = Practice(from_folder(odd), results, "A. Trainee")
    client = create_app(practice, bounded=False).test_client()
    for photo in practice.set.photos.values():
        body = {"photo": photo.key, "kind": "nothing", "marks": [], "key": photo.key}
        told = client.post("/do/answer", json=body, headers=OWN)
        assert told.status_code == 200
        assert client.get(told.get_json()["to"]).status_code == 200
    assert len(results.rounds()) == 3
    assert client.get("/results.json").status_code == 200


@pytest.mark.skipif(os.name != "posix", reason="links want rights of their own elsewhere")
@pytest.mark.parametrize(
    "args",
    [
        ("practice", "--set", "ring"),
        ("practice", "--job", "ring", "--photo", "x.jpg"),
        ("review", "ring", "--no-browser"),
        ("history", "ring", "--json"),
        ("pick", "ring"),
        ("lesson", "ring"),
    ],
)
def test_links_that_lead_round_in_a_ring_are_one_line(
    tmp_path: Path,
    args: tuple[str, ...],
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    (tmp_path / "ring").symlink_to(tmp_path / "other")
    (tmp_path / "other").symlink_to(tmp_path / "ring")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as left:
        main(list(args))
    assert left.value.code in (2, 3)
    said = capsys.readouterr().err
    assert said.startswith("lidoff: ") and said.count("\n") == 1
