"""Words of the practice pages, from `models/practice.toml` and the catalogue of checks."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from typing import get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.errors import ModelsError, Where
from audit.measure.contract import CheckId
from audit.resources import load_toml, model_path
from audit.rules.catalogue import catalogue

_FILE = "practice.toml"
CHECKS: tuple[CheckId, ...] = get_args(CheckId)
"""What photos are judged for, the gravest question of an entry first."""


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class _CheckWords(_Row):
    name: str = Field(min_length=3, max_length=40)
    short: str
    right: str


class _Texts(_Row):
    schema_: str = Field(alias="schema")
    how: tuple[str, ...] = Field(min_length=3, max_length=3)
    caution: str
    aid: str
    few: int = Field(ge=1)
    check: dict[CheckId, _CheckWords]
    unusable: dict[str, str]


@dataclass(frozen=True)
class CheckWords:
    """One check as a trainee reads it.

    Parameters
    ----------
    id : str
    name : str
        The fault, in a few plain words.
    short : str
        How it shows.
    right : str
        How it looks when right.
    why : str
        Why it matters, from the catalogue.
    source : str
        Standard and clause, or common practice, from the catalogue.
    """

    id: CheckId
    name: str
    short: str
    right: str
    why: str
    source: str


@cache
def practice_texts() -> _Texts:
    """The texts of the practice pages.

    Raises
    ------
    ModelsError
        When they are missing or damaged.
    """
    try:
        found = _Texts.model_validate(load_toml(_FILE))
    except ValidationError as exc:
        first = exc.errors()[0]
        field = ".".join(str(p) for p in first["loc"])
        raise ModelsError(
            f"not the texts of practice ({first['msg']})",
            Where(model_path(_FILE), field=field),
            "install lidoff again",
        ) from exc
    if set(found.check) != set(CHECKS):
        raise ModelsError("a check has no words", Where(_FILE), "install lidoff again")
    return found


@cache
def check_words() -> Mapping[CheckId, CheckWords]:
    """Words of each check, in the order in which a trainee chooses."""
    rules = catalogue()
    return {
        name: CheckWords(
            name,
            row.name,
            row.short,
            row.right,
            rules[name].why,
            "; ".join(str(s) for s in rules[name].sources),
        )
        for name in CHECKS
        for row in (practice_texts().check[name],)
    }


def why_not(word: str | None) -> str:
    """Why a photo can't be judged, in words."""
    words = practice_texts().unusable
    return words.get(word or "other", words["other"])
