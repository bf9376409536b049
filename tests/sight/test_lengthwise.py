"""A strand laid straight: places, what they see, and the map told again from it."""

from __future__ import annotations

import cv2
import numpy as np
import pytest

from audit.sight.lengthwise import (
    CORE_FRAME,
    GROUPS,
    SHEATH_FRAME,
    Frame,
    Strip,
    place_features,
    places,
    strips,
)
from audit.sight.relook import CORE_FOREST, SHEATH_FOREST, look_again, told_by
from audit.sight.strands import find_strands
from audit.sight.types import AnalysisImage, Material, MaterialMap, Strand, Strands
from tests.sight.drawn import Drawing, grey_image

BLUE = (0.1, 0.25, 0.6)


def scene() -> tuple[MaterialMap, AnalysisImage]:
    """A blue core on grey, from (200, 100) to (200, 300) of the map, then bare copper to 340."""
    d = Drawing()
    d.line((200, 100), (200, 300), Material.BLUE, 11)
    d.line((200, 306), (200, 340), Material.COPPER, 6)
    shown = d.map()
    rgb = np.full((1200, 1600, 3), 0.5, np.float32)
    ids = cv2.resize(d.ids, (1600, 1200), interpolation=cv2.INTER_NEAREST)
    rgb[ids == Material.BLUE] = BLUE
    rgb[ids == Material.COPPER] = (0.6, 0.35, 0.2)
    return shown, AnalysisImage(rgb**2.2, 1.0, 1.0)


def turned(shown: MaterialMap, image: AnalysisImage) -> tuple[MaterialMap, AnalysisImage]:
    """The same, a quarter turn to the left."""
    linear = np.ascontiguousarray(np.rot90(image.linear))
    prob = np.ascontiguousarray(np.rot90(shown.prob))
    return MaterialMap(prob, shown.step), AnalysisImage(linear, 1.0, 1.0)


def core_strip(shown: MaterialMap, image: AnalysisImage, frame: Frame = CORE_FRAME) -> Strip:
    strands, _ = find_strands(shown, image)
    blue = max((s for s in strands.cores if s.material is Material.BLUE), key=lambda s: s.length)
    return strips(shown, image, [blue], frame)[0]


def test_a_strip_knows_the_strands_own_colour_and_where_it_ends() -> None:
    shown, image = scene()
    strip = core_strip(shown, image)
    red, green, blue = (v**2.2 + 0.02 for v in BLUE)
    assert strip.own[1] == pytest.approx(np.log(red / green), abs=0.05)
    assert strip.own[2] == pytest.approx(np.log(blue / green), abs=0.05)
    ends = strip.path[[strip.first, strip.last]]
    assert sorted(ends[:, 1]) == pytest.approx([100, 303], abs=8)


@pytest.mark.parametrize("frame", [CORE_FRAME, SHEATH_FRAME])
def test_every_place_is_given_once_and_lies_where_its_strip_says(frame: Frame) -> None:
    shown, image = scene()
    strip = core_strip(shown, image, frame)
    y, x, which, u, v = places([strip], shown.prob.shape[:2])
    assert len(set(zip(y.tolist(), x.tolist(), strict=True))) == len(y)
    assert set(which.tolist()) == {0}
    assert np.abs(v).max() <= frame.aside
    foot = strip.path[u.astype(int)]
    away = np.hypot(x - foot[:, 0], y - foot[:, 1])
    assert np.abs(away - np.abs(v)).max() < 0.8


def test_a_place_belongs_to_the_strand_it_lies_on() -> None:
    """A second strand that points at the first one's end does not take it."""
    shown, image = scene()
    strip = core_strip(shown, image)
    path = np.stack([np.full(80, 401.0), np.linspace(780, 960, 80)], -1)
    below = Strand(Material.BLUE, path, np.full(80, 22.0), 0.9)
    both = [strip, *strips(shown, image, [below])]
    y, x, which, *_ = places(both, shown.prob.shape[:2])
    assert which[(y == 250) & (x == 200)].tolist() == [0]
    assert which[(y == 430) & (x == 200)].tolist() == [1]


def test_a_quarter_turn_of_the_photo_changes_no_description() -> None:
    shown, image = scene()
    told = []
    for m, i in ((shown, image), turned(shown, image)):
        strip = core_strip(m, i)
        last = strip.first if strip.planes[strip.first - 20, 24, 1] > 0 else strip.last
        sign = -1.0 if last == strip.first else 1.0
        u = last + sign * np.array([-40.0, 0.0, 14.0, 40.0])
        told.append(place_features(strip, u, np.zeros(4), m.step))
    # The map is made anew at the turned picture's grain, which differs by half a px at an edge.
    assert np.median(np.abs(told[0] - told[1])) < 0.01
    assert np.quantile(np.abs(told[0] - told[1]), 0.9) < 0.12


def test_the_second_look_changes_only_what_lies_by_strands() -> None:
    shown, image = scene()
    strands, materials = find_strands(shown, image)
    copper = GROUPS.index((Material.COPPER,))

    def all_copper(_forest: str, rows: np.ndarray) -> np.ndarray:
        return np.eye(len(GROUPS), dtype=np.float32)[np.full(len(rows), copper)]

    again = look_again(materials, image, strands, all_copper)
    assert again.ids[200, 200] == Material.COPPER
    assert np.array_equal(again.prob[500:, 600:], materials.prob[500:, 600:])
    assert np.allclose(again.prob.sum(-1), 1.0, atol=1e-4)


def test_a_core_stays_the_colour_of_its_strand() -> None:
    shown, image = scene()
    strands, materials = find_strands(shown, image)

    def all_core(_forest: str, rows: np.ndarray) -> np.ndarray:
        return np.eye(len(GROUPS), dtype=np.float32)[np.full(len(rows), 1)]

    again = look_again(materials, image, strands, all_core)
    assert again.ids[200, 200] == Material.BLUE


@pytest.mark.parametrize("forest", [CORE_FOREST, SHEATH_FOREST])
def test_the_shipped_forests_take_what_is_described(forest: str) -> None:
    shown, image = scene()
    strip = core_strip(shown, image)
    rows = place_features(strip, np.array([strip.first + 20.0]), np.zeros(1), shown.step)
    told = told_by(forest, rows)
    assert told.shape == (1, len(GROUPS))
    assert told.sum() == pytest.approx(1.0, abs=1e-4)


def test_nothing_found_is_nothing_changed() -> None:
    empty = Drawing().map()
    strands, materials = find_strands(empty, grey_image())
    assert np.array_equal(look_again(materials, grey_image(), strands).prob, materials.prob)


def stubs(at_their_cores: bool) -> Drawing:
    """Two pieces of copper in one line with a core crossing between them.

    Each starts at the end of an insulated core, or runs on from nothing.
    """
    d = Drawing()
    d.box((20, 20), (780, 580), Material.ENCLOSURE)
    if at_their_cores:
        d.line((100, 200), (290, 200), Material.BLUE, 11)
        d.line((410, 200), (600, 200), Material.BLUE, 11)
    d.box((296, 198), (404, 202), Material.COPPER)
    d.line((350, 60), (350, 400), Material.BROWN, 12)
    return d


@pytest.mark.parametrize(("at_their_cores", "number"), [(True, 2), (False, 1)])
def test_a_stripped_end_is_not_joined_with_the_next_one(at_their_cores: bool, number: int) -> None:
    strands, _ = find_strands(stubs(at_their_cores).map(), grey_image())
    assert len(strands.coppers) == number


def test_a_strand_across_a_whole_photo_has_more_places_than_are_described_at_once() -> None:
    """57,000 places: the picture library lays out fewer than 32,768 rows in one call."""
    prob = np.zeros((1700, 200, 15), np.float32)
    prob[..., Material.OTHER] = 1.0
    rgb = np.full((3400, 400, 3), 0.5, np.float32)
    path = np.stack([np.full(1600, 200.0), np.linspace(100, 3300, 1600)], -1)
    long = Strand(Material.SHEATH, path, np.full(1600, 56.0), 0.9)
    image = AnalysisImage(rgb, 1.0, 1.0)
    told = []

    def all_sheath(_forest: str, rows: np.ndarray) -> np.ndarray:
        told.append(len(rows))
        return np.eye(len(GROUPS), dtype=np.float32)[np.full(len(rows), 6)]

    again = look_again(MaterialMap(prob, 2.0), image, Strands(sheaths=(long,)), all_sheath)
    assert sum(told) > 40_000
    assert max(told) < 32_768
    assert again.ids[800, 100] == Material.SHEATH
