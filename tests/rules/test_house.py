"""House rules: stricter only, with file, row and field of everything wrong."""

from __future__ import annotations

from pathlib import Path

import pytest

from audit.errors import JobError, JobProblems, LidoffError
from audit.rules import State, Weight, load_house
from tests.rules.jobs import BATH, items, job

GOOD = """\
schema = "lidoff.house/1"

[house]
name = "Our house"
region = "gb-eng"

[[value]]
id = "zone2-reach-m"
value = 0.7
why = "we measure from the tiles"

[[weight]]
check = "fire-throughout"
weight = "put right"

[[rule]]
id = "house-ip65"
asks = "fitting"
kinds = ["bathroom"]
question = "Is it IP65, as the firm asks in bathrooms?"
why = "One stock item for every bathroom."
field = "ip"
op = "is"
value = "IP65"
weight = "advise"
hold_point = "closing-up"
settle = "A photo of the rating plate."

[[rule]]
id = "house-hole"
asks = "fitting"
question = "Is the hole no wider than 75 mm?"
why = "The plates we stock cover no more."
field = "hole_mm"
op = "at most"
value = 75
weight = "put right"
hold_point = "closing-up"
settle = "The hole measured with a tape."
"""


def load(tmp_path: Path, text: str) -> object:
    path = tmp_path / "house.toml"
    path.write_text(text, encoding="utf-8")
    return load_house(path)


def wrong(tmp_path: Path, text: str) -> list[str]:
    with pytest.raises(LidoffError) as caught:
        load(tmp_path, text)
    error = caught.value
    return [e.one_line() for e in (error.problems if isinstance(error, JobProblems) else [error])]


def test_a_stricter_value_is_used_and_named(tmp_path: Path) -> None:
    house = load(tmp_path, GOOD)
    facts = job({"from_bath_m": 0.65, "ip": "IP20"}, BATH)
    assert "zone-water:F" not in items(facts)
    found = items(facts, house=house)["zone-water:F"]
    assert (found.state, found.weight) == (State.FLAG, Weight.STOP)
    assert "Our house" in found.source


def test_heavier_weight(tmp_path: Path) -> None:
    house = load(tmp_path, GOOD)
    facts = job({"fire_min": 0})
    assert items(facts)["fire-throughout:job"].weight is Weight.ADVISE
    assert items(facts, house=house)["fire-throughout:job"].weight is Weight.PUT_RIGHT


def test_own_rules(tmp_path: Path) -> None:
    house = load(tmp_path, GOOD)
    states = {
        mm: items(job({"hole_mm": mm}), house=house)["house-hole:F"].state.value
        for mm in (75, 75.1, None)
    }
    assert states == {75: "clear", 75.1: "flag", None: "missing"}
    assert "house-ip65:F" not in items(job({"ip": "IP20"}), house=house)
    assert items(job({"ip": "ip 65"}, BATH), house=house)["house-ip65:F"].state is State.CLEAR


REGION = """\
schema = "lidoff.house/1"
[house]
name = "Away"
[region]
id = "outland"
name = "Outland"
base = "international"
wiring_rules = "OL 1"
current_edition = "2024"
[[source]]
id = "ol"
standard = "OL 1"
edition = "2024"
clause = "7.1"
verified = "primary"
[[region_value]]
id = "zone2-reach-m"
value = 0.5
unit = "m"
source = "ol"
gist = "zone 2 reaches half a metre"
"""


def test_a_region_of_ones_own(tmp_path: Path) -> None:
    house = load(tmp_path, REGION)
    facts = job({"from_bath_m": 0.45, "ip": "IP20"}, BATH, region="outland")
    found = items(facts, house=house)
    assert found["zone-water:F"].state is State.FLAG
    assert "zone-water:F" not in items(
        job({"from_bath_m": 0.55, "ip": "IP20"}, BATH, region="outland"), house=house
    )
    assert "Rules of Outland are used" in found["region-known:job"].why
    assert "OL 1 2024, 7.1 (read in the source itself)" in found["zone-known:F"].source


WRONG = [
    ('value = 0.7\n', 'value = 0.5\n', 'house.toml:9', "laxer"),
    ('id = "zone2-reach-m"', 'id = "zone2-raech-m"', "house.toml:8", "no value"),
    ('check = "fire-throughout"', 'check = "fire-thruout"', "house.toml:13", "no check"),
    ('weight = "put right"\n\n[[rule]]', 'weight = "pass"\n\n[[rule]]', "house.toml:14", "weight"),
    ('field = "hole_mm"', 'field = "hole"', "house.toml:34", "no field"),
    ('value = 75\n', 'value = "75"\n', "house.toml:36", "number"),
    ('id = "house-hole"', 'id = "zone-water"', "house.toml:30", "taken"),
    ('region = "gb-eng"', 'region = "gb-xyz"', "house.toml:5", "no region"),
    ('name = "Our house"', 'nam = "Our house"', "house.toml:4", "nam"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "place", "word"), WRONG)
def test_each_mistake_has_its_line(
    tmp_path: Path, old: str, new: str, place: str, word: str
) -> None:
    assert old in GOOD
    lines = wrong(tmp_path, GOOD.replace(old, new, 1))
    assert any(place in line and word in line for line in lines), lines
    assert all("\n" not in line for line in lines)


def test_a_lighter_weight_is_refused(tmp_path: Path) -> None:
    lines = wrong(tmp_path, GOOD.replace('check = "fire-throughout"', 'check = "zone-water"'))
    assert any("lighter" in line for line in lines)


def test_several_mistakes_are_told_at_once(tmp_path: Path) -> None:
    text = GOOD.replace("value = 0.7", "value = 0.1").replace('field = "hole_mm"', 'field = "h"')
    assert len(wrong(tmp_path, text)) == 2


def test_not_toml(tmp_path: Path) -> None:
    with pytest.raises(JobError):
        load(tmp_path, "a = = 1")


def test_no_file(tmp_path: Path) -> None:
    with pytest.raises(JobError):
        load_house(tmp_path / "none.toml")
