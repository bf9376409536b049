"""The validator's errors in our words: what is wrong, and what to do next."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from pydantic import BaseModel
from pydantic_core import ErrorDetails
from rapidfuzz import fuzz, process

from audit.job.shape import Kind, fields_of, kind_at
from audit.job.text import same_key

_WANTED = {
    "number": "a number", "whole number": "a whole number", "yes or no": "true or false",
    "text": "a text in quotes", "list": "a list in square brackets", "table": "a table",
    "other": "something else",
}  # fmt: skip

_TYPES = {
    "float_parsing": "number", "float_type": "number", "int_parsing": "whole number",
    "int_type": "whole number", "int_from_float": "whole number", "bool_parsing": "yes or no",
    "int_parsing_size": "whole number", "bool_type": "yes or no", "string_type": "text",
    "tuple_type": "list", "list_type": "list", "model_type": "table", "dict_type": "table",
    "model_attributes_type": "table",
}  # fmt: skip


def did_you_mean(given: str, known: Sequence[str]) -> str:
    """A suggestion as a next step, or an empty string where nothing comes near."""
    keys = {same_key(k).replace(" ", "_"): k for k in known}
    best = process.extractOne(
        same_key(given).replace(" ", "_"), list(keys), scorer=fuzz.ratio, score_cutoff=60
    )
    if best is None and len(given) >= 4:
        # A part of a name ("bath" for "Upstairs bathroom"); shorter ones match by accident.
        best = process.extractOne(
            same_key(given).replace(" ", "_"),
            list(keys),
            scorer=fuzz.partial_ratio,
            score_cutoff=90,
        )
    return f"did you mean {keys[best[0]]!r}?" if best else ""


def choose_from(given: Any, known: Sequence[str], what: str = "one of") -> str:
    """A suggestion, or else the list of what is possible."""
    near = did_you_mean(given[:100], known) if isinstance(given, str) else ""
    shown = ", ".join(known[:12]) + (", …" if len(known) > 12 else "")
    return near or (f"write {what}: {shown}" if known else "")


def shown(value: Any) -> str:
    """A value as it may stand in a message: short, quoted where it is text."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, dict):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, str):
        return repr(value if len(value) <= 40 else value[:39] + "…")
    text = str(value)
    return text if len(text) <= 40 else text[:39] + "…"


def unknown_field(model: type[BaseModel], path: tuple[str | int, ...]) -> tuple[str, str]:
    """What to say of a field that no model has."""
    table, _ = kind_at(model, path[:-1])
    _, kind = kind_at(model, path[:-1])
    known = list(fields_of(kind.model or table))
    name = str(path[-1])
    return f"there is no field {shown(name)} here", choose_from(name[:100], known)


def explain(model: type[BaseModel], error: ErrorDetails) -> tuple[str, str]:
    """One validation error as what is wrong and what to do next.

    Parameters
    ----------
    model : type
        The model that was validated against.
    error : ErrorDetails
        As `ValidationError.errors()` gives it.
    """
    path = tuple(error["loc"])
    _, kind = kind_at(model, path)
    code, given, context = error["type"], error["input"], error.get("ctx", {})
    if code == "missing":
        if isinstance(path[-1], int):
            return "a number is missing in this list", "give all of them"
        if kind.base == "table":
            return f"the table [{path[-1]}] is missing", "write it, with the fields it must have"
        return f"the field {path[-1]!r} is missing", "give it"
    if code == "literal_error":
        what = f"{shown(given)} is not one of the words this field takes"
        return what, choose_from(given, kind.words)
    if code in _TYPES:
        return _wrong_type(_TYPES[code], given, kind)
    return _other(code, error["msg"], given, context)


def _wrong_type(wanted: str, given: Any, kind: Kind) -> tuple[str, str]:
    if wanted == "list" and kind.model is not None and isinstance(given, dict):
        return (
            "this table stands in single brackets, but there may be several of it",
            "write its name in double brackets: [[…]]",
        )
    what = f"{shown(given)} is not {_WANTED[wanted]}"
    if wanted in {"number", "whole number"}:
        unit = f" in {kind.unit}" if kind.unit else ""
        point = ", with a point if it has decimals" if wanted == "number" else ""
        return what, f"write {_WANTED[wanted]}{unit}{point}, without quotes and without a unit"
    return what, f"write {_WANTED[wanted]}"


def _other(code: str, message: str, given: Any, context: Mapping[str, Any]) -> tuple[str, str]:
    if code == "too_short":
        return f"this list has too few entries ({context.get('actual_length')})", "add to it"
    if code == "too_long":
        return f"this list has too many entries ({context.get('actual_length')})", "shorten it"
    if code == "string_too_short":
        return "this text is empty", "write something or leave the field out"
    if code == "string_too_long":
        return "this text is too long", f"keep it to {context.get('max_length')} characters"
    if code.startswith("date_"):
        return f"{shown(given)} is not a day", "write it as 2026-05-31, without quotes"
    if code.startswith(("datetime", "timezone")):
        return f"{shown(given)} is not a time", "write it as 2026-05-31T14:05:00, without quotes"
    if code == "finite_number":
        return f"{shown(given)} is not a finite number", "write a plain number"
    if code in {"greater_than", "greater_than_equal", "less_than", "less_than_equal"}:
        words = {"greater_than": "above", "greater_than_equal": "at least",
                 "less_than": "below", "less_than_equal": "at most"}  # fmt: skip
        bound = next(iter(v for k, v in context.items() if k in {"gt", "ge", "lt", "le"}), "")
        return f"{shown(given)} must be {words[code]} {bound}", "correct it"
    what = message.removeprefix("Value error, ").removeprefix("Input should be ").rstrip(".")
    if code == "ip_code" and shown(given) not in what and str(given) not in what:
        what = f"{shown(given)}: {what}"
    head, _, rest = what.partition("; ")
    return (head if len(head) <= 200 else head[:199] + "…"), rest or "correct it or leave it out"
