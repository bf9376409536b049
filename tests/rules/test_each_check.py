"""Each check on both sides of its limit, and with nothing said: `missing`, never `clear`."""

from __future__ import annotations

from collections import defaultdict
from typing import Any

import pytest

from audit.rules import catalogue
from tests.rules import cases_fitting, cases_work
from tests.rules.jobs import BATH, answer, job

CASES = cases_fitting.CASES + cases_work.CASES

ONE_SIDED = {
    "bath-described": "describes; nothing to flag", "zone-known": "places; nothing to flag",
    "fire-needed": "asks what is needed", "ip-side": "face only is unsure, not wrong",
    "class-two": "the plate decides", "plate-confirmed": "a reading, not a fault",
    "facts-agree": "shown only where facts contradict", "facts-photo": "shown only where they differ",
    "sheath-declared": "a word that it runs in settles nothing", "circuit-declared": "absent is missing",
    "edition-named": "an older edition is not a fault", "region-known": "every region has its caution",
    "answered-for": "a missing name is missing", "views-supplied": "absent is missing",
}  # fmt: skip
"""Checks that by their nature have no flag, or no clear; two other states are tested instead."""


@pytest.mark.parametrize(
    ("check", "state", "given"), CASES, ids=[f"{i}-{c}-{s}" for i, (c, s, _) in enumerate(CASES)]
)
def test_case(check: str, state: str, given: dict[str, Any]) -> None:
    given = dict(given)
    shown = given.pop("seen", None)
    item = answer(check, job(**given), shown)
    assert ("absent" if item is None else item.state.value) == state, item and item.why


def test_every_check_is_tested_on_both_sides() -> None:
    states: dict[str, set[str]] = defaultdict(set)
    for check, state, _ in CASES:
        states[check].add(state)
    for check in catalogue().values():
        if check.photo:
            continue
        assert len(states[check.id]) >= 2 or check.id == "region-known", check.id
        if check.id not in ONE_SIDED:
            assert {"flag", "clear", "missing"} <= states[check.id], check.id


def test_nothing_said_is_never_clear() -> None:
    """An empty job holds no `clear` but of what the chain itself tells."""
    from audit.rules import evaluate

    for region in ("international", "gb-eng", "gb-wls", "gb-sct", "gb-nir"):
        for room in ({"kind": None}, BATH, {"kind": "bedroom"}):
            facts = job(room={**room}, region=region, circuit={"leg": [{"to": "F"}], "device": None,
                        "rating_a": None, "conductor_mm2": None, "cpc_mm2": None})  # fmt: skip
            held = {i.check for i in evaluate(facts) if i.state.value == "clear"}
            assert held <= {"circuit-declared", "bath-described"}
