"""Spots become answers in doubt, where nothing else is said; and what two looks say is put together."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from audit.measure.again import elsewhere, midway
from audit.measure.contract import FindingRecord
from audit.measure.declared import Declared
from audit.measure.spot_findings import (
    CHECK_OF,
    DOUBTED_FROM,
    LATE_ODDS,
    WITHIN_FROM,
    doubted,
    shown_of,
    spot_findings,
)
from audit.measure.two_looks import ELSEWHERE
from audit.sight.spots import BARE, COPPER, CUT, GRIP, LATE, SPOT_KINDS, WALL, Spot
from audit.sight.types import Readings

SIZE = (1600, 1200)


def _spot(kind: str, x: float, y: float, probability: float = 0.04) -> Spot:
    return Spot(kind, probability, np.array([x - 20, y - 20, x + 20, y + 20], np.float64))


def _told(
    *spots: Spot,
    said: tuple[FindingRecord, ...] = (),
    readings: Readings | None = None,
    declared: Declared | None = None,
    full: float = 1.0,
) -> list[FindingRecord]:
    shown = shown_of(spots, declared or Declared(), readings or Readings(), full, SIZE)
    return spot_findings(shown, said, 8.0)


def _doubted(
    said: list[FindingRecord], *spots: Spot, declared: Declared | None = None
) -> list[FindingRecord]:
    shown = shown_of(spots, declared or Declared(), Readings(), 1.0, SIZE)
    return doubted(said, shown, 8.0)


def _finding(check: Any, box: tuple[float, float, float, float], state: Any) -> FindingRecord:
    return FindingRecord(check=check, of="c1", state=state, box_px=box, score=0.5, why="")


def _measured(check: Any, box: tuple[float, float, float, float], state: Any) -> FindingRecord:
    return _finding(check, box, state).model_copy(update={"value_mm": 3.0})


def test_a_spot_is_never_more_than_a_doubt() -> None:
    told = _told(*(_spot(kind, 100 + 200 * k, 300, 0.999) for k, kind in enumerate(SPOT_KINDS)))
    assert {f.state for f in told} == {"unsure"}
    assert [f.of for f in told] == ["p1", "p2", "p3", "p4", "p5", "p6"]
    assert {f.check for f in told} == set(CHECK_OF.values())
    assert all("see for yourself" in f.why for f in told)
    assert [f.score for f in told] == [0.999] * 5 + [pytest.approx(0.952, abs=1e-3)]


@pytest.mark.parametrize("p", [0.5, 0.95, 1.0])
def test_a_late_sleeve_is_rarer_in_ordinary_work_than_where_it_was_learned(p: float) -> None:
    """Odds of a fault after a change of its share, formula 4 of Saerens, Latinne and Decaestecker (Neural Computation 14, 2002), from
    memory: probabilities weighed by the ratio of new and old shares, then made to add up to one."""
    (told,) = _told(_spot(LATE, 300, 300, p))
    there, not_there = LATE_ODDS * p, 1 - p
    assert told.score == pytest.approx(there / (there + not_there), abs=1e-4)


@pytest.mark.parametrize("kind", SPOT_KINDS)
def test_what_is_clear_is_in_doubt_where_a_spot_looks_like_the_fault(kind: str) -> None:
    here, away = (285.0, 280.0, 325.0, 320.0), (600.0, 280.0, 640.0, 320.0)
    said = [_finding(CHECK_OF[kind], box, "clear") for box in (here, away)]
    told = _doubted(said, _spot(kind, 300, 300, 0.5))
    assert [f.state for f in told] == ["unsure", "clear"]
    assert "see for yourself" in told[0].why
    assert told[0].score == 0.5
    weak = _spot(kind, 300, 300, DOUBTED_FROM - 0.01)
    assert _doubted(said, weak) == said


@pytest.mark.parametrize(
    ("kind", "check"),
    [(CUT, "cpc-cut-short"), (BARE, "cpc-unsleeved"), (LATE, "cpc-unsleeved")],
)
def test_what_is_clear_along_a_cpc_is_in_doubt_where_a_spot_on_it_is_plain(
    kind: str, check: str
) -> None:
    run = _finding(check, (285.0, 280.0, 325.0, 900.0), "clear")
    for probability, state in ((WITHIN_FROM, "unsure"), (WITHIN_FROM - 0.01, "clear")):
        spot = _spot(kind, 300, 300, probability)
        (told,) = _doubted([run], spot)
        assert told.state == state
        assert _doubted([run], spot, declared=Declared(cpc_expected=False)) == [run]


def test_a_bare_stretch_keeps_its_own_box_and_count_beside_what_may_be_a_stub() -> None:
    stub, bare = _spot(CUT, 300, 300, 0.3), replace(_spot(BARE, 304, 304, 0.9), more=5)
    told = _told(stub, bare)
    assert [(f.check, f.of) for f in told] == [("cpc-cut-short", "p1"), ("cpc-unsleeved", "p2")]
    assert "not marked: 5" in told[1].why


def test_a_spot_of_another_kind_puts_nothing_in_doubt() -> None:
    said = [_finding("core-outside-grip", (285.0, 280.0, 325.0, 320.0), "clear")]
    assert _doubted(said, _spot(COPPER, 300, 300, 0.5)) == said


@pytest.mark.parametrize("state", ["flag", "unsure"])
def test_only_what_is_clear_is_put_in_doubt(state: str) -> None:
    said = [_finding("core-outside-grip", (285.0, 280.0, 325.0, 320.0), state)]
    assert _doubted(said, _spot(GRIP, 300, 300, 0.5)) == said


def test_the_first_of_a_kind_says_how_many_more_are_not_told() -> None:
    more = [replace(_spot(COPPER, 100 + 200 * k, 300), more=3) for k in range(2)]
    first, second, other = _told(*more, _spot(GRIP, 900, 300))
    assert "not marked: 3" in first.why
    assert "not marked" not in second.why + other.why


@pytest.mark.parametrize("kind", SPOT_KINDS)
@pytest.mark.parametrize("state", ["flag", "unsure", "clear"])
def test_a_spot_with_its_middle_in_a_flag_of_its_kind_is_what_is_flagged_but_for_a_cpc(
    kind: str, state: str
) -> None:
    """A cable's run is longer than the spot: the two are not one place. The next cable's CPC lies as near, and the next
    core's copper touches it."""
    spot = _spot(kind, 300, 300)
    round_it = _measured(CHECK_OF[kind], (295, 100, 340, 600), state)
    silent = state == "flag" and kind not in (CUT, BARE, LATE)
    assert [f.of for f in _told(spot, said=(round_it,))] == ([] if silent else ["p1"])
    touching = _measured(CHECK_OF[kind], (305, 100, 351, 600), state)
    assert len(_told(spot, said=(touching,))) == 1
    # Without a length the box is of all that a cable shows.
    wide = round_it.model_copy(update={"value_mm": None})
    assert len(_told(spot, said=(wide,))) == 1


def test_a_spot_in_a_flag_of_another_kind_is_told() -> None:
    flag = _measured(CHECK_OF[GRIP], (295, 100, 340, 600), "flag")
    assert len(_told(_spot(WALL, 300, 300), said=(flag,))) == 1


def test_its_box_is_in_the_photo() -> None:
    (found,) = _told(_spot(COPPER, 5, 300), full=2.0)
    assert found.box_px == (0, 561, 51, 641)


def test_what_is_said_already_is_not_said_again() -> None:
    near = _finding("copper-beyond-terminal", (300, 280, 340, 320), "flag")
    far = _finding("copper-beyond-terminal", (900, 280, 940, 320), "clear")
    other = _finding("core-outside-grip", (300, 280, 340, 320), "flag")
    spot = _spot(COPPER, 310, 300)
    assert _told(spot, said=(near,)) == []
    assert len(_told(spot, said=(far, other))) == 1
    assert len(_told(spot, _spot(COPPER, 312, 300, 0.4))) == 1


@pytest.mark.parametrize(("state", "spots"), [("flag", 0), ("unsure", 1)])
def test_a_bare_cpc_that_is_flagged_is_not_told_of_as_copper_too(state: str, spots: int) -> None:
    bare = _finding("cpc-unsleeved", (200, 200, 500, 400), state)
    assert len(_told(_spot(COPPER, 310, 300), said=(bare,))) == spots
    assert len(_told(_spot(COPPER, 600, 300), said=(bare,))) == 1
    assert len(_told(_spot(CUT, 310, 300), said=(bare,))) == 1


def test_what_is_declared_is_not_asked() -> None:
    spots = [_spot(kind, 100 + 200 * k, 300) for k, kind in enumerate(SPOT_KINDS)]
    lead = _told(*spots, declared=Declared(factory_lead=True))
    assert not {"core-outside-grip", "core-outside-enclosure"} & {f.check for f in lead}
    assert len(lead) == len(spots) - 2
    none = _told(*spots, declared=Declared(cpc_expected=False))
    assert not {"cpc-cut-short", "cpc-unsleeved"} & {f.check for f in none}
    assert len(_told(*spots, declared=Declared(cpc_expected=True))) == len(spots)


def _marked(reading: Readings) -> Readings:
    """With the first cable and the first end marked by a person."""
    cable, tip = reading.cables[0], reading.tips[0]
    return Readings(
        (replace(cable, evidence=None), *reading.cables[1:]),
        (replace(tip, evidence=None), *reading.tips[1:]),
    )


def test_what_a_person_marked_beats_a_spot(reading: Readings) -> None:
    cable, tip = reading.cables[0], reading.tips[0]
    here, end = cable.axis[len(cable.axis) // 2], tip.path[-1]
    spots = (_spot(GRIP, *here), _spot(CUT, *here), _spot(COPPER, *end))
    assert len(_told(*spots, readings=reading)) == 3
    assert _told(*spots, readings=_marked(reading)) == []


def test_a_mark_says_nothing_of_other_places(reading: Readings) -> None:
    """Only one cable is known, and it is marked: a spot far off may be of a cable that was lost."""
    alone = Readings(_marked(reading).cables[:1], _marked(reading).tips[:1])
    spots = [_spot(kind, 1500, 1100) for kind in SPOT_KINDS]
    told = _told(*spots, readings=alone)
    assert {f.check for f in told} == set(CHECK_OF.values())


def test_a_spot_keeps_its_number_when_another_is_marked(reading: Readings) -> None:
    here = reading.cables[0].axis[len(reading.cables[0].axis) // 2]
    spots = (_spot(CUT, *here), _spot(CUT, 1500, 1100))
    assert [f.of for f in _told(*spots, readings=reading)] == ["p1", "p2"]
    assert [f.of for f in _told(*spots, readings=_marked(reading))] == ["p2"]


def test_without_a_scale_places_are_told_apart_by_how_they_overlap() -> None:
    spots = (_spot(COPPER, 310, 300), _spot(COPPER, 330, 300, 0.4))
    assert len(_told(*spots)) == 1
    bare = Readings()
    told = spot_findings(shown_of(spots, Declared(), bare, 1.0, SIZE), (), None)
    assert len(told) == 1  # they overlap by a third
    apart = (_spot(COPPER, 310, 300), _spot(COPPER, 333, 300, 0.4))
    assert len(spot_findings(shown_of(apart, Declared(), bare, 1.0, SIZE), (), None)) == 2
    assert len(spot_findings(shown_of(apart, Declared(), bare, 1.0, SIZE), (), 8.0)) == 1


def test_two_looks_at_one_place_are_shown_midway() -> None:
    mine = [_finding("core-outside-grip", (100, 100, 140, 140), s) for s in ("flag", "clear")]
    theirs = [
        _finding("core-outside-grip", (110, 104, 150, 144), "unsure"),
        _finding("core-outside-enclosure", (100, 100, 140, 140), "unsure"),
    ]
    flag, clear = midway(mine, theirs, 8.0)
    assert flag.box_px == (105, 102, 145, 142)
    assert flag.state == "flag"
    assert clear == mine[1]


def test_two_places_stay_two() -> None:
    mine = [_finding("cpc-cut-short", (100, 100, 140, 140), "flag")]
    theirs = [_finding("cpc-cut-short", (400, 100, 440, 140), "clear")]
    assert midway(mine, theirs, 8.0) == mine
    assert midway(mine, [], 8.0) == mine
    (other,) = elsewhere(mine, theirs, 8.0)
    assert (other.state, other.why, other.box_px) == ("unsure", ELSEWHERE, (400, 100, 440, 140))
    assert elsewhere(mine, mine, 8.0) == []
