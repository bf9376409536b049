"""The catalogue of checks, from `models/rules/*.toml`."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.errors import ModelsError, UsageError, Where
from audit.job.explain import did_you_mean
from audit.resources import load_toml, models_dir
from audit.rules.types import Check, HoldPoint, OfKind, Source, Verified, Weight

TOPICS: Mapping[str, str] = {
    "zones": "Bath and shower",
    "ratings": "What the fitting is rated for",
    "fire": "Fire",
    "cpc": "CPC and identification",
    "joints": "Joints and support",
    "circuit": "The circuit",
    "paperwork": "Paperwork and evidence",
}
"""Topics in the order in which they are shown."""


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class _Source(_Row):
    standard: str = ""
    edition: str = ""
    clause: str = ""
    verified: Verified
    gist: str = ""


class _Check(_Row):
    id: str = Field(pattern=r"^[a-z][a-z0-9-]+$")
    asks: OfKind
    question: str = Field(min_length=10)
    why: str = Field(min_length=20)
    weight: Weight
    hold_point: HoldPoint
    source: tuple[_Source, ...] = Field(min_length=1)
    inputs: tuple[str, ...] = Field(min_length=1)
    values: tuple[str, ...] = ()
    computed: str = Field(min_length=10)
    settle: str = Field(min_length=10)
    regions: tuple[str, ...] = ("international",)
    photo: bool = False


class _File(_Row):
    schema_: Literal["lidoff.rules/1"] = Field(alias="schema")
    topic: str
    check: tuple[_Check, ...]


def _read(name: str) -> list[Check]:
    data = _File.model_validate(load_toml(name))
    if data.topic not in TOPICS:
        raise ModelsError(f"unknown topic {data.topic!r}", Where(name), "install lidoff again")
    return [
        Check(
            topic=data.topic,
            sources=tuple(Source(**s.model_dump()) for s in row.source),
            **row.model_dump(exclude={"source"}),
        )
        for row in data.check
    ]


@cache
def catalogue() -> Mapping[str, Check]:
    """All checks by identity, in the order of topics.

    Raises
    ------
    ModelsError
        When a file of the catalogue is not as it should be.
    """
    found: dict[str, Check] = {}
    for path in sorted((models_dir() / "rules").glob("*.toml")):
        name = f"rules/{path.name}"
        try:
            rows = _read(name)
        except ValidationError as exc:
            raise ModelsError(f"not a rule file ({exc})", Where(name), "install again") from exc
        for row in rows:
            if row.id in found:
                raise ModelsError(f"check {row.id!r} is given twice", Where(name), "install again")
            found[row.id] = row
    order = list(TOPICS)
    return dict(sorted(found.items(), key=lambda kv: order.index(kv[1].topic)))


def check(check_id: str) -> Check:
    """One check.

    Raises
    ------
    UsageError
        When there is none of that identity.
    """
    try:
        return catalogue()[check_id]
    except KeyError:
        near = did_you_mean(check_id, list(catalogue()))
        raise UsageError(
            f"there is no check {check_id!r}", next_step=near or "`lidoff checks` lists them all"
        ) from None


def photo_checks() -> Mapping[str, Check]:
    """The checks that photos answer, by identity."""
    return {k: c for k, c in catalogue().items() if c.photo}
