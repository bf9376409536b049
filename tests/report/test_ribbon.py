"""The ribbon is to scale. XML well-formedness by the standard library's parser."""

from __future__ import annotations

import xml.etree.ElementTree as ET

import pytest

from audit.measure.contract import CableRecord, EntryRecord, SegmentRecord
from audit.report.lanes import lay_out, path_length
from audit.report.ribbon import PX_PER_MM, in_words, ribbon_svg
from tests.report import samples

SVG = "{http://www.w3.org/2000/svg}"


def drawn(cable: CableRecord) -> ET.Element:
    return ET.fromstring(ribbon_svg(cable, "r1"))


def rects(svg: ET.Element) -> dict[str, ET.Element]:
    found = {}
    for rect in svg.iter(f"{SVG}rect"):
        title = rect.find(f"{SVG}title")
        if title is not None and title.text:
            found[title.text] = rect
    return found


def test_lengths_are_to_scale() -> None:
    found = rects(drawn(samples.cable()))
    assert float(found["grey sheath 10.0 mm"].attrib["width"]) == pytest.approx(10 * PX_PER_MM)
    assert float(found["copper 2.0 mm"].attrib["width"]) == pytest.approx(2 * PX_PER_MM)
    start = float(found["grey sheath 10.0 mm"].attrib["x"])
    brown = float(found["brown core 18.0 mm"].attrib["x"])
    assert brown - start == pytest.approx(10 * PX_PER_MM)


def test_core_its_copper_and_terminal_share_a_lane_and_cores_do_not() -> None:
    strip = lay_out(samples.cable())
    assert strip is not None
    lanes = {(p.segment.what, p.segment.colour): p.lane for p in strip.placed}
    assert strip.lanes == 2
    assert lanes["core", "brown"] == lanes["copper", None] == lanes["terminal", None]
    assert lanes["core", "brown"] != lanes["core", "blue"]
    assert lanes["grip", None] is lanes["wall", None] is lanes["sheath", "grey"] is None


def test_dimension_of_core_outside_the_grip_is_drawn_and_zero_is_not() -> None:
    text = "".join(drawn(samples.cable()).itertext())
    assert "core outside the grip 6.0 ± 0.6 mm" in text
    assert "core outside the enclosure" not in text


def test_core_outside_the_enclosure_is_drawn_where_the_grip_sits_at_the_wall() -> None:
    cable = samples.cable()
    unwalled = tuple(s for s in cable.reading if s.what != "wall")
    outside = {"reading": unwalled, "core_outside_enclosure_mm": cable.core_outside_grip_mm}
    text = "".join(drawn(cable.model_copy(update=outside)).itertext())
    assert "core outside the enclosure 6.0 ± 0.6 mm" in text


def test_cores_that_count_from_the_sheaths_edge_are_put_behind_it() -> None:
    wall, sheath, core = (
        samples.segment("grip", None, 0, 7),
        samples.segment("sheath", "white", -228, 14),
        samples.segment("core", "brown", 0, 30),
    )
    cable = samples.cable().model_copy(update={"reading": (sheath, wall, core)})
    strip = lay_out(cable)
    assert strip is not None
    places = {p.segment.what: (p.start, p.stop) for p in strip.placed}
    assert places["core"] == (14, 44)
    assert places["sheath"] == (-25, 14), "what lies far outside is left out"
    assert strip.cut


def test_a_core_that_is_bare_all_along_has_a_lane_of_its_own() -> None:
    reading = (
        samples.segment("sheath", "grey", 0, 10),
        samples.segment("core", "brown", 0, 20),
        samples.segment("copper", "bare", 0, 18),
        samples.segment("core", "blue", 0, 19),
    )
    strip = lay_out(samples.cable().model_copy(update={"reading": reading}))
    assert strip is not None
    assert [p.lane for p in strip.placed] == [None, 0, 1, 2]


def test_words_follow_the_reading() -> None:
    assert in_words(samples.cable()).startswith(
        "grey sheath 10.0 mm, wall 1.0 mm, grip 4.0 mm, brown"
    )


@pytest.mark.parametrize("path", [((0.0, 0.0), (3.0, 4.0)), ()])
def test_without_mm_it_says_so(path: tuple[tuple[float, float], ...]) -> None:
    cable = CableRecord(
        id="c1",
        sheath="white",
        entry=EntryRecord(kind="unknown"),
        reading=tuple(
            SegmentRecord(what=w, colour=c, path_px=path)
            for w, c in (("sheath", "white"), ("core", "brown"), ("core", "blue"))
        ),
    )
    text = "".join(drawn(cable).itertext())
    assert "not to scale" in text


def test_nothing_read_draws_nothing() -> None:
    cable = CableRecord(id="c1", sheath="white", entry=EntryRecord(kind="unknown"))
    assert ribbon_svg(cable, "r1") == ""
    assert in_words(cable) == "nothing was read along this cable"


def test_path_length_is_pythagorean() -> None:
    assert path_length([(0, 0), (3, 4), (3, 10)]) == pytest.approx(11)


def test_a_short_cable_is_drawn_as_large_as_others_and_its_words_stand_apart() -> None:
    """Pages show a ribbon 300 px wide at least: 4 mm of sheath alone must not be stretched to that."""
    sheath = next(s for s in samples.cable().reading if s.what == "sheath")
    short = sheath.model_copy(update={"from_mm": 0.0, "to_mm": 4.0})
    alone = {"reading": (short,), "core_outside_grip_mm": None, "core_outside_enclosure_mm": None}
    svg = drawn(samples.cable().model_copy(update=alone))
    assert float(svg.attrib["width"]) >= 300
    at = {t.text: float(t.attrib["x"]) for t in svg.iter(f"{SVG}text")}
    # Words of at most 8 drawing units a letter; "inside" ends where it stands.
    assert at["inside"] - 8 * len("inside") > at["outside"] + 8 * len("outside")
