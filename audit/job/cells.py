"""What a spreadsheet cell means in a field of a known kind.

A cell that says that nothing is known (`?`, `n/a`) gives nothing, so that the
fact ends as `missing`. A number that can be read in two ways is asked about.
"""

from __future__ import annotations

import re
from typing import Any

from audit.job.shape import Kind
from audit.job.text import same_key

_YES = {"yes", "y", "true", "1", "x", "✓", "✔"}
_NO = {"no", "n", "false", "0"}
_NOTHING = {"?", "-", "–", "—", "n/a", "na", "unknown", "not known", "tbc", "tba"}

_NUMBER = re.compile(r"([+\-−]?)(\d+(?:[.,]\d+)*|[.,]\d+)\s*(.*)", re.DOTALL)
_UNITS = {
    "m": "m", "metre": "m", "metres": "m", "mm": "mm", "millimetres": "mm", "w": "W", "watt": "W",
    "watts": "W", "v": "V", "volt": "V", "volts": "V", "°c": "°C", "c": "°C", "min": "min",
    "mins": "min", "minutes": "min", "mm2": "mm²", "sqmm": "mm²", "a": "A",
}  # fmt: skip


class CellError(ValueError):
    """A cell that can't be what its field holds; the second argument says what to do."""

    def __init__(self, what: str, next_step: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.next_step = next_step


def cell_value(text: str, kind: Kind, separator: str = ",") -> Any:
    """The value of a cell, or None where it says that nothing is known.

    Parameters
    ----------
    text : str
        The cell, not empty.
    kind : Kind
        What its field holds.
    separator : str
        The table's separator; with `;` a comma can only be a decimal comma.

    Raises
    ------
    CellError
        When it can't be read, or could be read in two ways.
    """
    key = same_key(text)
    if key in _NOTHING and key not in kind.words and (kind.base != "text" or kind.words):
        return None
    if kind.base == "yes or no":
        if key in _YES:
            return True
        if key in _NO:
            return False
        raise CellError(f"{text[:40]!r} is neither yes nor no", "write yes, no, or leave it empty")
    if kind.base in {"number", "whole number"}:
        return _number(text, kind, separator)
    return text


def _number(text: str, kind: Kind, separator: str) -> float | int:
    found = _NUMBER.fullmatch(text.strip())
    if not found:
        raise CellError(f"{text[:40]!r} is not a number", "write digits with a point, without unit")
    sign, digits, unit = found.groups()
    if unit and _UNITS.get(same_key(unit).rstrip(".")) != kind.unit:
        meant = f" in {kind.unit}" if kind.unit else ""
        raise CellError(
            f"{text[:40]!r} is not a number{meant}", f"write the number{meant} without a unit"
        )
    value = float(_plain(digits, text, separator)) * (-1 if sign in {"-", "−"} else 1)
    if kind.base == "whole number":
        if value != int(value):
            raise CellError(f"{text[:40]!r} is not a whole number", "write a whole number")
        return int(value)
    return value


def _plain(digits: str, text: str, separator: str) -> str:
    """Digits with a decimal point."""
    commas, points = digits.count(","), digits.count(".")
    if not commas and points <= 1:
        return digits
    if commas == 1 and not points:
        whole, part = digits.split(",")
        # 1,234 is twelve hundred to some and a bit more than one to others.
        if len(part) == 3 and whole.strip("0") and len(whole) <= 3 and separator != ";":
            raise CellError(
                f"{text[:40]!r} can be read as {whole}.{part} or as {whole}{part}",
                "write it with a point, or without the comma",
            )
        return f"{whole}.{part}"
    raise CellError(
        f"{text[:40]!r} can be read in more than one way",
        "write it with one point and nothing between thousands",
    )
