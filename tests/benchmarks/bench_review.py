"""Start page of a large job against a small one: `python -m tests.benchmarks.bench_review`.

Prints the ratio and whether the bar holds: 300 fittings with 900 photos in less than
10 times the smallest job's time. Leaves with 1 when it does not.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from audit.review.app import create_app
from audit.review.context import Review
from audit.review.desk import Desk
from tests.review.conftest import Pages
from tests.review.jobs import copy_job
from tests.review.test_start import LARGE, enlarge

MAX_TIMES = 10.0


def seconds(root: Path) -> float:
    """Least time of five openings, after one that fills the caches."""
    desk = Desk(root, 0.0)
    pages = Pages(create_app(Review(desk), bounded=False).test_client(), desk, "A")
    pages.post("/do/name", {"name": "A. Person", "key": "k" * 12})
    took = []
    for _ in range(6):
        begin = time.perf_counter()
        if pages.get("/").status_code != 200:
            raise RuntimeError("the start page did not open")
        took.append(time.perf_counter() - begin)
    return min(took[1:])


def main() -> int:
    """Print the figures; 0 when the bar holds."""
    with tempfile.TemporaryDirectory() as folder:
        base = Path(folder) / "base"
        base.mkdir()
        small, large = copy_job(base, Path(folder) / "s"), copy_job(base, Path(folder) / "l")
        enlarge(small, 1)
        enlarge(large, LARGE)
        small_s, large_s = seconds(small), seconds(large)
    times = large_s / small_s
    held = "bar held" if times < MAX_TIMES else "BAR NOT HELD"
    print(f"{large_s * 1e3:.0f} ms against {small_s * 1e3:.0f} ms: {times:.1f} times, {held}")
    return int(times >= MAX_TIMES)


if __name__ == "__main__":
    sys.exit(main())
