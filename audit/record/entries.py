"""One entry of the record, and the chain that binds entries together.

An entry is an object in canonical JSON (RFC 8785). Its hash is the SHA-256 of
those bytes; the next entry carries it as `prev`. Fields that this version does
not know are kept as they are, since the bytes are what is stored.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Literal, get_args

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.record.canonical import canonical, parse, sha256
from audit.record.errors import broken

SCHEMA: Literal["lidoff.record/1"] = "lidoff.record/1"
START = "0" * 64
"""`prev` of the first entry."""

Kind = Literal[
    "opened",
    "checklist",
    "shown",
    "decision",
    "undo",
    "mark",
    "blind-draw",
    "blind-judgement",
    "pick-frame",
    "pick",
    "sign-off",
    "merge",
]
KINDS: tuple[Kind, ...] = get_args(Kind)
_UTC = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d(\.\d{1,6})?Z")


class _Body(BaseModel):
    model_config = ConfigDict(frozen=True, extra="allow", strict=True)

    schema_: Literal["lidoff.record/1"] = Field(alias="schema")
    seq: int = Field(ge=1)
    prev: str = Field(pattern="^[0-9a-f]{64}$")
    at: str
    kind: str = Field(min_length=1, max_length=64)
    by: str | None = None
    key: str | None = None
    data: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Draft:
    """What is to be appended, before it has its place in the chain.

    Parameters
    ----------
    kind : str
    data : mapping
        JSON values.
    by : str or None
        Who did it.
    key : str or None
        Made by the client once for each act.
    """

    kind: Kind
    data: Mapping[str, Any]
    by: str | None = None
    key: str | None = None


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry that has its place.

    Parameters
    ----------
    seq : int
        From 1.
    prev : str
        Hash of the entry before; 64 zeros for the first.
    at : str
        UTC, ISO 8601, ending in Z.
    kind : str
        One of `KINDS`, or one that a later version knows.
    by, key : str or None
    data : dict
    hash : str
        SHA-256 of `body`.
    body : bytes
        Canonical JSON.
    """

    seq: int
    prev: str
    at: str
    kind: str
    by: str | None
    key: str | None
    data: dict[str, Any] = field(repr=False)
    hash: str
    body: bytes = field(repr=False)


def utc_text(moment: datetime) -> str:
    """A moment as UTC, ISO 8601 with milliseconds and Z.

    Raises
    ------
    ValueError
        When it has no zone.
    """
    if moment.tzinfo is None:
        raise ValueError("a moment without a zone")
    text = moment.astimezone(UTC).isoformat(timespec="milliseconds")
    return text.replace("+00:00", "Z")


def is_utc(text: str) -> bool:
    """Whether a text is a moment in UTC, ISO 8601, ending in Z."""
    if not _UTC.fullmatch(text):
        return False
    try:
        datetime.fromisoformat(text)
    except ValueError:
        return False
    return True


def place(draft: Draft, seq: int, prev: str, at: str) -> Entry:
    """Give a draft its place in the chain.

    Raises
    ------
    ValueError
        When its data are not JSON.
    """
    body = canonical(
        {
            "schema": SCHEMA,
            "seq": seq,
            "prev": prev,
            "at": at,
            "kind": draft.kind,
            "by": draft.by,
            "key": draft.key,
            "data": dict(draft.data),
        }
    )
    return read_entry(body)


def read_entry(body: bytes) -> Entry:
    """Read one entry.

    Raises
    ------
    ValueError
        When the bytes are no entry in canonical form.
    """
    try:
        found = _Body.model_validate(parse(body))
    except ValidationError as exc:
        first = exc.errors(include_url=False, include_input=False)[0]
        place_ = ".".join(str(p) for p in first["loc"])
        raise ValueError(f"no entry of {SCHEMA}: {place_} {first['msg'].lower()}") from exc
    if not is_utc(found.at):
        raise ValueError("`at` is no moment in UTC")
    return Entry(
        seq=found.seq,
        prev=found.prev,
        at=found.at,
        kind=found.kind,
        by=found.by,
        key=found.key,
        data=found.data,
        hash=sha256(body),
        body=body,
    )


def next_entry(body: bytes, last: Entry | None, file: str = "record.sqlite") -> Entry:
    """Read an entry and hold it against the one before.

    Raises
    ------
    RecordError
        Naming the entry that does not hold.
    """
    seq = 1 if last is None else last.seq + 1
    try:
        entry = read_entry(body)
    except (ValueError, UnicodeError) as exc:
        raise broken(seq, f"damaged ({exc})", file) from exc
    if entry.seq != seq:
        raise broken(seq, f"it says that it is number {entry.seq}", file)
    if entry.prev != (START if last is None else last.hash):
        raise broken(seq, "it does not follow from the entry before", file)
    if last is None and entry.kind != "opened":
        raise broken(seq, "the first entry must open the record", file)
    if last is not None and entry.kind == "opened":
        raise broken(seq, "the record is opened twice", file)
    return entry


def chain(bodies: Iterable[bytes], file: str = "record.sqlite") -> list[Entry]:
    """Read entries from the first on.

    Raises
    ------
    RecordError
        Naming the first entry that does not hold.
    """
    entries: list[Entry] = []
    for body in bodies:
        entries.append(next_entry(body, entries[-1] if entries else None, file))
    return entries
