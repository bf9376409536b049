"""`lidoff pick` as it is called: draws, results, widening, and everything that may go wrong."""

from __future__ import annotations

import hashlib
import json
import shutil
import sqlite3
from pathlib import Path
from typing import NamedTuple

import pytest

from audit.cli.main import main
from audit.record.entries import Draft
from audit.record.record import Record
from audit.record.types import Overrule
from tests.sampling.jobs import CHECKS, Person, plain_job, write_facts

STOP, LESSER = CHECKS
CAUTION = "isolated, locked off and labelled, proved the indicator, proved dead"


class Said(NamedTuple):
    code: int
    out: str
    err: str


def run(capsys: pytest.CaptureFixture[str], *args: object) -> Said:
    with pytest.raises(SystemExit) as left:
        main([str(a) for a in args])
    said = capsys.readouterr()
    assert "Traceback" not in said.err
    assert all(line.startswith("lidoff: ") for line in said.err.splitlines() if "Usage" not in said.err and "Error" not in said.err)  # fmt: skip
    return Said(int(left.value.code or 0), said.out, said.err)


@pytest.fixture
def job(tmp_path: Path) -> Path:
    return plain_job(tmp_path / "job", 12, rooms=2)


def picked(capsys: pytest.CaptureFixture[str], job: Path, *args: object) -> dict:  # type: ignore[type-arg]
    said = run(capsys, "pick", job, *args, "--json")
    assert said.code == 0, said.err
    return json.loads(said.out)


def test_draws_and_says_why_and_what_to_photograph(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    said = run(capsys, "pick", job, "--by", "Supervisor 1")
    assert said.code == 0
    for words in (CAUTION, "seen on site", "photos F01-entry.jpg" if "F01 " in said.out else "photos F",
                  "room Room 1, cable 1.5 T&E, kind R7 plain: 5 of 6 drawn", "by Supervisor 1",
                  "drawn by the operating system", "Draw 1 of this job"):  # fmt: skip
        assert words in said.out, words
    assert run(capsys, "verify", job).code == 0
    told = picked(capsys, job)
    assert (told["draw"], told["draws"], told["seed_from"]) == (2, 2, "drawn")
    assert len(told["seed"]) == 32


def test_a_draw_can_be_made_again_from_its_seed_by_hand(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = picked(capsys, job, "--seed", "a seed", "--strata", "none", "--if-bad", 3)
    order = sorted(
        (f"F{n:02d}" for n in range(1, 13)),
        key=lambda x: hashlib.sha256(f"a seed:{x}".encode()).hexdigest(),
    )
    assert [f["label"] for f in told["fittings"]] == sorted(order[: told["size"]])
    again = picked(capsys, job, "--seed", "a seed", "--strata", "none", "--if-bad", 3)
    assert again["fittings"] == told["fittings"]
    assert (again["draw"], again["draws"]) == (2, 2)  # but it is another entry, and seen as such
    listed = run(capsys, "pick", job, "--draws")
    assert "2 draws; each drawn again, and the same came out." in listed.out


def test_a_plan_and_its_stop_rule(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = picked(capsys, job, "--plan", "normal", "--aql", "4.0")
    assert (told["size"], told["asked"]["ac"]) == (3, 0)
    text = run(capsys, "pick", job, "--plan", "tightened", "--aql", "1.0").out
    assert "acceptance number is 0, whatever the plan says" in text
    assert "look at all of it" in text  # 20 of 12
    by_history = picked(capsys, job, "--earlier", "30:2", "--earlier", "30:2", "--aql", "4.0")
    assert by_history["asked"]["severity"] == "tightened"


def test_from_a_draw_to_its_result_and_on(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    told = picked(
        capsys, job, "--strata", "none", "--if-bad", 4, "--check", STOP, "--check", LESSER
    )
    labels = [f["label"] for f in told["fittings"]]
    person = Person(job)
    before = run(capsys, "pick", job, "--result")
    assert before.code == 1
    assert f"undecided {len(labels)}" in before.out
    person.decide_rest(only=labels)
    after = run(capsys, "pick", job, "--result")
    assert after.code == 0, after.out
    assert "confirmed in 0" in after.out
    assert CAUTION not in after.out  # no more fittings are asked for
    assert "exact hypergeometric" in after.out
    assert run(capsys, "pick", job, "--widen").code == 2  # nothing asks for it
    person.decide(f"{LESSER}:{labels[0]}", Overrule("Seen otherwise."))
    more = run(capsys, "pick", job, "--result").out
    assert "By a competent person, and by the rules of the place." in more and CAUTION in more
    found = json.loads(run(capsys, "pick", job, "--result", "--json").out)
    assert CAUTION in found["next"]["cautions"][0]
    assert found["groups"][1]["faulty"] == [labels[0]]
    wider = picked(capsys, job, "--widen", "--seed", "more")
    assert not set(labels) & {f["label"] for f in wider["fittings"]}
    both = json.loads(run(capsys, "pick", job, "--result", "--json").out)
    assert (both["draws"], len(both["picked"])) == ([1, 2], found["next"]["size"])
    assert run(capsys, "verify", job).code == 0


@pytest.mark.parametrize(
    ("args", "code", "words"),
    [
        (("--if-bad", 0), 2, "--if-bad 0 can't be"),
        (("--if-bad", 13), 2, "the lot holds 12"),
        (("--if-bad", -1), 2, "can't be"),
        (("--if-bad", "two"), 2, "not a valid integer"),
        (("--confidence", 95), 2, "above 0 and below 1"),
        (("--confidence", "nan"), 2, "can't be"),
        (("--plan", "strict"), 2, "strict"),
        (("--plan", "normal", "--aql", "3"), 2, "'3'"),
        (("--plan", "normal", "--if-bad", 2), 2, "two ways to a size"),
        (("--plan", "normal", "--earlier", "30:0"), 2, "does not heed"),
        (("--plan", "reduced"), 2, "not taken by itself"),
        (("--earlier", "30"), 2, "SIZE:FAULTY"),
        (("--earlier", "30:-1"), 2, "SIZE:FAULTY"),
        (("--earlier", "30:14"), 2, "can't be"),
        (("--earlier", "0:0"), 2, "one fitting or more"),
        (("--of-lot", "kitchen"), 2, "names no lot"),
        (("--of-lot", "room:Attic"), 3, "no fitting belongs"),
        (("--strata", "colour"), 2, "nothing to group by"),
        (("--strata", ""), 2, "--strata is empty"),
        (("--strata", "room,none"), 2, "none stands alone"),
        (("--earlier", "9" * 5000 + ":0"), 2, "SIZE:FAULTY"),
        (("--check", "no-such"), 2, "no check asked of a fitting"),
        (("--seed", ""), 2, "--seed is no seed"),
        (("--seed", "a\nb"), 2, "--seed is no seed"),
        (("--seed", "x" * 201), 2, "--seed is no seed"),
        (("--by", "  "), 2, "is empty"),
        (("--result",), 2, "nothing was drawn yet"),
        (("--widen",), 2, "nothing was drawn yet"),
        (("--result", "--widen"), 2, "three things"),
        (("--draw", 1), 2, "goes with"),
        (("--result", "--draw", 5), 2, "nothing was drawn yet"),
    ],
)
def test_nonsense_is_told_in_one_line_and_draws_nothing(
    job: Path, args: tuple[object, ...], code: int, words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    said = run(capsys, "pick", job, *args)
    assert said.code == code
    assert words in said.err
    assert not (job / "record.sqlite").exists() or len(Record.open(job).entries()) == 1


def test_an_empty_job_and_none_at_all(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    empty = plain_job(tmp_path / "empty", 1)
    write_facts(empty, 0)
    said = run(capsys, "pick", empty)
    assert (said.code, "the job has no fittings" in said.err) == (3, True)
    said = run(capsys, "pick", tmp_path / "nowhere")
    assert (said.code, "no such folder" in said.err) == (3, True)


def test_one_fitting_is_all_of_the_lot(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    one = plain_job(tmp_path / "one", 1)
    said = run(capsys, "pick", one)
    assert said.code == 0
    assert "look at all of it" in said.out
    Person(one).decide_rest()
    told = json.loads(run(capsys, "pick", one, "--result", "--json").out)
    assert told["groups"][-1]["looked_at"] == 1


def test_a_damaged_record_draws_nothing(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(capsys, "pick", job)
    data = bytearray((job / "record.sqlite").read_bytes())
    data[len(data) // 2 : len(data) // 2 + 8] = b"\xff" * 8
    (job / "record.sqlite").write_bytes(bytes(data))
    for args in ((), ("--result",), ("--draws",), ("--widen",)):
        said = run(capsys, "pick", job, *args)
        assert said.code == 4, said
        assert "record" in said.err
    assert (job / "record.sqlite").read_bytes() == bytes(data)


def test_a_record_cut_off_is_seen(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A draw that somebody did not like can't be taken away: the seal knows how far it reached."""
    run(capsys, "pick", job)
    shorter = (job / "record.sqlite").read_bytes()
    run(capsys, "pick", job)
    (job / "record.sqlite").write_bytes(shorter)
    assert run(capsys, "pick", job).code == 4
    assert run(capsys, "verify", job).code == 4


def test_a_record_held_by_something_else(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    run(capsys, "pick", job)
    before = run(capsys, "pick", job, "--draws").out
    monkeypatch.setattr("audit.record.store.BUSY_S", 0.05)
    other = sqlite3.connect(job / "record.sqlite", isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    said = run(capsys, "pick", job)
    assert said.code == 5
    assert "close what else has the job open" in said.err
    other.execute("ROLLBACK")
    other.close()
    assert run(capsys, "pick", job, "--draws").out == before


def test_a_draw_that_was_made_up_fails_verify(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One who holds no key may begin a new record with a draw to their liking: drawing again tells."""
    told = picked(capsys, job, "--seed", "x", "--strata", "none", "--if-bad", 6)
    record = Record.open(job)
    frame = next(e for e in record.entries() if e.kind == "pick-frame")
    others = sorted({u["fitting"] for u in frame.data["frame"]} - {f["label"] for f in told["fittings"]})  # fmt: skip
    made_up = Draft("pick-frame", dict(frame.data) | {"seed": "y"})
    entry = record.store.append(lambda _: made_up)
    record.store.append(
        lambda _: Draft("pick", {"announced": entry.hash, "picked": others[: told["size"]]})
    )
    said = run(capsys, "verify", job)
    assert said.code == 4
    assert "not those that its seed and frame give" in said.err
    assert run(capsys, "pick", job, "--result").code == 4


def test_a_pack_carries_the_draws(
    job: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    run(capsys, "pick", job)
    pack = tmp_path / "pack.zip"
    assert run(capsys, "pack", job, "--out", pack).code == 0
    assert run(capsys, "verify", pack).code == 0
    copy = tmp_path / "copy"
    shutil.copytree(job, copy)
    run(capsys, "pick", copy)
    assert run(capsys, "pack", copy, "--out", tmp_path / "theirs.zip").code == 0
    assert run(capsys, "merge", job, tmp_path / "theirs.zip").code == 0
    assert "2 draws; each drawn again" in run(capsys, "pick", job, "--draws").out


def test_a_draw_taken_back_with_its_seal_is_not_drawn_anew(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever dislikes a draw, and takes its entries and the seal away, draws no other one."""
    picked(capsys, job)
    database = sqlite3.connect(job / "record.sqlite", isolation_level=None)
    for name in ("entry_stays", "entry_is_kept"):
        database.execute(f"DROP TRIGGER {name}")
    database.execute("DELETE FROM entry WHERE seq > 1 AND seq = (SELECT max(seq) FROM entry)")
    database.close()
    (job / "record.seal").unlink()
    before = (job / "record.sqlite").read_bytes()
    for args in (("pick", job), ("pick", job, "--draws"), ("verify", job)):
        said = run(capsys, *args)
        assert said.code == 4
        assert "record.seal: the seal is missing" in said.err
    assert (job / "record.sqlite").read_bytes() == before
    assert not (job / "record.seal").exists()


def test_a_record_begun_and_not_sealed_yet_goes_on(
    job: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A crash right after the first entry leaves it without a seal, and loses nothing."""
    Record.open(job, job="12 Sample Row")
    (job / "record.seal").unlink()
    picked(capsys, job)
    assert run(capsys, "verify", job).code == 0
