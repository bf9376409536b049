"""What was measured in one photo, as lines of a table."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from audit.measure.contract import Length, LookRecord, State
from audit.report.ribbon import length_words


@dataclass(frozen=True)
class Result:
    """One line.

    Parameters
    ----------
    of : str
        Cable or end.
    name : str
        What is measured, or the check.
    figure : str
        Value with its uncertainty, or why there is none.
    state : str or None
        For checks.
    """

    of: str
    name: str
    figure: str
    state: State | None = None


def result_of(look: LookRecord) -> list[Result]:
    """Lengths first, then the checks with their states."""
    return [*_lengths(look), *_findings(look)]


def _lengths(look: LookRecord) -> Iterator[Result]:
    for cable in look.cables:
        yield _length(cable.id, "core outside the grip", cable.core_outside_grip_mm)
        yield _length(cable.id, "core outside the enclosure", cable.core_outside_enclosure_mm)
        yield _length(cable.id, "sheath past the grip", cable.sheath_past_grip_mm)
    for end in look.ends:
        yield _length(end.id, f"copper, {end.colour}", end.copper_mm)


def _length(of: str, name: str, length: Length | None) -> Result:
    return Result(of, name, "not measured" if length is None else length_words(length))


def _findings(look: LookRecord) -> Iterator[Result]:
    for f in look.findings:
        figure = ""
        if f.value_mm is not None:
            u = "" if f.u95_mm is None else f" ± {f.u95_mm:.1f}"
            figure = f"{f.value_mm:.1f}{u} mm"
        yield Result(f.of, f.check, figure, f.state)
