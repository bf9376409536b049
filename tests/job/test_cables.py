"""The cable table: names people write, and figures that agree with each other and with copper."""

from __future__ import annotations

import math

import pytest

from audit.job.cables import cable, cables, conductor, conductors
from audit.resources import load_toml


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("1.5 T&E", "1.5 T&E"), ("1.5mm² twin and earth", "1.5 T&E"), ("1.5mm2 t&e", "1.5 T&E"),
        ("1 T&E", "1.0 T&E"), ("2.5", "2.5 T&E"), ("6242Y 1.0", "1.0 T&E"), ("flex-0.75", "flex 3x0.75"),
        ("FLEX 3×1.0", "flex 3x1.0"),
    ],
)  # fmt: skip
def test_names(text: str, name: str) -> None:
    found = cable(text)
    assert found is not None and found.name == name


@pytest.mark.parametrize("text", ["", "15", "bell wire", "3.5 T&E"])
def test_unknown_names(text: str) -> None:
    assert cable(text) is None


def test_no_two_cables_share_a_name() -> None:
    names = [n.casefold().replace(" ", "") for c in cables() for n in (c.name, *c.also)]
    assert len(names) == len(set(names))


@pytest.mark.parametrize("row", conductors(), ids=lambda c: f"{c.mm2:g}")
def test_resistance_agrees_with_copper(row: object) -> None:
    """IEC 60228 judges the area by resistance: 17.241 Ω mm²/km over R is a little below nominal."""
    from audit.job.cables import Conductor

    assert isinstance(row, Conductor)
    area = 17.241 / row.r_class1
    assert 0.92 * row.mm2 < area < 1.0 * row.mm2
    assert row.r_class5 > row.r_class1
    wire = 2 * math.sqrt(row.mm2 / math.pi)
    assert wire < row.d_max_class1 < row.d_max_class5 < 1.6 * wire


@pytest.mark.parametrize("row", cables(), ids=lambda c: c.name)
def test_each_cable_is_consistent(row: object) -> None:
    from audit.job.cables import Cable

    assert isinstance(row, Cable)
    size = conductor(row.conductor_mm2)
    assert size is not None
    widest = size.d_max_class1 if row.conductor_class == 1 else size.d_max_class5
    assert row.conductor_mm <= widest
    assert row.core_mm == pytest.approx(row.conductor_mm + 2 * row.insulation_mm, abs=0.02)
    for low, typical, high in zip(
        row.overall_min_mm, row.overall_typical_mm, row.overall_max_mm, strict=True
    ):
        assert low <= typical <= high
    thick = row.core_mm + 2 * row.sheath_mm
    assert (
        row.overall_min_mm[0] - 0.3 <= thick <= row.overall_max_mm[0] + 0.3 or row.shape == "round"
    )
    assert all(s in load_toml("cables.toml")["source"] for s in row.sources)
