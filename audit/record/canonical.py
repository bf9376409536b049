"""Canonical JSON (RFC 8785), its SHA-256, and reading it back without leniency."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from typing import Any

import rfc8785

Json = None | bool | int | float | str | Sequence["Json"] | Mapping[str, "Json"]

MAX_DEPTH = 60
"""Deeper nesting is refused: nothing of ours comes near it (a merge nests entries once a merge)."""


def canonical(value: Any) -> bytes:
    """Serialise to RFC 8785 canonical JSON.

    Parameters
    ----------
    value : JSON value
        Integers within +-(2**53 - 1), finite floats, text without lone surrogates. Whole
        floats beyond these bounds can be written, but `parse` does not read them back.

    Returns
    -------
    bytes
        UTF-8.

    Raises
    ------
    ValueError
        For a value outside JSON or outside those bounds.

    Examples
    --------
    >>> canonical({"b": 1.0, "a": "é"})
    b'{"a":"\\xc3\\xa9","b":1}'
    """
    try:
        return rfc8785.dumps(value)
    except (rfc8785.CanonicalizationError, UnicodeError, RecursionError) as exc:
        raise ValueError(f"not canonical JSON: {exc}") from exc


def sha256(data: bytes) -> str:
    """SHA-256 as 64 lower-case hexadecimal digits."""
    return hashlib.sha256(data).hexdigest()


def digest(value: Any) -> str:
    """SHA-256 of a value's canonical JSON."""
    return sha256(canonical(value))


def parse(data: bytes) -> Any:
    """Read canonical JSON.

    Raises
    ------
    ValueError
        When the bytes are not JSON, or not in canonical form: a second way to
        write the same value would be a second hash for it.
    """
    try:
        value = json.loads(data.decode("utf-8"), object_pairs_hook=_object, parse_constant=_no)
    except RecursionError as exc:
        raise ValueError("nested too deeply") from exc
    if _too_deep(value, MAX_DEPTH):
        raise ValueError("nested too deeply")
    if canonical(value) != data:
        raise ValueError("not in canonical form (RFC 8785)")
    return value


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):
        raise ValueError("a field stands twice")
    return found


def _no(name: str) -> Any:
    raise ValueError(f"{name} is no JSON number")


def _too_deep(value: Any, left: int) -> bool:
    if isinstance(value, dict):
        return left == 0 or any(_too_deep(v, left - 1) for v in value.values())
    if isinstance(value, list):
        return left == 0 or any(_too_deep(v, left - 1) for v in value)
    return False
