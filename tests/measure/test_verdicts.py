"""Evidence weighed: what is said at which probability, and that the shipped trees take the rows."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from audit.errors import ModelsError
from audit.measure import cable_findings, verdicts
from audit.measure.contract import CheckId, FindingRecord, State
from audit.measure.scale import WorkScale
from audit.measure.verdicts import (
    CLEAR_AT,
    FLAG_AT,
    FORESTS,
    ONE_LOOK_AT,
    by_one_look,
    cut_probability,
    fault_probability,
    flag_from,
    weigh,
)
from audit.settings import Settings
from audit.sight.materials import stored
from audit.sight.readings import read_cables
from audit.sight.strands import find_strands
from audit.sight.types import CableReading
from tests.sight.drawn import Drawing, fitting, grey_image


@pytest.mark.parametrize("check", sorted(FLAG_AT))
@pytest.mark.parametrize(
    ("more", "before", "measured", "said"),
    [
        (0.01, "unsure", True, "flag"),
        (0.01, "clear", True, "flag"),
        (0.01, "unsure", False, "unsure"),
        (-0.01, "flag", True, "unsure"),
        (-0.01, "clear", False, "unsure"),
    ],
)
def test_a_flag_needs_likelihood_and_a_length(
    check: str, more: float, before: State, measured: bool, said: str
) -> None:
    assert weigh(check, FLAG_AT[check] + more, before, measured=measured) == said


def test_no_flag_of_one_look_alone_is_less_likely_than_any() -> None:
    for check, two in FLAG_AT.items():
        assert flag_from(check, 2) == two <= flag_from(check, 1)
        assert weigh(check, ONE_LOOK_AT - 0.01, "unsure", measured=True, looks=1) == "unsure"


# A CPC cut short has trees of its own (test_cpc.py).
@pytest.mark.parametrize("check", sorted(FORESTS.keys() & FLAG_AT.keys()))
def test_what_one_look_alone_has_seen_has_to_be_likelier(check: str) -> None:
    between = (FLAG_AT[check] + ONE_LOOK_AT) / 2
    assert weigh(check, between, "unsure", measured=True, looks=2) == "flag"
    assert weigh(check, between, "unsure", measured=True, looks=1) == "unsure"
    assert weigh(check, ONE_LOOK_AT, "unsure", measured=True, looks=1) == "flag"
    one = np.zeros(3, np.float32)
    assert by_one_look(one, check, between)
    assert not by_one_look(np.stack([one, one]), check, between)
    assert not by_one_look(one, check, ONE_LOOK_AT)
    assert not by_one_look(one, check, FLAG_AT[check] - 0.01)


@pytest.mark.parametrize("check", sorted(FORESTS))
def test_clear_needs_both_the_reading_and_the_evidence(check: str) -> None:
    assert weigh(check, CLEAR_AT[check] / 2, "clear", measured=False) == "clear"
    assert weigh(check, CLEAR_AT[check] / 2, "unsure", measured=False) == "unsure"
    assert weigh(check, CLEAR_AT[check] * 2, "clear", measured=False) == "unsure"


def test_the_shipped_trees_take_the_rows_of_a_reading() -> None:
    image = grey_image()
    strands, materials = find_strands(fitting(copper_mm=3.0).map(), image)
    readings = read_cables(image, materials, strands)
    assert readings.tips
    assert readings.cables
    for tip in readings.tips:
        assert tip.evidence is not None
        assert np.isfinite(tip.evidence).all()
        assert 0.0 <= fault_probability("copper-beyond-terminal", tip.evidence) <= 1.0
    for cable in readings.cables:
        assert cable.evidence is not None
        assert np.isfinite(cable.evidence).all()
        for check in ("core-outside-grip", "core-outside-enclosure", "cpc-unsleeved"):
            assert 0.0 <= fault_probability(check, cable.evidence) <= 1.0
        cut = cut_probability(cable.evidence)
        assert cut is not None
        assert 0.0 <= cut <= 1.0


def test_copper_ahead_speaks_for_the_fault() -> None:
    """The same end with 4 mm of bare copper and with none."""
    image = grey_image()
    most = []
    for copper in (4.0, 0.0):
        strands, materials = find_strands(fitting(copper_mm=copper).map(), image)
        tips = read_cables(image, materials, strands).tips
        rows = [t.evidence for t in tips if t.colour == "brown" and t.evidence is not None]
        most.append(max(fault_probability("copper-beyond-terminal", r) for r in rows))
    assert most[0] > most[1]


def test_what_was_grown_further_mends_what_was_told_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """Log-odds add up: 0.2 and 0.9 make 0.2 * 0.9 / (0.2 * 0.9 + 0.8 * 0.1)."""
    said = {"verdict-grip.npz": 0.2, "verdict-grip-further.npz": 0.9}
    monkeypatch.setattr(
        verdicts, "told_first", lambda name, rows: np.array([[1 - said[name], said[name]]])
    )
    row = np.zeros(3, np.float32)
    assert fault_probability("core-outside-grip", row) == pytest.approx(0.18 / 0.26)
    monkeypatch.setattr(verdicts, "_grown_further", lambda: False)
    assert fault_probability("core-outside-grip", row) == 0.2
    assert verdicts.cut_probability(row) is None


def test_a_row_of_another_length_is_refused() -> None:
    with pytest.raises(ModelsError, match="features") as told:
        fault_probability("core-outside-grip", np.zeros(7, np.float32))
    assert "install lidoff again" in (told.value.next_step or "")


def test_a_damaged_forest_is_named(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    damaged = tmp_path / "damaged.npz"
    damaged.write_bytes(b"no forest")
    monkeypatch.setattr("audit.sight.materials.model_path", lambda _: damaged)
    with pytest.raises(ModelsError, match="can't be read") as told:
        stored("damaged.npz", np.zeros((1, 7), np.float32))
    assert str(damaged) in told.value.one_line()
    assert "install lidoff again" in (told.value.next_step or "")


def test_an_end_that_a_mark_changed_is_not_weighed() -> None:
    """A person's mark beats the trees: the decision rule alone speaks."""
    from audit.measure.end_findings import copper_finding
    from audit.measure.scale import WorkScale
    from audit.settings import Settings

    image = grey_image()
    strands, materials = find_strands(fitting(copper_mm=4.0).map(), image)
    tip = next(t for t in read_cables(image, materials, strands).tips if t.colour == "blue")
    marked = replace(tip, evidence=None, ends_at="terminal", mouth_seen=True, copper_px=32.0)
    found = copper_finding(
        marked, "e1", WorkScale(8.0, 0.02, None, None, "core"), 1.0, (1600, 1200), Settings(), 2.0
    )
    assert found is not None
    assert found.state == "flag"


def _read_cable(drawing: Drawing) -> CableReading:
    image = drawing.image()
    strands, materials = find_strands(drawing.map(), image)
    (cable,) = read_cables(image, materials, strands).cables
    return cable


def _asked(
    monkeypatch: pytest.MonkeyPatch, cable: CableReading, check: CheckId, told: float
) -> FindingRecord:
    """What is said of a cable where the trees say `told`."""
    monkeypatch.setattr(cable_findings, "fault_probability", lambda check, row: told)
    scale = WorkScale(8.0, 0.02, None, None, "core")
    return cable_findings.cable_finding(cable, check, scale, 1.0, (1600, 1200), Settings(), False)


@pytest.mark.parametrize(
    ("told", "looks", "seen", "state"),
    [
        (0.6, 2, True, "flag"),
        (0.4, 2, True, "unsure"),
        (0.9, 2, False, "unsure"),
        (0.6, 1, True, "unsure"),
        (0.8, 1, True, "unsure"),
        (0.95, 1, True, "flag"),
    ],
)
def test_a_plain_end_of_sheath_is_flagged_where_the_line_was_not_found(
    monkeypatch: pytest.MonkeyPatch, told: float, looks: int, seen: bool, state: State
) -> None:
    """Nothing is measured then; the sheath's end must be seen, and the trees be surer than not."""
    cable = _read_cable(fitting(sheath_end=150))
    assert cable.evidence is not None
    rows = np.stack([cable.evidence] * looks)
    cable = replace(cable, grip_out=None, grip_in=None, edge_seen=seen, evidence=rows)
    found = _asked(monkeypatch, cable, "core-outside-grip", told)
    assert found.state == state
    assert found.value_mm is None


@pytest.mark.parametrize(("wall_moved", "state"), [(0.0, "clear"), (300.0, "unsure")])
def test_what_passed_the_grip_has_passed_a_wall_before_it_only(
    monkeypatch: pytest.MonkeyPatch, wall_moved: float, state: State
) -> None:
    """Sheath on both sides of the grip; the wall where it is drawn, and far behind the grip."""
    cable = _read_cable(fitting())
    assert cable.wall is not None
    wall = replace(cable.wall, at=cable.wall.at + wall_moved)
    cable = replace(cable, wall=wall, edge_seen=True)
    assert _asked(monkeypatch, cable, "core-outside-enclosure", 0.001).state == state


@pytest.mark.parametrize("check", ["core-outside-grip", "core-outside-enclosure"])
@pytest.mark.parametrize(("lead_seen", "state"), [(True, "clear"), (False, "unsure")])
def test_a_cable_followed_by_its_edges_alone_is_never_called_clear(
    monkeypatch: pytest.MonkeyPatch, check: CheckId, lead_seen: bool, state: State
) -> None:
    """That sheath runs into the grip must be seen, not supposed."""
    cable = _read_cable(fitting(sheath_end=340))
    cable = replace(cable, edge_seen=True, lead_seen=lead_seen)
    assert _asked(monkeypatch, cable, check, 0.001).state == state


@pytest.mark.parametrize(
    ("cable", "colour_score", "state"),
    [("c1", 0.9, "clear"), (None, 0.9, "unsure"), ("c1", 0.3, "unsure")],
)
def test_only_a_plain_end_of_a_known_cable_clears_copper(
    monkeypatch: pytest.MonkeyPatch, cable: str | None, colour_score: float, state: State
) -> None:
    """A scrap of blue board shows no copper either."""
    from audit.measure import end_findings
    from audit.measure.scale import WorkScale
    from audit.settings import Settings

    drawing = fitting()
    image = drawing.image()
    strands, materials = find_strands(drawing.map(), image)
    tip = next(t for t in read_cables(image, materials, strands).tips if t.colour == "blue")
    monkeypatch.setattr(end_findings, "fault_probability", lambda check, row: 0.001)
    found = end_findings.copper_finding(
        replace(tip, cable=cable, colour_score=colour_score, mouth_seen=True),
        "e1", WorkScale(8.0, 0.02, None, None, "core"), 1.0, (1600, 1200), Settings(), 2.0,
    )  # fmt: skip
    assert found is not None
    assert found.state == state


@pytest.mark.parametrize("check", ["core-outside-grip", "core-outside-enclosure"])
@pytest.mark.parametrize(("told", "state"), [(0.05, "unsure"), (0.95, "flag")])
def test_cores_that_come_to_a_line_without_sheath_are_weighed_like_others(
    monkeypatch: pytest.MonkeyPatch, check: CheckId, told: float, state: State
) -> None:
    """Two cores before the line by far more than U95: long cores of a cable beside it may be taken for such."""
    cable = _read_cable(fitting())
    cable = replace(cable, has_sheath=False, edge=None, edge_seen=False, cores=(0, 1))
    found = _asked(monkeypatch, cable, check, told)
    assert found.state == state
    assert "no sheath is in the picture" in found.why
    assert found.score == told


@pytest.mark.parametrize("told", [0.2, 0.001])
def test_what_is_in_doubt_is_shown_from_before_the_line_to_the_sheaths_end(
    monkeypatch: pytest.MonkeyPatch, told: float
) -> None:
    """The sheath was read to end past the grip: either line may be the one misplaced."""
    cable = _read_cable(fitting())
    assert cable.grip_out is not None and cable.edge is not None
    found = _asked(monkeypatch, replace(cable, lead_seen=False), "core-outside-grip", told)
    assert found.state == "unsure"
    assert found.box_px is not None
    _, top, _, bottom = found.box_px
    assert top <= cable.grip_out.points[:, 1].mean() - 4.0 * 8.0
    assert bottom >= cable.edge.points[:, 1].mean() + 1.0 * 8.0
