"""Change single bytes of record, seal, photos, facts, checklist and pack: verify must name each.

Run by hand for the full number: python -m tests.benchmarks.byte_changes --changes 2000
"""

from __future__ import annotations

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from audit.record.keys import make_key
from audit.record.verify import Verified, verify_job
from audit.report.pack import PackOptions, make_pack
from audit.report.pack_read import verify_pack
from tests.record.conftest import open_desk
from tests.record.jobs import make_job


@dataclass
class Outcome:
    """What was seen over all changes."""

    tried: Counter[str] = field(default_factory=Counter)
    passed: list[tuple[str, int]] = field(default_factory=list)
    misnamed: list[tuple[str, int, str]] = field(default_factory=list)


def signed_job(folder: Path) -> tuple[Path, Path]:
    """A job, decided and signed, and its pack."""
    signer = make_key(folder / "key.pem", "several words together")
    desk = open_desk(make_job(folder / "job", fittings=2), signer=signer)
    desk.decide_all()
    desk.sign()
    pack = folder / "pack.zip"
    with pack.open("wb") as out:
        make_pack(desk.record, desk.job, out, PackOptions(signer=signer))
    return desk.root, pack


def targets(root: Path, pack: Path) -> dict[Path, Callable[[], Verified]]:
    """Every file that is held to account, and who does it."""
    files = [root / "record.sqlite", root / "record.seal", root / "out" / "checklist.json"]
    files += [root / "job.toml", *sorted((root / "photos").iterdir())]
    found: dict[Path, Callable[[], Verified]] = {f: lambda: verify_job(root) for f in files}
    found[pack] = lambda: verify_pack(pack)
    return found


def run(changes: int, seed: int, folder: Path) -> Outcome:
    """Change one byte at a time, and put it back."""
    root, pack = signed_job(folder)
    choose, out = random.Random(seed), Outcome()
    held = targets(root, pack)
    assert all(verify().holds for verify in held.values())
    for _ in range(changes):
        path = choose.choice([*held, pack])  # the pack twice: it holds most
        whole = path.read_bytes()
        at = choose.randrange(len(whole))
        changed = bytearray(whole)
        changed[at] ^= choose.randrange(1, 256)
        path.write_bytes(bytes(changed))
        found = held[path]()
        path.write_bytes(whole)
        out.tried[path.name] += 1
        if found.holds:
            out.passed.append((path.name, at))
        elif path.name not in (said := found.problems[0].one_line()) and path != pack:
            out.misnamed.append((path.name, at, said))
    assert all(verify().holds for verify in held.values())
    return out


def main() -> None:
    """Command line of the benchmark."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--changes", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=20260531)
    given = parser.parse_args()
    began = time.perf_counter()
    with tempfile.TemporaryDirectory() as folder:
        out = run(given.changes, given.seed, Path(folder))
    sys.stdout.write(
        f"{sum(out.tried.values())} single-byte changes in {time.perf_counter() - began:.0f} s: "
        f"{len(out.passed)} passed unseen, {len(out.misnamed)} named in another file; "
        f"{dict(out.tried)}\n"
    )
    sys.exit(bool(out.passed or out.misnamed))


if __name__ == "__main__":
    main()
