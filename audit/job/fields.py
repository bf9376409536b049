"""Field types of the declared facts: bounded quantities with units, labels, words, lists.

A number outside its bounds is asked about, never corrected: 1700 in a field in
metres is answered with the question whether millimetres were meant.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, GetJsonSchemaHandler
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from audit.job.ipcode import IpCodeError, parse_ip

LABEL_LENGTH = 64


class Declared(BaseModel):
    """Base of all declared facts: frozen, no unknown fields, no infinities."""

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        populate_by_name=True,
        str_strip_whitespace=True,
        allow_inf_nan=False,
    )


def _number_text(value: float) -> str:
    return f"{value:g}"


@dataclass(frozen=True)
class Quantity:
    """Bounds of a number, with its unit, so that a wrong one is answered in those words.

    Parameters
    ----------
    unit : str
        Unit as shown to a person.
    low, high : float
        Both inclusive.
    """

    unit: str
    low: float
    high: float

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> CoreSchema:
        """Schema of a float (or int) followed by the check of bounds."""
        return core_schema.no_info_after_validator_function(self._check, handler(source))

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> dict[str, Any]:
        """JSON Schema with `minimum` and `maximum`."""
        return {**handler(schema), "minimum": self.low, "maximum": self.high}

    def _check(self, value: float) -> float:
        if math.isfinite(value) and self.low <= value <= self.high:
            return value
        unit = f" {self.unit}" if self.unit else ""
        text = (
            f"{_number_text(value)}{unit} is outside"
            f" {_number_text(self.low)} to {_number_text(self.high)}{unit}"
        )
        if self.unit == "m" and self.low <= value / 1000 <= self.high and value > self.high:
            text += f"; were millimetres meant? then write {_number_text(value / 1000)}"
        elif self.unit == "mm" and 0 < value < self.low <= value * 1000 <= self.high:
            text += f"; were metres meant? then write {_number_text(value * 1000)}"
        raise PydanticCustomError("out_of_range", "{text}", {"text": text})


def _printable(value: str) -> str:
    if not 1 <= len(value) <= LABEL_LENGTH:
        raise PydanticCustomError(
            "label_length", "must have 1 to {n} characters", {"n": LABEL_LENGTH}
        )
    if not value.isprintable():
        raise PydanticCustomError("label_characters", "holds characters that can't be printed")
    return value


def _fold(value: Any) -> Any:
    return " ".join(value.split()).casefold() if isinstance(value, str) else value


def _split(value: Any) -> Any:
    # A spreadsheet cell holds a list as words with bars between: "solid joist | i-joist".
    if isinstance(value, str):
        return tuple(part.strip() for part in value.split("|") if part.strip())
    return value


def _roman(value: Any) -> Any:
    text = str(value).strip().upper().removeprefix("CLASS").strip()
    return {"1": "I", "2": "II", "3": "III"}.get(text, text)


def _ip(value: str) -> str:
    try:
        return str(parse_ip(value))
    except IpCodeError as exc:
        raise PydanticCustomError("ip_code", "{text}", {"text": str(exc)}) from exc


Label = Annotated[str, AfterValidator(_printable)]
"""A name or label: 1 to 64 printable characters."""

Fold = BeforeValidator(_fold)
"""Case and runs of blanks do not matter in a word from a list."""

Split = BeforeValidator(_split)
Roman = BeforeValidator(_roman)

IpText = Annotated[str, AfterValidator(_ip)]
"""An IP code (IEC 60529) in its normal spelling."""

RoomMetres = Annotated[float, Quantity("m", -60, 60)]
"""A coordinate in a room's plan."""
Metres = Annotated[float, Quantity("m", 0, 60)]
HeightMetres = Annotated[float, Quantity("m", 0, 12)]
BuildingMetres = Annotated[float, Quantity("m", 0, 300)]
BathMetres = Annotated[float, Quantity("m", 0.3, 4)]
CableMetres = Annotated[float, Quantity("m", 0, 500)]
Millimetres = Annotated[float, Quantity("mm", 0, 3000)]
SmallMillimetres = Annotated[float, Quantity("mm", 0, 100)]
HoleMillimetres = Annotated[float, Quantity("mm", 10, 400)]
JoistMillimetres = Annotated[float, Quantity("mm", 50, 600)]
Watts = Annotated[float, Quantity("W", 0, 1000)]
Volts = Annotated[float, Quantity("V", 0, 1000)]
NominalVolts = Annotated[float, Quantity("V", 6, 1000)]
Amperes = Annotated[float, Quantity("A", 0.5, 125)]
Celsius = Annotated[float, Quantity("°C", -40, 150)]
Ohms = Annotated[float, Quantity("Ω", 0, 10_000)]
Megohms = Annotated[float, Quantity("MΩ", 0, 100_000)]
Milliamperes = Annotated[float, Quantity("mA", 1, 1000)]
Milliseconds = Annotated[float, Quantity("ms", 0, 10_000)]
Minutes = Annotated[int, Quantity("min", 0, 360)]
SquareMillimetres = Annotated[float, Quantity("mm²", 0.2, 35)]
Count = Annotated[int, Quantity("", 0, 50)]
Fraction = Annotated[float, Quantity("", 0, 1)]

Point = tuple[RoomMetres, RoomMetres]
"""x, y in metres in the room's plan; any corner may be the origin."""


def _outline(points: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    # Imported here: most readers of a job never need the geometry library.
    from shapely.geometry import Polygon
    from shapely.validation import explain_validity

    if len(points) < 3:
        raise PydanticCustomError("outline", "an outline needs three corners or more")
    shape = Polygon(points)
    if not shape.is_valid:
        reason = explain_validity(shape).replace("Self-intersection", "it crosses itself at x y = ")
        raise PydanticCustomError("outline", "not a simple outline: {reason}", {"reason": reason})
    if shape.area < 0.01:
        raise PydanticCustomError("outline", "encloses no area: are corners missing?")
    return tuple(points)


Outline = Annotated[tuple[Point, ...], AfterValidator(_outline)]
"""Corners of a closed outline in order, in metres; the last need not repeat the first."""
