"""What must hold for any facts: monotone, independent of order, never raising, never `clear` by weakness."""

from __future__ import annotations

import random
import re
from collections.abc import Mapping
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import BaseModel

from audit.job.circuit import Circuit
from audit.job.facts import Building, Fitting, JobFacts, Room
from audit.job.ipcode import Promise, parse_ip
from audit.job.shape import fields_of, kinds_of, quantity_of
from audit.rules import Item, State, Weight, evaluate
from audit.rules.types import Verified
from tests.rules.jobs import BATH, answer, job

CODES = st.builds(
    lambda a, b, c: f"IP{a}{b}{c}",
    st.sampled_from("0123456X"), st.sampled_from("0123456789X"), st.sampled_from(["", "A", "B", "C", "D"]),
)  # fmt: skip
RANK = {State.CLEAR: 0, State.UNSURE: 1, State.MISSING: 1, State.FLAG: 2}


def value_for(model: type[BaseModel], name: str) -> st.SearchStrategy[Any]:
    kind, info = kinds_of(model)[name], fields_of(model)[name]
    if kind.model is not None or kind.base == "other":
        return st.none()
    if kind.base == "list":
        return st.none() if not kind.words else st.lists(st.sampled_from(kind.words), max_size=2)
    if kind.words:
        return st.sampled_from(kind.words)
    bounds = quantity_of(info)
    if kind.base == "number" and bounds is not None:
        return st.floats(bounds.low, bounds.high)
    if kind.base == "whole number" and bounds is not None:
        return st.integers(int(bounds.low), int(bounds.high))
    if kind.base == "yes or no":
        return st.booleans()
    return CODES if name == "ip" else st.sampled_from(["A", "1.5 T&E", "flex 3x0.75", "<b>&"])


def facts_of(model: type[BaseModel], skip: tuple[str, ...]) -> st.SearchStrategy[dict[str, Any]]:
    names = [n for n in fields_of(model) if n not in skip]
    return st.fixed_dictionaries({}, optional={n: value_for(model, n) for n in names}).map(
        lambda d: {k: v for k, v in d.items() if v is not None}
    )


FITTINGS = facts_of(Fitting, ("label", "room", "circuit", "x_m", "y_m"))
ROOMS = facts_of(Room, ("name", "size_m", "slope"))
CIRCUITS = facts_of(Circuit, ("id", "dead_tests_at", "live_tests_at"))
REGIONS = st.sampled_from(["international", "gb-eng", "gb-wls", "nowhere"])


@given(FITTINGS, ROOMS, CIRCUITS, facts_of(Building, ()), REGIONS)
@settings(max_examples=200, deadline=None)
def test_any_facts_give_items_with_words(
    fitting: dict[str, Any], room: dict[str, Any], circuit: dict[str, Any],
    building: dict[str, Any], region: str,
) -> None:  # fmt: skip
    facts = job(fitting, {**BATH, **room}, circuit, building, region=region)
    found = evaluate(facts)
    assert len({i.id for i in found}) == len(found)
    for item in found:
        assert item.id == f"{item.check}:{item.of}"
        assert item.why.strip().endswith((".", "?", ".)")), item.why
        assert item.source and item.settle and item.region_used
        assert not re.search(r"\b(None|nan|inf)\b", item.why), item.why
        if item.verified in (Verified.MEMORY, Verified.SINGLE):
            assert item.weight is not Weight.STOP


@given(st.integers(0, 6), st.integers(0, 6))
def test_water_is_monotone_up_to_six(a: int, needed: int) -> None:
    higher = [parse_ip(f"IP2{n}").keeps_out_water(needed) for n in range(a, 7)]
    if higher[0] is Promise.YES:
        assert all(h is Promise.YES for h in higher)


@given(CODES, CODES)
def test_a_dual_code_promises_what_either_part_does(a: str, b: str) -> None:
    for needed in range(10):
        both = parse_ip(f"{a}/{b}").keeps_out_water(needed)
        each = {parse_ip(x).keeps_out_water(needed) for x in (a, b)}
        if Promise.YES in each:
            assert both is Promise.YES
        elif both is Promise.YES:
            pytest.fail(f"{a}/{b} promises {needed} though neither part does")


@given(st.sampled_from("0123456"), st.sampled_from("0123456"), st.booleans())
def test_a_better_ip_code_is_never_worse(a: str, b: str, jets: bool) -> None:
    room = {**BATH, "jets": jets}
    low, high = sorted((a, b))
    for check in ("zone-water", "zone-jets", "ip-solids"):
        ranks = []
        for numeral in (low, high):
            code = f"IP{numeral}5" if check == "ip-solids" else f"IP2{numeral}"
            item = answer(check, job({"x_m": 0.8, "y_m": 0.3, "ip": code}, room))
            ranks.append(0 if item is None else RANK[item.state])
        assert ranks[0] >= ranks[1]


@given(st.floats(0, 1000), st.floats(0, 1000), st.floats(0.1, 200), st.floats(0.1, 200))
@settings(max_examples=60)
def test_load_and_length_are_monotone(p1: float, p2: float, l1: float, l2: float) -> None:
    def drop(power: float, length: float) -> Item:
        item = answer(
            "volt-drop", job({"load_w": power}, circuit={"leg": [{"to": "F", "length_m": length}]})
        )
        assert item is not None and item.value is not None
        return item

    power, length = sorted((p1, p2)), sorted((l1, l2))
    small, large = drop(power[0], length[0]), drop(power[1], length[1])
    assert small.value <= large.value + 1e-12
    assert RANK[small.state] <= RANK[large.state]


@given(st.integers(0, 120), st.integers(0, 120))
def test_more_minutes_are_never_worse(a: int, b: int) -> None:
    building = {"use": "house", "storeys": 3, "top_floor_height_m": 6}
    ranks = [
        RANK[i.state]
        for m in sorted((a, b))
        if (
            i := answer(
                "fire-rating", job({"fire_min": m}, {"above": "bedroom"}, building=building)
            )
        )
    ]
    assert ranks[0] >= ranks[1]


@given(st.floats(0.01, 20), st.floats(0.01, 20), st.sampled_from(["mcb b", "mcb c", "mcb d"]))
def test_lower_impedance_is_never_worse(a: float, b: float, device: str) -> None:
    ranks = [
        RANK[answer("zs", job(circuit={"zs_ohm": z, "device": device})).state]
        for z in sorted((a, b))
    ]
    assert ranks[0] <= ranks[1]


def many(count: int, seed: int = 7) -> dict[str, Any]:
    rng = random.Random(seed)
    return {
        "job": {"name": "many", "region": "gb-eng"},
        "building": {"use": "house", "storeys": 2, "top_floor_height_m": 2.7},
        "room": [{**BATH, "name": "R", "above": "bedroom", "size_m": [20, 20], "floor": "solid joist"}],
        "fitting": [
            {
                "label": f"F{i:03d}", "room": "R", "ip": rng.choice(["IP65", "IP20", "IP44"]),
                "x_m": rng.uniform(0, 20), "y_m": rng.uniform(0, 20), "load_w": rng.uniform(3, 10),
                "fire_min": rng.choice([0, 30, None]),
            }
            for i in range(count)
        ],
        "circuit": [
            {
                "id": "C", "conductor_mm2": 1.5, "cpc_mm2": 1.0,
                "leg": [{"to": f"F{i:03d}", "length_m": 1.0} for i in range(count)],
            }
        ],
    }  # fmt: skip


def test_order_of_fittings_does_not_matter() -> None:
    data = many(30)
    first = {i.id: i for i in evaluate(JobFacts.model_validate(data))}
    data["fitting"] = list(reversed(data["fitting"]))
    second = {i.id: i for i in evaluate(JobFacts.model_validate(data))}
    assert {k: (v.state, v.value) for k, v in first.items()} == {
        k: (v.state, v.value if v.value is None else pytest.approx(v.value))
        for k, v in second.items()
    }


def test_one_fitting_does_not_change_another() -> None:
    """Except where distance to the next hole is asked."""
    data = many(12)
    whole = {
        i.id: i.state for i in evaluate(JobFacts.model_validate(data)) if i.of_kind == "fitting"
    }
    data["fitting"], data["circuit"] = data["fitting"][:1], []
    alone: Mapping[str, State] = {
        i.id: i.state for i in evaluate(JobFacts.model_validate(data)) if i.of_kind == "fitting"
    }
    skip = {"hole-spacing:F000", "cpc-carried-on:F000", "cpc-joint-place:F000"}
    assert {k: v for k, v in alone.items() if k not in skip} == {
        k: v for k, v in whole.items() if k.endswith(":F000") and k not in skip
    }
