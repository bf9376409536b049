"""Marks of a trainee against what is right: pure, one to one, by place and by name."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from typing import Literal

import numpy as np
from pydantic import Field, model_validator
from scipy.optimize import linear_sum_assignment

from audit.measure.boxes import SAME_MM, centre_distance
from audit.measure.contract import Box, CheckId, Point
from audit.training.answers import Answer, Sheet, _Model

MOST_MARKS = 40
EDGE_MM = 1.0
"""A mark just beside a fault's box still points at it (ours: a fingertip is no needle)."""
ASSUMED_WIDTH_MM = 150.0
"""Where no scale is known a photo is taken to show so much, along its longer side (ours)."""
_NEVER = 1e6

Kind = Literal["marks", "nothing", "unusable"]
"""What was answered: marks, nothing to find here, or the photo can't be judged."""
Verdict = Literal["found", "other fault", "missed", "false", "same fault", "hard to see", "open"]
"""`other fault`: right place, named otherwise. `same fault`: marked a second time.
`hard to see`: less than half of it shows; never counted as missed. `open`: not counted, since
nobody decided it or the photo can't be judged."""


class Mark(_Model):
    """One place that a trainee marked, px of the upright photo, and what it is held to be."""

    at_px: Point
    check: CheckId
    length_mm: float | None = Field(None, gt=0, le=500, allow_inf_nan=False)


class Given(_Model):
    """What a trainee answered."""

    kind: Kind
    marks: tuple[Mark, ...] = Field((), max_length=MOST_MARKS)

    @model_validator(mode="after")
    def _marks_go_with_marks(self) -> Given:
        if (self.kind == "marks") != bool(self.marks):
            raise ValueError("marks, or one of the other two answers")
        return self


class Line(_Model):
    """One line of the result: an answer, a mark, or both; indexes into the sheet and what was given."""

    verdict: Verdict
    answer: int | None = None
    mark: int | None = None
    length_error_mm: float | None = None


class Score(_Model):
    """The result of one photo.

    `agreement` is found over found, missed and false together, an other fault
    counting half (critical success index; 1 is best).
    """

    lines: tuple[Line, ...]
    found: int
    other: int
    missed: int
    false: int
    agreement: float = Field(ge=0, le=1)
    right: bool

    def of(self, verdict: Verdict) -> tuple[Line, ...]:
        """The lines with one verdict."""
        return tuple(line for line in self.lines if line.verdict == verdict)


def score(sheet: Sheet, given: Given) -> Score:
    """Hold an answer against what is right.

    A mark is at a fault when it lies in the fault's box (grown by 1 mm) or
    within 3 mm of its centre, the distance that `lidoff bench` takes; a fault
    of the whole photo has no place. Marks and faults are paired one to one:
    first those that name the fault, then, for faults that can be seen, those
    that are at its place and name another.

    Parameters
    ----------
    sheet : Sheet
    given : Given

    Returns
    -------
    Score
        Every fault once and every mark once.
    """
    if not sheet.judgeable:
        return _not_judgeable(sheet, given)
    named = _pairs(sheet, given, lambda a, m: a.named_by(m.check), range(len(sheet.answers)))
    left = [i for i in range(len(sheet.answers)) if i not in named and sheet.answers[i].to_find]
    free = Given.model_construct(kind=given.kind, marks=given.marks)
    placed = _pairs(sheet, free, lambda a, m: a.box_px is not None, left, set(named.values()))
    lines = [*_answer_lines(sheet, given, named, placed)]
    used = {*named.values(), *placed.values()}
    lines += [
        Line(verdict=_loose(sheet, given.marks[m], named), mark=m)
        for m in range(len(given.marks))
        if m not in used
    ]
    return _summed(lines, given.kind != "unusable")


def _not_judgeable(sheet: Sheet, given: Given) -> Score:
    lines = [Line(verdict="open", answer=i) for i in range(len(sheet.answers))]
    lines += [Line(verdict="open", mark=i) for i in range(len(given.marks))]
    right = given.kind == "unusable"
    return Score(
        lines=tuple(lines), found=0, other=0, missed=0, false=0, agreement=float(right), right=right
    )


def _summed(lines: Sequence[Line], may_be_right: bool) -> Score:
    count = {v: sum(line.verdict == v for line in lines) for v in
             ("found", "other fault", "missed", "false")}  # fmt: skip
    all_of_it = sum(count.values())
    good = count["found"] + 0.5 * count["other fault"]
    agreement = good / all_of_it if all_of_it else float(may_be_right)
    return Score(
        lines=tuple(lines),
        found=count["found"],
        other=count["other fault"],
        missed=count["missed"],
        false=count["false"],
        agreement=agreement,
        right=may_be_right and count["found"] == all_of_it,
    )


def _answer_lines(
    sheet: Sheet, given: Given, named: dict[int, int], placed: dict[int, int]
) -> Iterator[Line]:
    for i, answer in enumerate(sheet.answers):
        if i in named:
            error = _length_error(answer, given.marks[named[i]])
            verdict: Verdict = "found" if answer.to_find else "hard to see"
            yield Line(verdict=verdict, answer=i, mark=named[i], length_error_mm=error)
        elif i in placed:
            yield Line(verdict="other fault", answer=i, mark=placed[i])
        else:
            yield Line(verdict="missed" if answer.to_find else "hard to see", answer=i)


def _loose(sheet: Sheet, mark: Mark, named: dict[int, int]) -> Verdict:
    """What a mark is that no fault was left for."""
    if mark.check in sheet.unknown:
        return "open"
    for i in named:
        answer = sheet.answers[i]
        if answer.named_by(mark.check) and _away_mm(sheet, answer, mark) is not None:
            return "same fault"
    return "false"


def _length_error(answer: Answer, mark: Mark) -> float | None:
    if answer.length_mm is None or mark.length_mm is None or answer.bound != "exact":
        return None
    return mark.length_mm - answer.length_mm


def scale_of(sheet: Sheet) -> float:
    """Px per mm at the work; where none is known, that of a photo 150 mm wide."""
    return sheet.px_per_mm or max(sheet.size_px) / ASSUMED_WIDTH_MM


def _away_mm(sheet: Sheet, answer: Answer, mark: Mark) -> float | None:
    """Distance of a mark from a fault's centre, mm; None when it points elsewhere."""
    if answer.box_px is None:
        return 0.0
    boxes = (answer.box_px, *((answer.also_px,) if answer.also_px else ()))
    away = [_from_box(box, mark.at_px, scale_of(sheet)) for box in boxes]
    return min((a for a in away if a is not None), default=None)


def _from_box(box: Box, at: Point, scale: float) -> float | None:
    x, y = at
    edge = EDGE_MM * scale
    inside = box[0] - edge <= x <= box[2] + edge and box[1] - edge <= y <= box[3] + edge
    away = centre_distance(box, (x, y, x, y)) / scale
    return away if inside or away <= SAME_MM else None


def _pairs(
    sheet: Sheet,
    given: Given,
    may: Callable[[Answer, Mark], bool],
    answers: Sequence[int],
    used: set[int] | None = None,
) -> dict[int, int]:
    """Faults with their marks: most pairs, then faults that can be seen, then least distance.

    References
    ----------
    scipy.optimize.linear_sum_assignment, as in `audit.bench.match`.
    """
    marks = [m for m in range(len(given.marks)) if m not in (used or set())]
    if not marks or not answers:
        return {}
    cost = np.full((len(answers), len(marks)), _NEVER)
    for row, i in enumerate(answers):
        for col, m in enumerate(marks):
            answer, mark = sheet.answers[i], given.marks[m]
            away = _away_mm(sheet, answer, mark) if may(answer, mark) else None
            if away is not None:
                exact = 0.0 if answer.check == mark.check else 0.5
                hard = 0.0 if answer.to_find else 200.0
                cost[row, col] = min(away, 150.0) + exact + hard
    rows, cols = linear_sum_assignment(cost)
    return {answers[r]: marks[c] for r, c in zip(rows, cols, strict=True) if cost[r, c] < _NEVER}
