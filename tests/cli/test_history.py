"""`lidoff history` as it is called: what it writes, what it leaves out, how it ends."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import NamedTuple

import pytest

from audit.cli.main import main
from audit.record.keys import Signer, make_key
from tests.sampling.jobs import CHECKS, plain_job, signed_job

STOP, LESSER = CHECKS


class Said(NamedTuple):
    code: int
    out: str
    err: str


def run(capsys: pytest.CaptureFixture[str], *args: object) -> Said:
    with pytest.raises(SystemExit) as left:
        main([str(a) for a in args])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return Said(int(left.value.code or 0), said.out, said.err)


@pytest.fixture(scope="session")
def signer(tmp_path_factory: pytest.TempPathFactory) -> Signer:
    return make_key(tmp_path_factory.mktemp("keys") / "mine.pem", "several words together")


@pytest.fixture
def jobs(tmp_path: Path, signer: Signer) -> list[Path]:
    return [
        signed_job(
            tmp_path / f"job-{n}", signer, month=f"2026-0{n}", faults=[f"{LESSER}:F01"], seed=n
        )
        for n in (1, 2)
    ]


def test_writes_a_page_and_says_what_it_says(
    jobs: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "told" / "history.html"
    said = run(capsys, "history", *jobs, "--out", out)
    assert (said.code, said.err) == (0, "")
    assert "Apprentice 2: 2 of 12 fittings had a confirmed fault, 17 % (95 %: 2.1 to 48 %). Small sample." in said.out  # fmt: skip
    assert "A help to teach" in said.out
    assert out.read_text(encoding="utf-8").startswith("<!doctype html>")
    first = out.read_bytes()
    assert run(capsys, "history", *jobs, "--out", out).code == 0
    assert out.read_bytes() == first  # no clock in it: the same records give the same bytes


def test_json_without_names(jobs: list[Path], capsys: pytest.CaptureFixture[str]) -> None:
    said = run(capsys, "history", *jobs, "--json", "--without-names")
    told = json.loads(said.out)
    assert told["schema"] == "lidoff.history/1"
    assert [f["name"] for f in told["fitters"]] == ["Fitter A"]
    assert told["fitters"][0]["fittings"] | {"name": ""} == {
        "name": "", "faults": 2, "of": 12, "flagged": 0, "share": pytest.approx(1 / 6),
        "interval_95": [pytest.approx(0.02086, abs=5e-6), pytest.approx(0.48414, abs=5e-6)],
    }  # fmt: skip
    assert "Apprentice" not in said.out
    assert "Supervisor" not in said.out


def test_what_is_left_out_is_told_and_the_rest_is_done(
    jobs: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bare = plain_job(tmp_path / "bare", 2)
    said = run(capsys, "history", *jobs, bare, "--json")
    assert said.code == 1
    assert "lidoff: bare: left out, it has no record, so nothing in it is signed" in said.err
    assert len(json.loads(said.out)["signed"]) == 2
    assert run(capsys, "history", *jobs, tmp_path / "nowhere", "--json").code == 3
    (jobs[1] / "record.seal").write_bytes(b"{}")
    damaged = run(capsys, "history", *jobs, tmp_path / "nowhere", "--json")
    assert damaged.code == 4
    assert len(json.loads(damaged.out)["signed"]) == 1


@pytest.mark.skipif(os.name != "posix", reason="names are bytes on POSIX alone")
def test_a_folder_whose_name_is_no_utf_8_is_told(
    jobs: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    odd = jobs[0].rename(jobs[0].with_name("job\udce9"))
    (tmp_path / "none\udce9").mkdir()
    said = run(capsys, "history", odd, tmp_path / "none\udce9", "--out", tmp_path / "h.html")
    assert said.code == 3
    assert "none?: " in (tmp_path / "h.html").read_text("utf-8")


def test_keys_and_fitters(
    jobs: list[Path], signer: Signer, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert signer.path is not None
    assert run(capsys, "history", *jobs, "--json", "--key", f"{signer.path}.pub").code == 0
    other = make_key(tmp_path / "other.pem", "several other words")
    said = run(capsys, "history", *jobs, "--json", "--key", f"{other.path}.pub")
    assert (said.code, json.loads(said.out)["fitters"]) == (1, [])
    assert run(capsys, "history", *jobs, "--json", "--fitter", "apprentice 2").code == 0
    said = run(capsys, "history", *jobs, "--json", "--fitter", "Nobody")
    assert said.code == 2
    assert "one of Apprentice 2" in said.err
    assert run(capsys, "history", *jobs, "--key", tmp_path / "none.pub").code == 2
    assert run(capsys, "history").code == 2


def test_nothing_signed_still_gives_a_page(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    bare = plain_job(tmp_path / "bare", 2)
    out = tmp_path / "history.html"
    said = run(capsys, "history", bare, "--out", out)
    assert said.code == 1
    assert "No signed record tells who fitted what" in said.out
    assert "No signed record" in out.read_text(encoding="utf-8")


def test_a_page_that_cannot_be_written_is_told(
    jobs: list[Path], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "file").write_text("x")
    said = run(capsys, "history", *jobs, "--out", tmp_path / "file" / "history.html")
    assert said.code == 2
    assert "can't be written" in said.err
