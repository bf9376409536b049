"""Small jobs for the rule tests: one room, one fitting, one circuit, each field as asked."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from audit.job.facts import JobFacts
from audit.rules import FittingSeen, Item, evaluate
from audit.rules.house import HouseRules

ROOM = {"name": "R", "kind": "kitchen", "ceiling_m": 2.4}
BATH = {
    "name": "R", "kind": "bathroom", "ceiling_m": 2.2,
    "bath": [{"at_m": [0, 0], "size_m": [1.7, 0.7], "rim_m": 0.56}],
    "outlet": [{"at_m": [0.1, 0.35], "height_m": 2.0, "over": "bath"}],
}  # fmt: skip
CIRCUIT = {
    "id": "C", "device": "mcb b", "rating_a": 6, "conductor_mm2": 1.5, "cpc_mm2": 1.0,
    "leg": [{"to": "F", "length_m": 10}],
}  # fmt: skip


def job(
    fitting: Mapping[str, Any] | None = None,
    room: Mapping[str, Any] | None = None,
    circuit: Mapping[str, Any] | None = None,
    building: Mapping[str, Any] | None = None,
    info: Mapping[str, Any] | None = None,
    region: str = "gb-eng",
    more: Mapping[str, Any] | None = None,
) -> JobFacts:
    """One fitting `F` in room `R` on circuit `C`; None leaves the default, {} adds nothing."""
    data: dict[str, Any] = {
        "job": {"name": "test", "region": region, **(info or {})},
        "building": dict(building or {}),
        "room": [{**ROOM, **(room or {})}],
        "fitting": [{"label": "F", "room": "R", **(fitting or {})}],
        "circuit": [{**CIRCUIT, **(circuit or {})}],
        **(more or {}),
    }
    return JobFacts.model_validate(data)


def items(
    facts: JobFacts,
    seen: Mapping[str, FittingSeen] | None = None,
    house: HouseRules | None = None,
) -> dict[str, Item]:
    """Items by identity."""
    return {i.id: i for i in evaluate(facts, seen or {}, house)}


def answer(
    check: str, facts: JobFacts, seen: Mapping[str, FittingSeen] | None = None
) -> Item | None:
    """The item of one check asked of the job's first thing of its kind, or None."""
    found = [i for i in evaluate(facts, seen or {}) if i.check == check]
    return found[0] if found else None
