"""`lidoff audit` and `lidoff demo` as they are called: output, exit codes, errors in one line."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from audit.cli.demo import copy_demo
from audit.cli.main import main
from audit.errors import UsageError
from audit.record.evidence import load_evidence
from audit.record.record import Record
from audit.resources import demo_dir
from tests.batch.jobs import write_job


def call(*args: str) -> int:
    with pytest.raises(SystemExit) as leave:
        main(list(args))
    return int(leave.value.code or 0)


def test_job_without_photos(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = write_job(tmp_path / "job")
    assert call("audit", str(job)) == 1
    out, err = capsys.readouterr()
    assert f"Checklist: {job.resolve() / 'out' / 'checklist.html'}" in out
    assert "certifies nothing" in out
    assert "applying the rules" in err


def test_json_is_all_there_is_on_stdout(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = write_job(tmp_path / "job")
    assert call("audit", str(job), "--json", "--hold-point", "boarding") == 1
    data = json.loads(capsys.readouterr().out)
    assert data == json.loads((job / "out" / "checklist.json").read_text())
    assert {i["hold_point"] for i in data["items"]} == {"boarding"}


@pytest.mark.parametrize(
    ("spoil", "code", "says"),
    [
        (lambda job: (job / "job.toml").unlink(), 3, "job.toml"),
        (lambda job: (job / "job.toml").write_text("[job\n"), 3, "job.toml:1"),
        (lambda job: shutil.rmtree(job / "photos"), 3, "photos"),
        (lambda job: shutil.rmtree(job), 3, "job"),
    ],
)
def test_bad_job_gives_one_line_and_leaves_outputs(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], spoil: object, code: int, says: str
) -> None:
    job = write_job(tmp_path / "job")
    spoil(job)  # type: ignore[operator]
    assert call("audit", str(job)) == code
    out, err = capsys.readouterr()
    assert out == ""
    assert says in err
    assert err.count("\n") == 1
    assert "Traceback" not in err
    assert not (job / "out").exists()


def test_wrong_use(capsys: pytest.CaptureFixture[str]) -> None:
    assert call("audit", ".", "--hold-point", "whenever") == 2
    assert call("audit") == 2
    assert "Traceback" not in capsys.readouterr().err


def test_job_of_500_fittings(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    job = write_job(tmp_path / "job", fittings=500)
    assert call("audit", str(job)) == 1
    page = (job / "out" / "checklist.html").read_text()
    assert page.count('id="fitting-') == 500


def test_demo_does_not_touch_what_is_not_the_demo(tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine")
    with pytest.raises(UsageError, match="not the demo"):
        copy_demo(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["mine.txt"]


def test_demo_is_copied_whole_and_a_second_time_taken_as_it_is(tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    copy_demo(folder)
    photos = {p.name for p in (demo_dir() / "photos").iterdir()} - {".gitkeep"}
    assert {p.name for p in (folder / "photos").iterdir()} >= photos - {
        n for n in photos if n.endswith((".truth.json", ".ids.png"))
    }
    assert [p.name for p in tmp_path.iterdir()] == ["demo"]
    (folder / "photos" / "own.jpg").write_bytes(b"x")
    copy_demo(folder)
    assert (folder / "photos" / "own.jpg").exists()


def test_a_new_checklist_is_entered_in_a_record_that_was_begun(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    job = write_job(tmp_path / "job")
    call("audit", str(job))
    Record.open(job).adopt(load_evidence(job))
    write_job(job, fittings=3)
    assert call("audit", str(job)) == 1
    assert [e.kind for e in Record.open(job).entries()].count("checklist") == 2
    assert call("verify", str(job)) == 0
    assert "hold" in capsys.readouterr().out


def test_without_a_record_none_is_begun(tmp_path: Path) -> None:
    job = write_job(tmp_path / "job")
    call("audit", str(job))
    assert not (job / "record.sqlite").exists()
