"""The demo job shows what the catalogue can say: every state in every subject."""

from __future__ import annotations

from collections import defaultdict

import pytest

from audit.job.facts import JobFacts
from audit.job.plausible import problems
from audit.resources import demo_dir
from audit.rules import TOPICS, Item, evaluate
from audit.rules.plan import room_plans


@pytest.fixture(scope="module")
def facts() -> JobFacts:
    """The demo's facts alone: its photos need not be there."""
    import tomllib

    from audit.job.fitting import Fitting
    from audit.job.shape import columns
    from audit.job.table import read_table

    folder = demo_dir()
    data = tomllib.loads((folder / "job.toml").read_text(encoding="utf-8"))
    table, wrong = read_table((folder / "fittings.csv").read_bytes(), "fittings.csv", columns())
    assert not wrong
    data["fitting"] = [Fitting.model_validate(dict(r.cells)) for r in table.rows]
    return JobFacts.model_validate(data)


@pytest.fixture(scope="module")
def found(facts: JobFacts) -> list[Item]:
    return evaluate(facts)


def test_its_facts_hold_together(facts: JobFacts) -> None:
    assert problems(facts) == []
    assert [f.label for f in facts.fittings] == [f"F{n:02d}" for n in range(1, 11)]
    assert len(facts.rooms) >= 3


@pytest.mark.parametrize("topic", TOPICS)
def test_every_state_in_every_subject(found: list[Item], topic: str) -> None:
    states = defaultdict(list)
    for item in found:
        if item.topic == topic:
            states[item.state.value].append(item.id)
    assert set(states) == {"flag", "clear", "unsure", "missing"}, dict(states)


def test_each_room_has_its_plan(facts: JobFacts, found: list[Item]) -> None:
    answers = [(i.of, i.topic, i.state.value) for i in found if i.of_kind == "fitting"]
    plans = room_plans(facts, answers)
    assert set(plans) == {r.name for r in facts.rooms}
    assert "zone 2" in plans["Bathroom"] and "zone 2" not in plans["Kitchen"]


def test_zones_of_the_bathroom(found: list[Item]) -> None:
    zone = {i.of: i.inputs["zone"] for i in found if i.check == "zone-known"}
    state = {i.of: i.state.value for i in found if i.check == "zone-known"}
    assert zone == {"F05": "1", "F06": "2", "F07": "2", "F08": None}
    assert state == {"F05": "clear", "F06": "unsure", "F07": "clear", "F08": "missing"}
