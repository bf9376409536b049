"""House rules and regions of one's own, from one TOML file.

A house rule may be stricter than the region, never laxer: a value has a side on
which it is stricter, and anything on the other side is refused with its line.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.errors import JobError, JobProblems, LidoffError, Where
from audit.job.circuit import Circuit
from audit.job.facts import JobInfo
from audit.job.fitting import Fitting
from audit.job.room import Room
from audit.job.text import decode, read_bytes
from audit.job.toml_text import TomlText, parse_toml
from audit.rules.catalogue import catalogue
from audit.rules.region import (
    BASE,
    Region,
    RegionHead,
    SourceRow,
    ValueRow,
    region_ids,
    shipped,
    source_of,
)
from audit.rules.types import (
    Check,
    HoldPoint,
    OfKind,
    Source,
    State,
    Value,
    Verdict,
    Verified,
    Weight,
)

HouseRule = Callable[[Any, Any], Verdict | None]
_MODELS: Mapping[OfKind, type[BaseModel]] = {
    "fitting": Fitting, "room": Room, "circuit": Circuit, "job": JobInfo,
}  # fmt: skip
_ORDER = (Weight.ADVISE, Weight.PUT_RIGHT, Weight.STOP)


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class _House(_Row):
    name: str = Field(min_length=1, max_length=64)
    region: str = BASE


class _HouseValue(_Row):
    id: str
    value: bool | float | str
    why: str = Field(min_length=3)


class _HouseWeight(_Row):
    check: str
    weight: Weight


class _OwnRule(_Row):
    id: str = Field(pattern=r"^[a-z][a-z0-9-]{2,47}$")
    asks: OfKind
    question: str = Field(min_length=10, max_length=300)
    why: str = Field(min_length=10, max_length=600)
    field: str
    op: Literal["is", "is not", "at least", "at most", "one of"]
    value: bool | float | str | tuple[str | float, ...]
    weight: Weight
    hold_point: HoldPoint
    settle: str = Field(min_length=10, max_length=400)
    kinds: tuple[str, ...] = ()


class _File(_Row):
    schema_: Literal["lidoff.house/1"] = Field(alias="schema")
    house: _House
    region: RegionHead | None = None
    source: tuple[SourceRow, ...] = ()
    region_value: tuple[ValueRow, ...] = ()
    value: tuple[_HouseValue, ...] = ()
    weight: tuple[_HouseWeight, ...] = ()
    rule: tuple[_OwnRule, ...] = ()


@dataclass(frozen=True)
class HouseRules:
    """What a house file adds.

    Parameters
    ----------
    name : str
    values : tuple of Value
        Stricter values.
    weights : mapping of str to Weight
        Heavier weights by check.
    rules : tuple of (Check, HouseRule)
        Checks of its own.
    region : Region or None
        A region of its own.
    """

    name: str
    values: tuple[Value, ...] = ()
    weights: Mapping[str, Weight] = field(default_factory=dict)
    rules: tuple[tuple[Check, HouseRule], ...] = ()
    region: Region | None = None

    def rules_for(
        self, kind: OfKind, hold_point: HoldPoint | None
    ) -> list[tuple[Check, HouseRule]]:
        """Own checks asked of one kind of thing."""
        return [
            (c, r)
            for c, r in self.rules
            if c.asks == kind and (hold_point is None or c.hold_point is hold_point)
        ]


def load_house(path: Path, name: str | None = None) -> HouseRules:
    """Read a file of house rules.

    Parameters
    ----------
    path : Path
    name : str, optional
        How messages name the file.

    Raises
    ------
    JobError
        When it can't be read or is not TOML.
    JobProblems
        Everything wrong in it, each with line and field.
    """
    shown = name or path.name
    text, _ = decode(read_bytes(path, shown), shown, legacy=False)
    parsed = parse_toml(text.lstrip("\ufeff"), shown)
    try:
        data = _File.model_validate(parsed.data)
    except ValidationError as exc:
        raise JobProblems(
            [_problem(parsed, shown, e["loc"], e["msg"]) for e in exc.errors()]
        ) from exc
    reader = _Reader(data, parsed, shown)
    rules = reader.read()
    if reader.problems:
        raise JobProblems(reader.problems)
    return rules


def _problem(
    parsed: TomlText, name: str, loc: Iterable[str | int], what: str, step: str = "correct it"
) -> LidoffError:
    path = tuple(loc)
    shown = ".".join(str(p) for p in path if isinstance(p, str))
    return JobError(what, Where(name, parsed.line(path), shown or None), step)


class _Reader:
    """Builds house rules, collecting what is wrong."""

    def __init__(self, data: _File, parsed: TomlText, name: str) -> None:
        self.data, self.parsed, self.name = data, parsed, name
        self.problems: list[LidoffError] = []

    def _wrong(self, path: tuple[str | int, ...], what: str, step: str) -> None:
        self.problems.append(_problem(self.parsed, self.name, path, what, step))

    def read(self) -> HouseRules:
        """The rules; `problems` tells whether they may be used."""
        region = self._region()
        base = region or self._named()
        return HouseRules(
            self.data.house.name,
            tuple(v for i, row in enumerate(self.data.value) if (v := self._value(i, row, base))),
            self._weights(),
            tuple(r for i, row in enumerate(self.data.rule) if (r := self._rule(i, row))),
            region,
        )

    def _named(self) -> Region:
        wanted = self.data.house.region
        if wanted in region_ids():
            return shipped(wanted)
        self._wrong(
            ("house", "region"), f"there is no region {wanted!r}",
            f"one of {', '.join(region_ids())}, or a [region] table here",
        )  # fmt: skip
        return shipped(BASE)

    def _region(self) -> Region | None:
        head = self.data.region
        if head is None:
            if self.data.region_value:
                self._wrong(("region_value", 0), "region values without a [region] table", "add it")
            return None
        if head.id in region_ids():
            self._wrong(
                ("region", "id"), f"{head.id!r} is a region of the catalogue", "give it another id"
            )
        base = head.base or BASE
        if base not in region_ids():
            self._wrong(("region", "base"), f"there is no region {base!r}", "name a shipped one")
            base = BASE
        parent = shipped(base)
        sources = {s.id: s for s in self.data.source}
        values = {k: v for k, v in parent.values.items() if k not in head.without}
        for i, row in enumerate(self.data.region_value):
            if row.source not in sources:
                self._wrong(
                    ("region_value", i, "source"), f"there is no source {row.source!r}",
                    "add a [[source]] with that id",
                )  # fmt: skip
                continue
            values[row.id] = Value(
                row.id, row.value, row.unit, source_of(row, sources), head.id,
                row.stricter or (parent.values[row.id].stricter if row.id in parent.values else ""),
            )  # fmt: skip
        return Region(
            head.id, head.name, (head.id, *parent.chain), head.wiring_rules or parent.wiring_rules,
            head.current_edition, values, head.note,
        )  # fmt: skip

    def _value(self, i: int, row: _HouseValue, base: Region) -> Value | None:
        old = base.values.get(row.id)
        if old is None:
            self._wrong(
                ("value", i, "id"), f"{base.name} has no value {row.id!r}",
                "`lidoff checks ID` shows the values a check uses",
            )  # fmt: skip
            return None
        if isinstance(row.value, str | bool) or not old.stricter:
            self._wrong(
                ("value", i, "value"), f"{row.id!r} can't be changed by a house", "leave it out"
            )
            return None
        laxer = row.value < old.n if old.stricter == "higher" else row.value > old.n
        if laxer:
            self._wrong(
                ("value", i, "value"),
                f"{row.value:g} is laxer than {base.name}'s {old.n:g} {old.unit}".rstrip(),
                f"a house rule may only be stricter, {old.stricter} than that",
            )
            return None
        source = Source("", "", "", Verified.PRACTICE, f"rule of {self.data.house.name}, {row.why}")
        return Value(row.id, row.value, old.unit, source, self.data.house.name, old.stricter)

    def _weights(self) -> dict[str, Weight]:
        found = {}
        for i, row in enumerate(self.data.weight):
            known = catalogue().get(row.check)
            if known is None:
                self._wrong(
                    ("weight", i, "check"), f"there is no check {row.check!r}",
                    "`lidoff checks` lists them",
                )  # fmt: skip
            elif _ORDER.index(row.weight) < _ORDER.index(known.weight):
                self._wrong(
                    ("weight", i, "weight"),
                    f"{row.weight.value!r} is lighter than the catalogue's {known.weight.value!r}",
                    "a house may only weigh more",
                )
            else:
                found[row.check] = row.weight
        return found

    def _rule(self, i: int, row: _OwnRule) -> tuple[Check, HouseRule] | None:
        if row.id in catalogue() or any(r.id == row.id for r in self.data.rule[:i]):
            self._wrong(("rule", i, "id"), f"{row.id!r} is taken", "give it another id")
            return None
        fields = _MODELS[row.asks].model_fields
        if row.field not in fields:
            self._wrong(
                ("rule", i, "field"), f"a {row.asks} has no field {row.field!r}",
                "name a field of the declared facts",
            )  # fmt: skip
            return None
        if row.op in ("at least", "at most") and not isinstance(row.value, float):
            self._wrong(("rule", i, "value"), f"'{row.op}' needs a number", "write a number")
            return None
        if row.op == "one of" and not isinstance(row.value, tuple):
            self._wrong(("rule", i, "value"), "'one of' needs a list", "write a list in brackets")
            return None
        source = Source("", "", "", Verified.PRACTICE, f"rule of {self.data.house.name}")
        check = Check(
            row.id, "paperwork", row.asks, row.question, row.why, row.weight, row.hold_point,
            (source,), (f"{row.asks}.{row.field}",), (), f"{row.field} {row.op} {row.value}",
            row.settle, (BASE,),
        )  # fmt: skip
        return check, _own(row)


def _own(row: _OwnRule) -> HouseRule:
    def rule(ctx: Any, thing: Any) -> Verdict | None:
        if (
            row.kinds
            and getattr(ctx.room_of(thing) if row.asks == "fitting" else thing, "kind", "")
            not in row.kinds
        ):
            return None
        given = getattr(thing.job if row.asks == "job" else thing, row.field)
        if given is None:
            return Verdict(State.MISSING, f"{row.question} {row.field} is not declared.")
        state = State.CLEAR if _holds(row, given) else State.FLAG
        return Verdict(
            state,
            f"{row.field} is {given}; asked for: {row.op} {row.value}.",
            inputs={row.field: str(given)},
        )

    return rule


def _holds(row: _OwnRule, given: Any) -> bool:
    if row.op == "is":
        return bool(given == row.value)
    if row.op == "is not":
        return bool(given != row.value)
    if row.op == "one of":
        assert isinstance(row.value, tuple)
        return given in row.value
    assert isinstance(row.value, float)
    return bool(given >= row.value if row.op == "at least" else given <= row.value)
