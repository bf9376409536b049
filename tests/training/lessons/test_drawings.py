"""Drawings: right figures, told in words, and made from data."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest

from audit.errors import ModelsError
from audit.rules.region import shipped
from audit.training.lessons.drawings import draw
from audit.training.lessons.drawings.decide import says
from audit.training.lessons.drawings.supply import dropped
from audit.training.lessons.texts import Drawing, lessons

ALL = [(e, p) for e in lessons() for p in e.picture if isinstance(p, Drawing)]
ENGLAND = shipped("gb-eng")


@pytest.mark.parametrize(("lesson", "picture"), ALL, ids=lambda x: getattr(x, "drawing", ""))
def test_it_is_an_svg_that_loads_nothing(lesson: object, picture: Drawing) -> None:
    made = draw(picture.drawing, picture.data, ENGLAND)
    root = ElementTree.fromstring(made)
    assert root.tag.endswith("svg")
    assert not re.search(r"href|url\((?!#)|<image|<script", made)
    wide, tall = (float(n) for n in root.attrib["viewBox"].split()[2:])
    for text in root.iter("{http://www.w3.org/2000/svg}text"):
        if "x" in text.attrib and float(text.attrib["x"]):
            assert -1 <= float(text.attrib["x"]) <= wide
            assert 0 <= float(text.attrib["y"]) <= tall


def test_voltage_drop_adds_up_leg_by_leg() -> None:
    # Worked by hand: 29 mV/A/m (BS 7671 appendix 4, Table 4D5, from memory), 10 m at 3 A, then
    # 5 m at 2 A, then 5 m at 1 A: 0.87 + 0.29 + 0.145 V.
    lost = dropped([10.0, 5.0, 5.0], [1.0, 1.0, 1.0], 29.0)
    assert lost == pytest.approx([0.87, 1.16, 1.305])


def test_the_drop_drawn_stays_below_its_limit() -> None:
    picture = next(p for _, p in ALL if p.drawing == "volt-drop")
    made = draw("volt-drop", picture.data, ENGLAND)
    # 3 % of 230 V is 6.9 V (Table 4Ab, read in a secondary text).
    assert "limit for lighting 6.9 V" in made
    shown = [float(n) for n in re.findall(r">(\d\.\d\d)<", made)]
    assert shown == sorted(shown)
    assert shown[-1] < 6.9


def test_zones_are_drawn_with_the_regions_figures() -> None:
    picture = next(p for _, p in ALL if p.drawing == "zones-section")
    made = draw("zones-section", picture.data, ENGLAND)
    assert ">2.25 m<" in made
    assert ">0.6 m<" in made


@pytest.mark.parametrize(
    ("value", "u95", "said"), [(2.1, 0.4, "flag"), (0.8, 0.5, "unsure"), (0.2, 0.2, "unsure")]
)
def test_a_length_alone_never_says_no_fault(value: float, u95: float, said: str) -> None:
    # JCGM 106 (from memory): only beyond the guard band is it decided.
    assert says(value, u95, 0.5) == said


@pytest.mark.parametrize(
    ("name", "data"),
    [
        ("no-such", {}),
        ("volt-drop", {}),
        ("chain", {"fittings": ["A"], "cpc_ends_in": "Z"}),
        ("ribbon", {"sheath": "grey", "segments": [["rope", "", 0.0, 1.0]]}),
        ("zones-plan", {"room": {"name": "R", "kind": "no such kind"}}),
    ],
)  # fmt: skip
def test_data_that_do_not_fit_are_told(name: str, data: dict[str, object]) -> None:
    with pytest.raises(ModelsError) as caught:
        draw(name, data, ENGLAND)
    assert name in caught.value.one_line()
    assert "\n" not in caught.value.one_line()
