"""Marks are kept whole, and hold for the picture they were put on only."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from audit.errors import JobError, JobProblems
from audit.job.marks import SCHEMA, Mark, dump_marks, read_marks, same_photo, write_marks
from audit.job.read import load_job

from .folders import lines_of, write_job

GOOD: dict[str, Any] = {
    "photo": "F01-inside.jpg", "sha256": "a" * 64, "kind": "grip", "of": "c1",
    "points_px": [[812.0, 431.5], [846, 560]], "by": "A. Person", "at": "2026-05-31T13:05:00Z",
}  # fmt: skip


def put(path: Path, body: Any) -> Path:
    path.write_text(body if isinstance(body, str) else json.dumps(body), encoding="utf-8")
    return path


@pytest.mark.parametrize("body", [[GOOD], {"schema": SCHEMA, "marks": [GOOD]}])
def test_a_list_bare_or_under_its_schema(tmp_path: Path, body: Any) -> None:
    (mark,) = read_marks(put(tmp_path / "m.json", body))
    assert (mark.kind, mark.of, mark.points_px) == ("grip", "c1", ((812.0, 431.5), (846.0, 560.0)))
    assert mark.at == datetime(2026, 5, 31, 13, 5, tzinfo=UTC)
    assert mark.holds_for("elsewhere/other.jpg", "a" * 64)
    assert not mark.holds_for("F01-inside.jpg", "b" * 64)


def test_what_is_written_comes_back_with_unknown_fields(tmp_path: Path) -> None:
    marks = [Mark.model_validate({**GOOD, "note": {"kept": 1}}), Mark.model_validate(GOOD)]
    path = tmp_path / "marks.json"
    write_marks(path, marks)
    assert list(read_marks(path)) == marks
    assert json.loads(path.read_text(encoding="utf-8"))["marks"][0]["note"] == {"kept": 1}
    assert dump_marks(read_marks(path)) == path.read_text(encoding="utf-8")
    assert [p.name for p in tmp_path.iterdir()] == ["marks.json"], "no half file stays"


def test_a_failed_write_leaves_the_old_file(tmp_path: Path) -> None:
    with pytest.raises(JobError, match="can't be written"):
        write_marks(tmp_path / "none" / "marks.json", [])
    (tmp_path / "marks.json").mkdir()
    with pytest.raises(JobError, match="can't be written"):
        write_marks(tmp_path / "marks.json", [])
    assert [p.name for p in tmp_path.iterdir()] == ["marks.json"]


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"kind": "gripp"}, "did you mean 'grip'?"),
        ({"points_px": [[1, 2]]}, "two points that lie apart"),
        ({"points_px": [[1, 2], [1, 2]]}, "two points that lie apart"),
        ({"points_px": [[1, 2], [1]]}, "missing in this list"),
        ({"points_px": [[1, 2], ["x", 3]]}, "'x' is not a number"),
        ({"points_px": [[1, 2], [1e9, 3]]}, "at most"),
        ({"points_px": 5}, "is not a list"),
        ({"sha256": "zz"}, "64 hexadecimal digits"),
        ({"at": "yesterday"}, "is not a time"),
        ({"photo": ""}, "empty"),
    ],
)
def test_what_is_wrong_is_told_with_its_mark(
    tmp_path: Path, change: dict[str, Any], words: str
) -> None:
    path = put(tmp_path / "m.json", [GOOD, {**GOOD, **change}])
    with pytest.raises(JobProblems) as caught:
        read_marks(path, "m.json")
    told = [p.one_line() for p in caught.value.problems]
    assert any(words in line for line in told), told
    assert all(line.startswith("m.json, field 'mark 2 ") for line in told), told


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not valid JSON"), ("{", "not valid JSON"), ("[" * 100_000, "nested too deeply"),
        ("[1e999]", "is not a table"), ("[" + "9" * 5000 + "]", "can't be stored"), ("{}", "schema"), ('["\\ud800"]', "can't be stored"),
        ('{"schema": "lidoff.marks/2", "marks": []}', "the schema is not lidoff.marks/1"),
        ('{"schema": "lidoff.marks/1"}', "no list of marks"), ("3", "no list of marks"),
        ('[{"points_px": [[NaN, 1], [2, 3]]}]', "finite"), ("\x00", "not valid JSON"),
    ],
)  # fmt: skip
def test_what_is_no_file_of_marks(tmp_path: Path, text: str, words: str) -> None:
    with pytest.raises(JobError) as caught:
        read_marks(put(tmp_path / "m.json", text), "m.json")
    told = getattr(caught.value, "problems", [caught.value])
    assert any(words in p.one_line() for p in told), [p.one_line() for p in told]


@given(st.binary(max_size=300))
def test_any_bytes(tmp_path_factory: pytest.TempPathFactory, data: bytes) -> None:
    path = tmp_path_factory.getbasetemp() / "any.json"
    path.write_bytes(data)
    try:
        read_marks(path)
    except JobError as error:
        assert error.one_line()


def test_marks_of_a_job(tmp_path: Path) -> None:
    folder = write_job(tmp_path, photos=("F01-inside.jpg",))
    put(folder / "marks.json", [GOOD])
    assert load_job(folder).marks[0].of == "c1"
    unhashed = {k: v for k, v in GOOD.items() if k != "sha256"}
    put(folder / "marks.json", [unhashed, {**GOOD, "photo": "F01-insde.jpg"}])
    told = lines_of(folder)
    assert "the photo's hash is missing" in told[0]
    assert "did you mean 'F01-inside.jpg'?" in told[1]
    (folder / "marks.json").unlink()
    (folder / "marks.json").symlink_to("/etc/hostname")
    assert "leads out of the job folder" in lines_of(folder)[0]


def test_names_of_photos() -> None:
    assert same_photo("photos/a/F01.jpg", "f01.JPG")
    assert same_photo("a\\F01.jpg", "photos/a/F01.jpg")
    assert not same_photo("b/F01.jpg", "photos/a/F01.jpg")
    assert not same_photo("", "F01.jpg")
