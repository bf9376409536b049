"""Items as a whole: weights, regions, editions, hold points, and what the catalogue must hold."""

from __future__ import annotations

import pickle
import re

import pytest

from audit.rules import HoldPoint, Weight, catalogue, evaluate, photo_checks
from audit.rules.engine import rules
from audit.rules.region import find_region, region_ids, shipped
from audit.rules.types import CpcSeen, CpcSeenAs, Item, PhotoRef, Source, State, Verified
from tests.rules.jobs import BATH, answer, items, job

PHOTO = {
    "core-outside-enclosure": "stop", "core-outside-grip": "stop", "copper-beyond-terminal": "stop",
    "cpc-cut-short": "stop", "cpc-unsleeved": "put right", "core-colours": "put right",
}  # fmt: skip


def test_the_catalogue_is_whole() -> None:
    checks = catalogue()
    assert len(checks) >= 45
    tables = rules()
    answered = {k for t in tables.values() for k in t}
    assert answered == {c.id for c in checks.values() if not c.photo}
    assert all(c.id in tables[c.asks] for c in checks.values() if not c.photo)
    assert {c.id: c.weight.value for c in photo_checks().values()} == PHOTO


@pytest.mark.parametrize("check", catalogue().values(), ids=lambda c: c.id)
def test_each_check_has_sources_and_words(check: object) -> None:
    from audit.rules.types import Check

    assert isinstance(check, Check)
    for source in check.sources:
        if source.verified is Verified.PRACTICE:
            assert not source.standard and "common practice, no source" in str(source)
        else:
            assert source.standard and source.gist
    if check.weight is Weight.STOP:
        best = {s.verified for s in check.sources}
        assert best - {Verified.MEMORY, Verified.SINGLE}, "a stop from memory alone"
    assert check.question.endswith("?")
    assert all(x.strip().endswith(".") for x in (check.why, check.computed, check.settle))
    for value in check.values:
        assert value in shipped("gb-eng").values, value
        if check.regions == ("international",):
            assert value in shipped("international").values, value


INFORMAL = (
    "411.3.1.1", "412.2.3.2", "521.10.202", "701.415.2", "422.3.1", "Table B4", "522.6.201",
)  # fmt: skip
"""Clauses of which a forum or a page anybody edits was read, and nothing better (our list of what was read)."""


def test_what_only_a_forum_told_is_said_to_be_so() -> None:
    told = [(c.id, s) for c in catalogue().values() for s in c.sources]
    told += [(v.id, v.source) for r in region_ids() for v in shipped(r).values.values()]
    for clause in INFORMAL:
        found = [(name, s) for name, s in told if clause in s.clause]
        assert found, clause
        for name, source in found:
            assert source.verified is Verified.SINGLE, (name, clause)
            assert "read in an informal text only" in str(source)


def test_what_only_a_forum_told_makes_no_stop() -> None:
    """A building above 5 m: that it must stand 60 minutes is Table B4, of which a forum told."""
    tall = {"use": "flats", "storeys": 4, "top_floor_height_m": 9.0}
    rating = answer("fire-rating", job({"fire_min": 30}, {"above": "other dwelling"}, None, tall))
    assert rating is not None
    assert (rating.state, rating.weight) == (State.FLAG, Weight.PUT_RIGHT)
    assert rating.verified is Verified.SINGLE and "check it in the current edition" in rating.why


@pytest.mark.parametrize("region", region_ids())
def test_each_value_names_edition_and_how_far_it_was_read(region: str) -> None:
    for value in shipped(region).values.values():
        source = value.source
        assert source.gist, value.id
        if source.verified is not Verified.PRACTICE:
            assert source.standard and source.clause, value.id
        if source.standard in ("BS 7671", "IEC 60364-7-701", "IEC 60228"):
            assert source.edition, value.id


def test_no_address_of_a_text_stands_in_the_catalogue() -> None:
    from audit.resources import models_dir

    for folder in ("rules", "regions"):
        for path in (models_dir() / folder).glob("*.toml"):
            text = path.read_text(encoding="utf-8")
            assert not re.search(r"https?:|www\.|\.co\.uk|\.com\b|/work/", text), path


def test_memory_never_weighs_stop() -> None:
    """A 26 V SELV fitting in zone 1: the check weighs stop, its limit is from memory."""
    item = answer(
        "zone-voltage", job({"x_m": 0.8, "y_m": 0.3, "supply": "selv", "voltage_v": 26}, BATH)
    )
    assert item is not None and item.state is State.FLAG
    assert catalogue()["zone-voltage"].weight is Weight.STOP
    assert (item.weight, item.needs_edition_check) == (Weight.PUT_RIGHT, True)
    assert "check it in the current edition" in item.why and "from memory" in item.source


def test_a_stop_on_a_read_value_stays_one() -> None:
    item = answer("zone-water", job({"x_m": 0.8, "y_m": 0.3, "ip": "IP20"}, BATH))
    assert item is not None and item.weight is Weight.STOP


@pytest.mark.parametrize("verified", [Verified.MEMORY, Verified.SINGLE])
def test_the_item_itself_refuses_a_stop_from_memory(verified: Verified) -> None:
    with pytest.raises(ValueError, match="memory alone"):
        Item(
            "x:F", "x", "fitting", "F", State.FLAG, Weight.STOP, HoldPoint.BOARDING, "why.",
            "source", "settle", verified, "gb-eng",
        )  # fmt: skip


def test_the_weakest_value_counts() -> None:
    """Joist cuts rest on a guide that was read; the cover of 50 mm on one informal text."""
    cut = {
        "kind": "hole",
        "span_m": 3,
        "from_support_m": 0.8,
        "depth_of_joist_mm": 200,
        "size_mm": 20,
    }
    near = answer("joist-cuts", job(room={"joist_cut": [{**cut, "cover_mm": 20}]}))
    fine = answer("joist-cuts", job(room={"joist_cut": [{**cut, "cover_mm": 60}]}))
    assert near is not None and fine is not None
    assert (near.verified, fine.verified) == (Verified.SINGLE, Verified.SECONDARY)
    assert near.needs_edition_check and not fine.needs_edition_check


def test_hold_points() -> None:
    facts = job(room=BATH)
    whole = evaluate(facts)
    parts = [evaluate(facts, hold_point=h) for h in HoldPoint]
    assert sorted(i.id for p in parts for i in p) == sorted(i.id for i in whole)
    assert all(i.hold_point is h for h, p in zip(HoldPoint, parts, strict=True) for i in p)
    own = evaluate(job(room=BATH, info={"hold_point": "boarding"}))
    assert {i.id for i in own} == {i.id for i in parts[0]}


def test_regions_build_on_each_other() -> None:
    assert shipped("gb-sct").chain == ("gb-sct", "gb-eng", "international")
    assert shipped("gb-eng").values["zone2-reach-m"].region == "gb-eng"
    assert shipped("gb-eng").values["rcd-trip-ms"].region == "international"
    assert "fire-low-min" not in shipped("gb-sct").values
    assert "fire-low-min" not in shipped("international").values


def test_an_unknown_region_falls_back_and_says_so() -> None:
    region, known = find_region("atlantis")
    assert (region.id, known) == ("international", False)
    found = items(job(room=BATH, fitting={"x_m": 0.8, "y_m": 0.3, "ip": "IP20"}, region="atlantis"))
    assert "atlantis is not in the catalogue" in found["region-known:job"].why
    assert found["zone-water:F"].region_used == "international"


def test_an_item_says_which_region_gave_its_value() -> None:
    fitting = {"x_m": 0.8, "y_m": 0.3, "ip": "IP20"}
    used = {
        r: items(job(fitting, BATH, region=r))["zone-water:F"].region_used
        for r in ("international", "gb-eng", "gb-wls")
    }
    assert used == {"international": "international", "gb-eng": "gb-eng", "gb-wls": "gb-eng"}


def test_an_edition_that_the_job_names_is_held_against_the_source() -> None:
    fitting = {"x_m": 0.8, "y_m": 0.3, "ip": "IP20"}
    same = items(job(fitting, BATH, info={"edition": "BS 7671:2018+A2:2022"}))["zone-water:F"]
    other = items(job(fitting, BATH, info={"edition": "BS 7671:2018+A4:2026"}))["zone-water:F"]
    assert not same.needs_edition_check
    assert other.needs_edition_check and "this job names BS 7671:2018+A4:2026" in other.source
    assert "BS 7671:2018+A2:2022, 701.512.2 (read in a secondary text)" in other.source


def test_items_travel_between_processes() -> None:
    found = evaluate(job(room=BATH))
    assert pickle.loads(pickle.dumps(found)) == found


def test_sources_read_as_standards_are_cited() -> None:
    assert str(Source("BS 7671", "2018", "411.3.4", Verified.SECONDARY)) == (
        "BS 7671:2018, 411.3.4 (read in a secondary text)"
    )
    assert str(Source("IET On-Site Guide", "2018", "appendix D", Verified.MEMORY)) == (
        "IET On-Site Guide 2018, appendix D (from memory)"
    )


def test_cable_chain_is_a_tree() -> None:
    """Branches from one point share its current and length; drop by hand: Σ mV/A/m × I × L."""
    fitting = [{"label": n, "room": "R", "load_w": 207, "power_factor": 0.9} for n in "ABC"]
    legs = [
        {"to": "A", "length_m": 10}, {"to": "B", "length_m": 5},
        {"to": "C", "from": "A", "length_m": 20},
    ]  # fmt: skip
    facts = job(circuit={"leg": legs}, more={"fitting": fitting})
    item = answer("volt-drop", facts)
    # Each takes 1 A; 3 A to A, 1 A on to C: 29 mV × (3 × 10 + 1 × 20) = 1.45 V.
    assert item is not None
    assert (item.value, item.inputs["point"]) == (pytest.approx(1.45), "C")
    reading = answer(
        "r1-r2", job(circuit={"leg": legs, "r1r2_ohm": 0.9}, more={"fitting": fitting})
    )
    assert reading is not None and reading.inputs["length_m"] == 30


@pytest.mark.parametrize(
    ("seen", "words"),
    [("cut_short", "cut short"), ("none_comes_out", "not coming out of the sheath")],
)
def test_how_a_lost_cpc_was_seen_reads_as_a_sentence(seen: CpcSeenAs, words: str) -> None:
    assert CpcSeen(seen, PhotoRef("a.jpg")).words == words
