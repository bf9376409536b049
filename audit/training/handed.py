"""Files of a set that anybody may have handed over: regular, bounded, their figures finite.

What gets past here is kept with a trainee's results: a figure or a text that can't be written
down there would harm them later, when nobody thinks of the file any more.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from audit.bench.truth import Truth, load_truth
from audit.errors import JobError, Where
from audit.job.text import decode, read_bytes
from audit.job.toml_text import parse_toml

PX_PER_MM = (0.01, 10_000.0)
"""Scales that a photo of a fitting can have; far wider than any has."""
_AGAIN = "write it again, see docs/reference/bench.md"


def read_truth(path: Path) -> tuple[Truth, dict[str, Any]]:
    """Read one truth file.

    Returns
    -------
    (Truth, dict)
        And all that stands in it.

    Raises
    ------
    JobError
        When it can't be read, is no truth file, or holds a figure or a text that can't be kept.
    """
    data = read_bytes(path, str(path))
    try:
        truth = load_truth(path)
        raw = json.loads(data.decode("utf-8"))
    except (RecursionError, ValueError) as exc:  # nested too deeply, or a number too long
        what = "nested too deeply" if isinstance(exc, RecursionError) else "a number is too long"
        raise JobError(f"not a truth file ({what})", Where(path), _AGAIN) from exc
    for field, value in _leaves(raw):
        where = Where(path, field=field)
        if isinstance(value, float) and not math.isfinite(value):
            raise JobError("this is no number that a length or a place can have", where, _AGAIN)
        if isinstance(value, str) and not _writable(value):
            raise JobError("half a character stands here", where, _AGAIN)
    low, high = PX_PER_MM
    if not low <= truth.scale.px_per_mm <= high:
        raise JobError(
            f"no photo has this scale ({low:g} to {high:g} px per mm)",
            Where(path, field="scale.px_per_mm"),
            _AGAIN,
        )
    return truth, raw


def read_toml(path: Path) -> dict[str, Any]:
    """Read one TOML file.

    Raises
    ------
    JobError
        When it can't be read or is not TOML.
    """
    text, _ = decode(read_bytes(path, str(path)), str(path), legacy=False)
    return parse_toml(text, str(path)).data


def _leaves(value: Any) -> Iterator[tuple[str, Any]]:
    """Each figure and text with its place, keys as texts at their own."""
    pending: list[tuple[str, Any]] = [("", value)]
    while pending:
        place, here = pending.pop()
        if isinstance(here, dict):
            yield from ((place, key) for key in here)
            pending += [(f"{place}.{key}".lstrip("."), inner) for key, inner in here.items()]
        elif isinstance(here, list):
            pending += [(f"{place}.{n}", inner) for n, inner in enumerate(here)]
        else:
            yield place, here


def _writable(text: str) -> bool:
    return not any("\ud800" <= c <= "\udfff" for c in text)
