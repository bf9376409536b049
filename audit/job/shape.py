"""What the models of declared facts accept at a place: field names, kinds, units, words.

Read from the models themselves, so that messages, the columns of
`fittings.csv` and the published schema can't drift from them.
"""

from __future__ import annotations

import types
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from audit.job.declaration import Declaration
from audit.job.fields import Quantity
from audit.job.fitting import Fitting
from audit.job.table import heading_key


@dataclass(frozen=True)
class Kind:
    """What one field holds.

    Parameters
    ----------
    base : str
        `number`, `whole number`, `yes or no`, `text`, `list`, `table` or `other`.
    unit : str
        Unit of a number as shown to a person, or empty.
    words : tuple of str
        The words allowed, where only some are.
    model : type or None
        Model of a table, or of the elements of a list of tables.
    """

    base: str
    unit: str = ""
    words: tuple[str, ...] = ()
    model: type[BaseModel] | None = None


_BASES: dict[Any, str] = {float: "number", int: "whole number", bool: "yes or no", str: "text"}


@cache
def fields_of(model: type[BaseModel]) -> dict[str, FieldInfo]:
    """Fields of a model by the names that a job file uses."""
    return {info.alias or name: info for name, info in model.model_fields.items()}


@cache
def kinds_of(model: type[BaseModel]) -> dict[str, Kind]:
    """Kind of each field of a model, by the names that a job file uses."""
    return {n: _kind(i.annotation, tuple(i.metadata)) for n, i in fields_of(model).items()}


def _kind(annotation: Any, metadata: tuple[Any, ...] = ()) -> Kind:
    origin = get_origin(annotation)
    if origin is Annotated:
        inner, *more = get_args(annotation)
        return _kind(inner, (*metadata, *more))
    if origin in {Union, types.UnionType}:
        rest = [a for a in get_args(annotation) if a is not type(None)]
        return _kind(rest[0], metadata) if len(rest) == 1 else Kind("other")
    if origin is Literal:
        return Kind("text", words=tuple(str(w) for w in get_args(annotation)))
    if origin is tuple:
        inner = get_args(annotation)[0]
        element = _kind(inner)
        return Kind("list", words=element.words, model=element.model)
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return Kind("table", model=annotation)
    unit = next((m.unit for m in metadata if isinstance(m, Quantity)), "")
    return Kind(_BASES.get(annotation, "other"), unit=unit)


def quantity_of(info: FieldInfo) -> Quantity | None:
    """Bounds and unit of a number, where its field has them."""
    pending: list[Any] = [info.annotation, *info.metadata]
    while pending:
        part = pending.pop()
        if isinstance(part, Quantity):
            return part
        if get_origin(part) in {Annotated, Union, types.UnionType}:
            pending.extend(get_args(part))
    return None


def kind_at(model: type[BaseModel], path: tuple[str | int, ...]) -> tuple[type[BaseModel], Kind]:
    """The table that `path` ends in, and the kind of what stands there.

    Parameters
    ----------
    model : type
        Where the path begins.
    path : tuple of str or int
        Field names and indices.
    """
    kind = Kind("table", model=model)
    table = model
    for step in path:
        if isinstance(step, int):
            base = "table" if kind.model else "other"
            kind = Kind(base, words=kind.words, model=kind.model)
            continue
        if kind.model is not None:
            table = kind.model
        kind = kinds_of(table).get(step, Kind("other"))
    return table, kind


def misplaced(
    model: type[BaseModel], data: Any, path: tuple[str | int, ...] = ()
) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Paths in `data` that no field takes (`unknown`) or that hold yes or no for a number (`bool`).

    The second because the validator would take true for 1.
    """
    if not isinstance(data, dict):
        return
    kinds = kinds_of(model)
    for key, value in data.items():
        here = (*path, key)
        kind = kinds.get(key)
        if kind is None:
            yield here, "unknown"
        elif kind.base == "table" and kind.model:
            yield from misplaced(kind.model, value, here)
        elif kind.base == "list" and kind.model and isinstance(value, list):
            for index, element in enumerate(value):
                yield from misplaced(kind.model, element, (*here, index))
        elif isinstance(value, bool) and kind.base in {"number", "whole number"}:
            yield here, "bool"


_ALSO = {
    "label": ("fitting", "fitting_label", "light", "downlight", "ref", "reference", "no", "id"),
    "room": ("room_name", "location"),
    "circuit": ("circuit_id",),
    "model": ("type", "fitting_model"),
    "ip": ("ip_rating", "ip_code"),
    "protection_class": ("class", "insulation_class"),
    "fire_min": ("fire_rating", "fire_minutes", "fire_rating_min"),
    "lamp_w": ("lamp", "lamp_power_w", "watts", "wattage_w"),
    "max_lamp_w": ("max_lamp", "max_w", "maximum_lamp_w"),
    "height_m": ("height",),
    "voltage_v": ("voltage", "volts"),
    "hole_mm": ("hole", "hole_diameter_mm"),
    "cable": ("cable_size",),
    "cables": ("number_of_cables", "no_of_cables", "cable_count"),
    "x_m": ("x",),
    "y_m": ("y",),
    "from_bath_m": ("from_bath", "distance_to_bath_m", "distance_from_bath_m"),
    "from_outlet_m": ("from_outlet", "distance_to_outlet_m", "distance_from_outlet_m"),
}
"""Other headings that mean a field without doubt."""


_ALSO_DECLARED = {
    "fitting": ("label", "fitting_label", "light", "downlight"),
    "check": ("check_id", "item"),
    "says": ("declares", "judgement", "found"),
    "by": ("fitter", "name", "declared_by"),
}


@cache
def columns(model: type[BaseModel] = Fitting) -> dict[str, str]:
    """Every heading a table of this model may have, as `heading_key` gives it, to its field."""
    names = {heading_key(name): name for name in fields_of(model)}
    also = _ALSO_DECLARED if model is Declaration else _ALSO
    for name, others in also.items():
        for other in others:
            names.setdefault(other, name)
    return names
