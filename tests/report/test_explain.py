"""Pictures of the stages: colours as named in the legend, doubt visible."""

from __future__ import annotations

import numpy as np
from PIL import Image

from audit.report.explain import materials_picture, readings_picture, strands_picture
from audit.sight.types import (
    CableReading,
    Line,
    Material,
    MaterialMap,
    Readings,
    Strand,
    Strands,
)

SIZE = (400, 200)


def material_map(sure: float) -> MaterialMap:
    prob = np.full((20, 40, len(Material)), (1 - sure) / (len(Material) - 1), np.float32)
    prob[:, :20, Material.SHEATH] = sure
    prob[:, 20:, Material.BLUE] = sure
    return MaterialMap(prob, 10.0)


def test_materials_have_their_colours_and_a_legend_below() -> None:
    picture = materials_picture(material_map(1.0), SIZE)
    assert picture.width == SIZE[0]
    assert picture.height > SIZE[1]
    assert picture.getpixel((50, 50)) == (0xC9, 0xCC, 0xD1)
    assert picture.getpixel((350, 50)) == (0x3D, 0x7D, 0xD8)


def test_doubt_is_darker() -> None:
    sure = materials_picture(material_map(1.0), SIZE).getpixel((350, 50))
    unsure = materials_picture(material_map(0.4), SIZE).getpixel((350, 50))
    assert isinstance(sure, tuple) and isinstance(unsure, tuple)
    assert sum(unsure) < 0.8 * sum(sure)


def strand() -> Strand:
    path = np.stack([np.linspace(50, 300, 40), np.full(40, 100.0)], axis=1)
    return Strand(Material.BROWN, path, np.full(40, 20.0), 0.9)


def test_strands_are_drawn_along_their_middle_and_edges() -> None:
    class SeenStrands:
        strands = Strands(cores=(strand(),))

    blank = Image.new("RGB", SIZE, "#777777")
    drawn = np.asarray(strands_picture(blank, SeenStrands()))  # type: ignore[arg-type]
    changed = np.flatnonzero((drawn[:, 150] != 0x77).any(axis=1))
    assert {90, 100, 110} <= {int(y) for y in changed}
    assert (np.asarray(blank) == 0x77).all(), "the picture given is left as it is"


def test_readings_show_lines_across_the_cable() -> None:
    path = strand().path
    edge = Line(np.array([[200.0, 80.0], [200.0, 120.0]]), 150.0, 1.0)
    cable = CableReading(
        "c1", "grey", path, np.linspace(0, 250, 40), 20.0, edge, True, None, None, None,
        "clamp", (), (), True,
    )  # fmt: skip
    readings = Readings(cables=(cable,))
    drawn = np.asarray(readings_picture(Image.new("RGB", SIZE), readings.cables))
    assert drawn[85, 200].any()
    assert not drawn[60, 350].any()
