"""What a bare piece of a core adds to the answers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from audit.measure.bare_findings import OTHER_SHARE, PLAIN_SHARE, bare_findings
from audit.measure.contract import FindingRecord
from audit.sight.laid_bare import BarePiece
from audit.sight.types import Material

SIZE = (1600, 1200)
HERE, AWAY = (395.0, 290.0, 435.0, 310.0), (900.0, 290.0, 940.0, 310.0)


def _piece(plain: bool, x: float = 400.0) -> BarePiece:
    path = np.array([[x, 300.0], [x + 30, 300.0]])
    return BarePiece(Material.BROWN, path, 20.0, 0.8, plain)


def _finding(state: Any, box: tuple[float, ...], check: Any = "copper-beyond-terminal") -> Any:
    return FindingRecord(check=check, of="e1", state=state, box_px=box, score=0.3, why="")


def _told(said: list[FindingRecord], *pieces: BarePiece) -> list[FindingRecord]:
    return bare_findings(pieces, said, 1.0, SIZE)


@pytest.mark.parametrize(("plain", "state"), [(True, "flag"), (False, "unsure")])
def test_a_plain_piece_is_flagged_another_asked(plain: bool, state: str) -> None:
    (told,) = _told([], _piece(plain))
    assert (told.check, told.of, told.state) == ("copper-beyond-terminal", "b1", state)
    assert told.score == (PLAIN_SHARE if plain else OTHER_SHARE)
    assert told.value_mm is None
    x0, y0, x1, y1 = told.box_px or (0, 0, 0, 0)
    assert x0 < 400 and x1 > 430 and y0 < 300 < y1


@pytest.mark.parametrize("plain", [True, False])
def test_a_flag_there_is_enough(plain: bool) -> None:
    assert _told([_finding("flag", HERE)], _piece(plain)) == []
    wide = (300.0, 200.0, 600.0, 400.0)
    assert _told([_finding("flag", wide)], _piece(plain)) == []


def test_where_it_is_in_doubt_already_only_a_plain_piece_is_told() -> None:
    said = [_finding("unsure", HERE)]
    assert _told(said, _piece(False)) == []
    (told,) = _told(said, _piece(True))
    assert told.state == "flag"


@pytest.mark.parametrize("plain", [True, False])
def test_a_clear_answer_there_does_not_silence_it(plain: bool) -> None:
    """The core's end may be sound a millimetre from where its insulation is missing."""
    assert len(_told([_finding("clear", HERE)], _piece(plain))) == 1


@pytest.mark.parametrize("state", ["flag", "unsure"])
def test_the_next_core_says_nothing_of_it(state: str) -> None:
    """Its end lies 2.9 mm beside the piece, at 8 px a mm."""
    beside = (395.0, 313.2, 435.0, 333.2)
    assert len(_told([_finding(state, beside)], _piece(True), _piece(False, 380.0))) == 2


def test_other_checks_say_nothing_of_it() -> None:
    assert len(_told([_finding("flag", HERE, "core-outside-grip")], _piece(True))) == 1


def test_each_piece_has_a_name_of_its_own() -> None:
    told = _told([], _piece(True), _piece(False, 900.0))
    assert [f.of for f in told] == ["b1", "b2"]
