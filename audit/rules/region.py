"""Regions: the values of `models/regions/*.toml`, each on its base, each with its source."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.errors import ModelsError, Where
from audit.resources import load_toml, models_dir
from audit.rules.types import Source, Value, Verified

BASE = "international"


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class RegionHead(_Row):
    """The `[region]` table of a region file."""

    id: str = Field(pattern=r"^[a-z][a-z0-9-]{1,31}$")
    name: str
    base: str = ""
    wiring_rules: str = ""
    current_edition: str = ""
    nation: str = ""
    note: str = ""
    without: tuple[str, ...] = ()


class SourceRow(_Row):
    """A `[[source]]` table: a standard, read so far."""

    id: str
    standard: str
    edition: str
    clause: str
    verified: Verified


class ValueRow(_Row):
    """A `[[value]]` table: one limit."""

    id: str
    value: bool | float | str
    unit: str = ""
    stricter: Literal["higher", "lower", ""] = ""
    source: str
    clause: str = ""
    gist: str = ""


class RegionFile(_Row):
    """A whole region file."""

    schema_: Literal["lidoff.region/1"] = Field(alias="schema")
    region: RegionHead
    source: tuple[SourceRow, ...] = ()
    value: tuple[ValueRow, ...] = ()


@dataclass(frozen=True)
class Region:
    """A region with everything it takes over from those it is built on.

    Parameters
    ----------
    id, name : str
    chain : tuple of str
        The region itself, then its bases, nearest first.
    wiring_rules : str
        As `BS 7671`; empty where it has none of its own.
    current_edition : str
        Edition in force as far as known.
    values : mapping of str to Value
    note : str
    """

    id: str
    name: str
    chain: tuple[str, ...]
    wiring_rules: str
    current_edition: str
    values: Mapping[str, Value] = field(default_factory=dict)
    note: str = ""

    def with_values(self, values: Iterable[Value]) -> Region:
        """A copy in which `values` replace those of the same identity."""
        return replace(self, values={**self.values, **{v.id: v for v in values}})


def source_of(row: ValueRow, sources: Mapping[str, SourceRow]) -> Source:
    """The source of a value, with its own clause where it gives one.

    Raises
    ------
    KeyError
        When the named source is not in the file.
    """
    named = sources[row.source]
    return Source(
        named.standard, named.edition, row.clause or named.clause, named.verified, row.gist
    )


def build(data: RegionFile, base: Region | None, sources: Mapping[str, SourceRow]) -> Region:
    """A region from its file and its base."""
    head = data.region
    inherited = (
        {} if base is None else {k: v for k, v in base.values.items() if k not in head.without}
    )
    own = {
        row.id: Value(row.id, row.value, row.unit, source_of(row, sources), head.id, row.stricter)
        for row in data.value
    }
    return Region(
        head.id,
        head.name,
        (head.id, *(base.chain if base else ())),
        head.wiring_rules or (base.wiring_rules if base else ""),
        head.current_edition,
        {**inherited, **own},
        head.note,
    )


def region_ids() -> tuple[str, ...]:
    """Identities of the shipped regions."""
    return tuple(sorted(p.stem for p in (models_dir() / "regions").glob("*.toml")))


@cache
def shipped(region_id: str) -> Region:
    """One shipped region.

    Raises
    ------
    ModelsError
        When its file is missing or not as it should be.
    """
    name = f"regions/{region_id}.toml"
    raw: dict[str, Any] = load_toml(name)
    try:
        data = RegionFile.model_validate(raw)
        base = shipped(data.region.base) if data.region.base else None
        return build(data, base, {s.id: s for s in data.source})
    except (ValidationError, KeyError) as exc:
        raise ModelsError(f"not a region ({exc})", Where(name), "install lidoff again") from exc


def find_region(region_id: str, own: Region | None = None) -> tuple[Region, bool]:
    """The region asked for, or the base where it is not known.

    Parameters
    ----------
    region_id : str
    own : Region or None
        A region of a house file.

    Returns
    -------
    region : Region
    known : bool
        False when the base stands in for an unknown one.
    """
    wanted = region_id.strip().casefold()
    if own is not None and wanted == own.id:
        return own, True
    if wanted in region_ids():
        return shipped(wanted), True
    return shipped(BASE), False
