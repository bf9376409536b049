"""Clear for copper is given only where the map was fine enough to show the least fault."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from audit.measure.end_findings import copper_finding
from audit.measure.scale import WorkScale
from audit.settings import Settings
from audit.sight.types import Tip

SCALE = WorkScale(8.0, 0.02, None, None, "core")


def end(
    copper_px: float = 0.0, ends_at: str = "terminal", colour: str = "brown", *,
    cable: str | None = "c1", length: float = 300.0, colour_score: float = 1.0,
) -> Tip:  # fmt: skip
    path = np.array([[100.0, 400.0 - length], [100.0, 400.0]])
    copper = np.array([[100.0, 400.0], [100.0, 400.0 + copper_px]])
    return Tip(
        core=0, copper=-1, cable=cable, colour=colour, path=path, width=22.0, copper_path=copper,
        copper_px=copper_px, copper_sd=0.8, ends_at=ends_at, mouth_seen=ends_at == "terminal", confidence=1.0,
        colour_score=colour_score,
    )  # fmt: skip


def state(tip: Tip, step: float) -> str:
    found = copper_finding(tip, "e1", SCALE, 1.0, (600, 600), Settings(), step)
    assert found is not None
    return found.state


@pytest.mark.parametrize(("step", "said"), [(1.9, "clear"), (2.1, "unsure"), (4.0, "unsure")])
def test_two_pixels_of_the_map_must_lie_within_the_limit(step: float, said: str) -> None:
    """0.5 mm are 4 px of the picture at 8 px per mm: two map pixels of 2 px each."""
    assert state(end(), step) == said


def test_a_flag_does_not_hang_on_it() -> None:
    assert state(end(copper_px=24.0), 4.0) == "flag"


def test_copper_whose_terminal_is_hidden_is_flagged_only_where_it_is_plain() -> None:
    assert state(end(copper_px=24.0, ends_at="hidden"), 2.0) == "flag"
    assert state(end(copper_px=24.0, ends_at="hidden", length=100.0), 2.0) == "unsure"
    # Five widths of copper and more are another conductor's.
    assert state(end(copper_px=120.0, ends_at="hidden"), 2.0) == "unsure"


def test_copper_of_no_core_is_shown_but_not_flagged() -> None:
    assert state(end(copper_px=24.0, colour="unknown"), 2.0) == "unsure"
    assert state(end(copper_px=24.0, colour="unknown", ends_at="hidden"), 2.0) == "unsure"


@pytest.mark.parametrize("copper", [0.0, 24.0])
def test_a_stump_or_a_doubtful_colour_is_neither_flagged_nor_clear(copper: float) -> None:
    assert state(end(copper), 1.0) == ("flag" if copper else "clear")
    assert state(end(copper, length=40.0), 1.0) == "unsure"
    assert state(end(copper, colour_score=0.4), 1.0) == "unsure"
    assert state(end(copper, ends_at="open"), 1.0) == "unsure"


def test_a_core_of_no_cable_must_be_long_unless_its_colour_is_its_own() -> None:
    """Wood, rust and shadow look brown or black; nothing else in a box is green and yellow."""
    assert state(end(24.0, cable=None, length=100.0), 1.0) == "unsure"
    assert state(end(24.0, cable=None, length=100.0, colour="green-and-yellow"), 1.0) == "flag"
    assert state(end(24.0, cable=None), 1.0) == "flag"


def test_copper_where_a_core_leaves_the_picture_is_told_of_and_a_core_alone_is_not(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """At least so much is bare, wherever the terminal is: flagged where the evidence says so too, doubted else."""
    leaving = end(copper_px=24.0, ends_at="leaves_picture")
    for told, said in ((0.9, "flag"), (0.1, "unsure"), (0.001, "unsure")):
        monkeypatch.setattr(
            "audit.measure.end_findings.fault_probability", lambda *_, told=told: told
        )
        weighed = replace(leaving, evidence=np.zeros((2, 3), np.float32))
        found = copper_finding(weighed, "e1", SCALE, 1.0, (600, 600), Settings(), 1.0)
        assert found is not None
        assert found.state == said
        assert "leaves the picture" in found.why
        assert ("the least of it" in found.why) == (said == "flag")
    unknown = replace(leaving, colour="unknown", evidence=np.zeros((2, 3), np.float32))
    found = copper_finding(unknown, "e1", SCALE, 1.0, (600, 600), Settings(), 1.0)
    assert found is not None
    assert "a core that was not made out leaves the picture" in found.why
    for told, said in ((0.89, "unsure"), (0.95, "flag")):
        monkeypatch.setattr(
            "audit.measure.end_findings.fault_probability", lambda *_, told=told: told
        )
        one_look = replace(leaving, evidence=np.zeros(3, np.float32))
        found = copper_finding(one_look, "e1", SCALE, 1.0, (600, 600), Settings(), 1.0)
        assert found is not None
        assert found.state == said
    found = copper_finding(leaving, "e1", SCALE, 1.0, (600, 600), Settings(), 1.0)
    assert found is not None
    assert found.state == "unsure"
    assert "terminal in the frame" in found.why
    alone = end(ends_at="leaves_picture")
    assert copper_finding(alone, "e1", SCALE, 1.0, (600, 600), Settings(), 1.0) is None
