"""Time of all rules on jobs of growing size: `python -m tests.benchmarks.bench_rules`.

Prints seconds for 50 and 500 fittings (in one bath room with a partition, the dearest
case, and spread over ten rooms), the ratio, and whether the bars hold: 500 fittings in
under 2 s, and ten times the fittings in no more than twelve times the time.
"""

from __future__ import annotations

import time
from typing import Any

from audit.job.facts import JobFacts
from audit.rules import evaluate
from audit.rules.plan import room_plans
from tests.rules.jobs import BATH
from tests.rules.test_properties import many

SCREEN = {"line_m": [[2.0, 0.0], [2.0, 1.5]], "thickness_m": 0.05, "fixed": True}
LIMIT_S, LIMIT_RATIO = 2.0, 12.0


def one_room(count: int) -> JobFacts:
    """All in one bath room of 20 x 20 m with a partition."""
    data = many(count)
    data["room"][0]["partition"] = [SCREEN]
    return JobFacts.model_validate(data)


def ten_rooms(count: int) -> JobFacts:
    """Spread over ten bath rooms and ten circuits."""
    data: dict[str, Any] = many(count)
    data["room"] = [
        {**BATH, "name": f"R{i}", "above": "bedroom", "size_m": [20, 20]} for i in range(10)
    ]
    data["circuit"] = [
        {
            "id": f"C{i}",
            "conductor_mm2": 1.5,
            "leg": [{"to": f["label"], "length_m": 1.0} for f in data["fitting"][i::10]],
        }
        for i in range(10)
    ]
    for number, fitting in enumerate(data["fitting"]):
        fitting["room"] = f"R{number % 10}"
    return JobFacts.model_validate(data)


def seconds(facts: JobFacts, times: int = 5) -> float:
    """Least of several runs, so that what else the machine does counts little."""
    best = float("inf")
    for _ in range(times):
        begin = time.perf_counter()
        evaluate(facts)
        best = min(best, time.perf_counter() - begin)
    return best


def measure() -> list[tuple[str, float, float]]:
    """Name, seconds for 50 and for 500 fittings."""
    evaluate(one_room(5))  # reads the catalogue
    return [
        (name, seconds(make(50)), seconds(make(500)))
        for name, make in (("one bath room, a partition", one_room), ("ten bath rooms", ten_rooms))
    ]


def main() -> None:
    """Print the table."""
    print(f"{'job':<28} {'50':>9} {'500':>9} {'ratio':>7}")
    for name, small, large in measure():
        good = large <= LIMIT_S and large / small <= LIMIT_RATIO
        print(
            f"{name:<28} {small:8.3f}s {large:8.3f}s {large / small:7.2f}  {'holds' if good else 'BROKEN'}"
        )
    facts = one_room(500)
    begin = time.perf_counter()
    room_plans(facts, [])
    print(f"plan of 500 fittings: {time.perf_counter() - begin:.3f} s")


if __name__ == "__main__":
    main()
