"""Kill two clients at random moments while they write decisions: nothing acknowledged is lost.

Run by hand for the full number: python -m tests.benchmarks.kill_record --kills 200
"""

from __future__ import annotations

import argparse
import multiprocessing
import os
import random
import signal
import sys
import tempfile
import time
import uuid
from dataclasses import dataclass, field
from multiprocessing.connection import Connection
from pathlib import Path

from audit.record.errors import ConflictError
from audit.record.evidence import load_evidence
from audit.record.record import Record
from audit.record.types import Retake
from audit.record.verify import verify_job
from tests.record.jobs import make_job

Act = tuple[str, str, str]
"""What a client tells: "try" or "done", key of the act, item or hash of its entry."""


@dataclass
class Outcome:
    """What was seen over all kills."""

    kills: int = 0
    tried: dict[str, str] = field(default_factory=dict)
    acknowledged: dict[str, str] = field(default_factory=dict)
    mid_write: int = 0
    unsealed: int = 0


def client(root: str, name: str, seed: int, to: Connection) -> None:
    """Write decisions until killed; tell each act before and after."""
    record, job = Record.open(Path(root)), load_evidence(Path(root))
    choose = random.Random(seed)
    items = [i.id for i in job.checklist.items if i.weight != "stop"]
    while True:
        item, key = choose.choice(items), str(uuid.UUID(int=choose.getrandbits(128)))
        token = record.state(job).standings[item].token
        to.send(("try", key, item))
        try:
            entry = record.decide(job, item, Retake(f"{name} asks"), by=name, saw=token, key=key)
        except ConflictError:
            continue
        to.send(("done", key, entry.hash))


def drain(pipes: list[Connection], out: Outcome) -> None:
    """Take in what the clients told, also after their death."""
    for pipe in pipes:
        try:
            while pipe.poll():
                act: Act = pipe.recv()
                (out.tried if act[0] == "try" else out.acknowledged)[act[1]] = act[2]
        except (EOFError, OSError):
            continue


def one_round(root: Path, choose: random.Random, out: Outcome) -> None:
    """Two clients at work, both killed at a random moment; then the record is held to account."""
    start = multiprocessing.get_context("fork")
    pipes, clients = [], []
    for name in ("A. Person", "B. Person"):
        mine, theirs = start.Pipe(duplex=False)
        worker = start.Process(
            target=client, args=(str(root), name, choose.getrandbits(60), theirs), daemon=True
        )
        worker.start()
        theirs.close()
        pipes.append(mine)
        clients.append(worker)
    pipes[choose.randrange(2)].poll(10)
    time.sleep(choose.uniform(0, 0.12))
    for worker in clients if choose.random() < 0.5 else clients[::-1]:
        assert worker.pid is not None
        os.kill(worker.pid, signal.SIGKILL)
        out.kills += 1
        time.sleep(choose.choice((0, 0.004)))
    for worker in clients:
        worker.join()
    drain(pipes, out)
    check(root, out)


def check(root: Path, out: Outcome) -> None:
    """Everything acknowledged is there once, the chain holds, and an act sent again is not doubled."""
    before = verify_job(root)
    assert before.holds, before.problems[0].one_line()
    out.unsealed += bool(before.notes)
    record, job = Record.open(root), load_evidence(root)
    pending = [k for k in out.tried if k not in out.acknowledged]
    there = {e.key: e.hash for e in record.entries() if e.key}
    out.mid_write += sum(k in there for k in pending)
    for key in pending[-2:]:
        item = out.tried[key]
        by = "A. Person"
        entry = next((e for e in record.entries() if e.key == key), None)
        if entry is not None:
            by = entry.by or by
            again = record.decide(job, item, Retake(f"{by} asks"), by=by, saw=(), key=key)
            assert again.hash == entry.hash
            out.acknowledged[key] = entry.hash
    entries = record.entries()
    keys = [e.key for e in entries if e.key]
    assert len(keys) == len(set(keys)), "an act is there twice"
    there = {e.key: e.hash for e in entries if e.key}
    lost = [k for k, h in out.acknowledged.items() if there.get(k) != h]
    assert not lost, f"acknowledged and lost: {lost}"
    after = verify_job(root)
    assert after.holds and not after.notes, [p.one_line() for p in after.problems] + after.notes


def run(kills: int, seed: int, folder: Path) -> Outcome:
    """Kill so many clients, two a round, and check after each round."""
    root = make_job(folder / "job", fittings=4)
    Record.open(root).adopt(load_evidence(root))
    out, choose = Outcome(), random.Random(seed)
    while out.kills < kills:
        one_round(root, choose, out)
    return out


def main() -> None:
    """Command line of the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20260531)
    given = parser.parse_args()
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        out = run(given.kills, given.seed, Path(folder))
    sys.stdout.write(
        f"{out.kills} kills in {time.perf_counter() - began:.0f} s: {len(out.acknowledged)} "
        f"decisions acknowledged, none lost, none twice; {out.mid_write} were on the disk but "
        f"not yet acknowledged; {out.unsealed} rounds ended before the seal\n"
    )


if __name__ == "__main__":
    main()
