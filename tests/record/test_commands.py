"""`lidoff key`, `verify`, `pack`, `merge` as they are called: what they say and how they end."""

from __future__ import annotations

import json
import shutil
import zipfile
from pathlib import Path
from typing import NamedTuple

import pytest

from audit.cli.main import main
from audit.record.types import Agree, Overrule
from tests.record.conftest import CLEAR, open_desk
from tests.record.jobs import make_job, picture


class Said(NamedTuple):
    code: int
    out: str
    err: str


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return make_job(tmp_path / "job", 2)


def run(capsys: pytest.CaptureFixture[str], *args: object) -> Said:
    with pytest.raises(SystemExit) as left:
        main([str(a) for a in args])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    return Said(int(left.value.code or 0), said.out, said.err)


def test_from_pack_to_verified(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "sent" / "pack.zip"
    packed = run(capsys, "pack", job, "--out", out)
    assert packed.code == 0
    assert str(out) in packed.out
    for path in (job, out):
        said = run(capsys, "verify", path)
        assert said == (0, "2 entries hold; 2 photos are those of the record.\n", "")
    first = out.read_bytes()
    assert run(capsys, "pack", job, "--out", out).code == 0
    assert out.read_bytes() == first


def test_verify_names_what_does_not_hold(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    open_desk(job).decide(CLEAR, Agree())
    (job / "photos" / "F02-inside.jpg").write_bytes(picture(50))
    said = run(capsys, "verify", job)
    assert said.code == 4
    assert "entry 2: photos/F02-inside.jpg is not the one it speaks of" in said.err
    assert "Does not hold: photos/F02-inside.jpg: entry 2" in said.out
    told = json.loads(run(capsys, "verify", job, "--json").out)
    assert (told["holds"], told["entries"], told["photos"]) == (False, 3, 1)
    assert len(told["problems"]) == 1


def test_a_job_that_does_not_hold_is_not_packed_and_the_old_pack_stays(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, "pack", job)
    old = (job / "out" / "pack.zip").read_bytes()
    (job / "photos" / "F02-inside.jpg").write_bytes(picture(50))
    said = run(capsys, "pack", job)
    assert said.code == 4
    assert "F02-inside.jpg" in said.err
    assert (job / "out" / "pack.zip").read_bytes() == old
    assert not list((job / "out").glob("*.part"))


def test_facts_that_changed_since_are_told(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "pack", job)
    (job / "job.toml").write_text((job / "job.toml").read_text() + "# more\n", encoding="utf-8")
    said = run(capsys, "pack", job)
    assert said.code == 2
    assert "declared facts changed since the checklist was made; run lidoff audit again" in said.err


@pytest.mark.parametrize(
    ("command", "code"),
    [(("verify", "nowhere"), 2), (("pack", "nowhere"), 3), (("merge", "nowhere", "none.zip"), 2),
     (("key", "--show", "nowhere"), 2), (("verify",), 2)],
)  # fmt: skip
def test_what_is_not_there_is_told_in_one_line(
    command: tuple[str, ...], code: int, capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path,
) -> None:  # fmt: skip
    monkeypatch.chdir(tmp_path)
    assert run(capsys, *command).code == code


def test_a_job_without_checklist_is_told(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (job / "out" / "checklist.json").unlink()
    said = run(capsys, "pack", job)
    assert said.code == 3
    assert "lidoff audit" in said.err
    assert not (job / "record.sqlite").exists()


def test_a_key_is_made_shown_and_signs_a_pack(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    word, key = tmp_path / "word", tmp_path / "mine.pem"
    word.write_text("several words together\n", encoding="utf-8")
    made = run(capsys, "key", key, "--passphrase-file", word)
    assert made.code == 0
    short = made.out.splitlines()[-1].removeprefix("In short: ")
    assert short in run(capsys, "key", key, "--show").out
    out = tmp_path / "pack.zip"
    args = ("pack", job, "--out", out, "--sign", key, "--passphrase-file", word)
    assert run(capsys, *args).code == 0
    assert run(capsys, "verify", out, "--key", f"{key}.pub").code == 0
    assert "nothing in it is signed" in run(capsys, "verify", job, "--key", f"{key}.pub").err
    assert b"PRIVATE KEY" not in b"".join(p.read_bytes() for p in job.rglob("*") if p.is_file())
    assert "job folder" in run(capsys, "key", job / "mine.pem", "--passphrase-file", word).err
    word.write_text("other words\n", encoding="utf-8")
    assert "passphrase is wrong" in run(capsys, *args).err


def test_two_copies_are_brought_together(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    open_desk(job)
    copy = tmp_path / "copy"
    shutil.copytree(job, copy)
    open_desk(job).decide(CLEAR, Agree())
    open_desk(copy, "B. Person").decide(CLEAR, Overrule("I see copper."))
    pack = tmp_path / "theirs.zip"
    run(capsys, "pack", copy, "--out", pack)
    said = run(capsys, "merge", job, pack, "--by", "A. Person")
    assert said.code == 1
    assert "1 entries taken in" in said.out
    here, there = said.out.splitlines()[-2:]
    assert here.split()[0] == "here"
    assert "A. Person" in here
    assert there.split()[0] == "there"
    assert "overrule. Finds: fault. I see copper." in there
    again = run(capsys, "merge", job, pack, "--json")
    told = json.loads(again.out)
    assert (again.code, told["entry"], told["taken"]) == (1, None, 0)
    assert [s["where"] for s in told["conflicts"][0]["sides"]] == ["here", "there"]
    assert run(capsys, "verify", job).code == 0


def test_a_pack_that_does_not_hold_is_not_taken(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pack = tmp_path / "pack.zip"
    run(capsys, "pack", job, "--out", pack)
    before = (job / "record.sqlite").read_bytes()
    pack.write_bytes(pack.read_bytes()[:-1])
    assert run(capsys, "merge", job, pack).code == 4
    with zipfile.ZipFile(pack, "w") as archive:
        archive.writestr("../out.txt", "x")
    assert run(capsys, "merge", job, pack).code == 4
    assert (job / "record.sqlite").read_bytes() == before
    assert not (tmp_path / "out.txt").exists()
