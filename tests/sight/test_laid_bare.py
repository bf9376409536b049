"""Copper along a core between its insulation, on drawn maps of known geometry."""

from __future__ import annotations

import numpy as np
import pytest

from audit.sight.laid_bare import BarePiece, bare_pieces
from audit.sight.types import Material, MaterialMap
from tests.sight.drawn import STEP, Drawing

CORE, CONDUCTOR = 10, 5
"""Widths, px of the map."""


def _core(material: Material = Material.BROWN) -> Drawing:
    """A core from left to right at y = 300, and a whole one above it by which the usual width is told."""
    d = Drawing()
    d.line((100, 150), (700, 150), Material.BLUE, CORE)
    d.line((100, 300), (700, 300), material, CORE)
    return d


def _bared(start: int = 380, stop: int = 400, material: Material = Material.BROWN) -> Drawing:
    d = _core(material)
    d.box((start, 290), (stop, 310), Material.ENCLOSURE)
    d.line((start, 300), (stop, 300), Material.COPPER, CONDUCTOR)
    return d


def _told(d: Drawing) -> tuple[BarePiece, ...]:
    return bare_pieces(d.map())


@pytest.mark.parametrize("material", [Material.BROWN, Material.RED, Material.BLACK])
def test_copper_between_insulation_is_plain(material: Material) -> None:
    (piece,) = _told(_bared(material=material))
    assert piece.plain
    assert piece.colour is material
    x, y = (piece.path / STEP).mean(0)
    assert (x, y) == (pytest.approx(390, abs=2), pytest.approx(300, abs=2))
    length = np.hypot(*np.diff(piece.path, axis=0).T).sum() / STEP
    assert length == pytest.approx(20, abs=5)


def test_it_is_the_same_whichever_way_the_photo_is_held() -> None:
    prob = _bared().map().prob
    (straight,) = bare_pieces(MaterialMap(prob, STEP))
    for turned in (np.rot90(prob), np.rot90(prob, 2), prob[:, ::-1]):
        (piece,) = bare_pieces(MaterialMap(np.ascontiguousarray(turned), STEP))
        assert piece.plain
        assert piece.copper == pytest.approx(straight.copper, abs=0.03)


def test_a_whole_core_has_none() -> None:
    assert _told(_core()) == ()


def test_a_stripped_end_is_none() -> None:
    """Copper that runs into a terminal has insulation on one side alone."""
    d = _bared(380, 400)
    d.box((400, 260), (760, 340), Material.TERMINAL)
    assert _told(d) == ()


def test_a_bare_conductor_that_crosses_is_none() -> None:
    d = _core()
    d.line((390, 200), (390, 420), Material.COPPER, CONDUCTOR)
    assert _told(d) == ()


def test_a_bare_conductor_that_lies_along_a_core_and_goes_on_is_not_plain() -> None:
    d = _bared()
    d.line((395, 300), (460, 200), Material.COPPER, 3)
    (piece,) = _told(d)
    assert not piece.plain


def test_of_green_and_yellow_it_is_asked() -> None:
    """It may be sleeve: then the CPC is bare between two pieces of it."""
    (piece,) = _told(_bared(material=Material.GREEN_YELLOW))
    assert not piece.plain


@pytest.mark.parametrize("pitch", [11, 13, 16, 22])
def test_two_cores_bared_side_by_side_are_told_of(pitch: int) -> None:
    """Cut through with one stroke of a knife."""
    d = _core()
    d.line((100, 300 + pitch), (700, 300 + pitch), Material.BLUE, CORE)
    d.box((380, 290), (400, 310 + pitch), Material.ENCLOSURE)
    for y in (300, 300 + pitch):
        d.line((380, y), (400, y), Material.COPPER, CONDUCTOR)
    assert {p.colour for p in _told(d)} == {Material.BROWN, Material.BLUE}


def test_copper_in_a_clear_connector_is_not_plain() -> None:
    d = _core()
    d.box((380, 270), (402, 330), Material.TERMINAL)
    d.line((380, 300), (402, 300), Material.COPPER, CONDUCTOR)
    assert not any(p.plain for p in _told(d))


def test_what_a_look_alone_shows_is_asked_and_told_once() -> None:
    sound, bared = _core().map(), _bared().map()
    (piece,) = bare_pieces(sound, bared, bared)
    assert not piece.plain
    (piece,) = bare_pieces(bared, bared, sound)
    assert piece.plain


def test_without_cores_there_is_none() -> None:
    assert bare_pieces(Drawing().map()) == ()
