"""Kills, changed bytes, and records that are no records: a share here, all in tests/benchmarks."""

from __future__ import annotations

import os
import random
from pathlib import Path

import pytest

from audit.errors import LidoffError
from audit.record.record import Record
from audit.record.verify import verify_job
from audit.report.pack_read import verify_pack
from tests.benchmarks import byte_changes, kill_record
from tests.record.conftest import Desk, open_desk
from tests.record.jobs import make_job

KILLS = int(os.environ.get("LIDOFF_TEST_KILLS", "24"))
CHANGES = int(os.environ.get("LIDOFF_TEST_CHANGES", "150"))
RECORDS = int(os.environ.get("LIDOFF_TEST_RECORDS", "150"))


@pytest.mark.skipif(os.name == "nt", reason="SIGKILL")
def test_nothing_acknowledged_is_lost_by_kills(tmp_path: Path) -> None:
    out = kill_record.run(KILLS, 1, tmp_path)
    assert out.kills >= KILLS
    assert out.acknowledged


def test_every_changed_byte_is_named(tmp_path: Path) -> None:
    out = byte_changes.run(CHANGES, 3, tmp_path)
    assert sum(out.tried.values()) == CHANGES
    assert not out.passed
    assert not out.misnamed


def mangled(data: bytes, choose: random.Random) -> bytes:
    """A file as faults, cut wires and bad people leave it."""
    at = choose.randrange(len(data))
    kind = choose.randrange(6)
    if kind == 0:
        return data[:at]
    if kind == 1:
        return data[:at] + choose.randbytes(choose.randrange(1, 200)) + data[at:]
    if kind == 2:
        size = choose.randrange(1, 4096)
        return data[:at] + choose.randbytes(size) + data[at + size :]
    if kind == 3:
        other = choose.randrange(len(data))
        return data[:at] + data[other : other + 512] + data[at + 512 :]
    if kind == 4:
        return data[:at] + bytes(len(data) - at)
    return choose.randbytes(choose.randrange(0, 3000))


def test_a_mangled_record_is_told_and_left_alone(tmp_path: Path) -> None:
    desk = open_desk(make_job(tmp_path / "job", fittings=2))
    desk.decide_all()
    choose = random.Random(3)
    files = [desk.root / "record.sqlite", desk.root / "record.seal"]
    whole = {f: f.read_bytes() for f in files}
    for _ in range(RECORDS):
        path = choose.choice(files)
        changed = mangled(whole[path], choose)
        if changed == whole[path]:
            continue
        path.write_bytes(changed)
        assert not verify_job(desk.root).holds
        assert path.read_bytes() == changed
        if changed:
            with pytest.raises(LidoffError):
                _use(desk)
        for name, data in whole.items():
            for left in desk.root.glob(f"{name.name}*"):
                left.unlink()
            name.write_bytes(data)
    assert verify_job(desk.root).holds


def test_a_mangled_pack_is_told_in_one_line(tmp_path: Path) -> None:
    _, pack = byte_changes.signed_job(tmp_path)
    whole, choose = pack.read_bytes(), random.Random(5)
    tried = 0
    for _ in range(RECORDS):
        changed = mangled(whole, choose)
        # The same bytes once more at the end are no change to what a zip says.
        if changed == whole:
            continue
        pack.write_bytes(changed)
        try:
            found = verify_pack(pack)
        except LidoffError as told:
            assert "\n" not in told.one_line()
        else:
            assert not found.holds
            assert "\n" not in found.problems[0].one_line()
        tried += 1
    assert tried > 0.9 * RECORDS
    pack.write_bytes(whole)
    assert verify_pack(pack).holds


def _use(desk: Desk) -> None:
    """What a person does with a record: open it and look."""
    Record.open(desk.root).state(desk.job)
