"""Sizes and resistances of cables, from `models/cables.toml`, with the source of each."""

from __future__ import annotations

from functools import cache
from typing import Any

from pydantic import BaseModel, ConfigDict, Field

from audit.resources import load_toml


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Conductor(_Row):
    """One conductor size.

    `mm2` is the nominal area; `r_class1` and `r_class5` are the maximum
    resistance of plain copper at 20 °C in Ω/km (IEC 60228; class 1 solid, class 5
    flexible); `d_*` are diameters in mm, `strand` the largest wire of class 5.
    """

    mm2: float
    r_class1: float
    r_class5: float
    d_geometric: float
    d_max_class1: float
    d_max_class5: float
    strand: float

    def r20(self, kind: int = 1) -> float:
        """Ω/m at 20 °C of the solid (1) or flexible (5) conductor."""
        return (self.r_class1 if kind == 1 else self.r_class5) / 1000


class Cable(_Row):
    """One cable: diameters in mm, areas in mm², cores in the order they lie."""

    name: str
    also: tuple[str, ...]
    shape: str
    sources: tuple[str, ...]
    edition: str
    conductor_mm2: float
    cpc_mm2: float
    conductor_class: int = Field(alias="class")
    conductor_mm: float
    cpc_mm: float
    insulation_mm: float
    sheath_mm: float
    core_mm: float
    overall_min_mm: tuple[float, float]
    overall_max_mm: tuple[float, float]
    overall_typical_mm: tuple[float, float]
    cores: tuple[str, ...]


@cache
def _tables() -> tuple[dict[float, Conductor], tuple[Cable, ...]]:
    data: dict[str, Any] = load_toml("cables.toml")
    conductors = [Conductor.model_validate(r) for r in data["conductor"]]
    cables = tuple(Cable.model_validate(r) for r in data["cable"])
    return {c.mm2: c for c in conductors}, cables


def conductors() -> tuple[Conductor, ...]:
    """All conductor sizes, smallest first."""
    return tuple(_tables()[0].values())


def conductor(mm2: float) -> Conductor | None:
    """The conductor of that nominal area, or None where it is no size of the table."""
    return _tables()[0].get(mm2)


def cables() -> tuple[Cable, ...]:
    """All cables."""
    return _tables()[1]


def _key(text: str) -> str:
    plain = text.casefold().replace("mm²", "").replace("mm2", "").replace("mm", "")
    plain = plain.replace("twin and earth", "t&e").replace("×", "x")
    return "".join(plain.split())


@cache
def _names() -> dict[str, Cable]:
    return {_key(n): c for c in cables() for n in (c.name, *c.also)}


def cable(name: str) -> Cable | None:
    """The cable a person means by `name` (`1.5 T&E`, `1.5mm² t&e`, `flex 3x0.75`), or None.

    Examples
    --------
    >>> cable("1.5 mm² T&E").conductor_mm
    1.382
    """
    return _names().get(_key(name))
