"""One round as its page shows it: truth and marks side by side, in words and drawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from audit.measure.contract import Box, Point
from audit.report.annotate import padded, within
from audit.report.pictures import crop_box
from audit.review.words import count
from audit.training.answers import Answer, Sheet
from audit.training.scoring import Line, Mark, Verdict, scale_of
from audit.training.store import Round
from audit.training.words import CheckWords, check_words

ORDER: tuple[Verdict, ...] = (
    "missed", "other fault", "false", "found", "same fault", "hard to see", "open",
)  # fmt: skip
"""What is to be learned from comes first."""
SAID: dict[Verdict, str] = {
    "missed": "missed",
    "other fault": "right place, other fault",
    "false": "no fault there",
    "found": "found",
    "same fault": "the same fault again",
    "hard to see": "hardly to be seen",
    "open": "not counted",
}
_GROW = 0.006
_NEAR_MM = 6.0
"""What is shown round a mark that no fault answers, mm to each side."""


@dataclass(frozen=True)
class Row:
    """One line of the page.

    Parameters
    ----------
    verdict : str
    said : str
        In words.
    fault : str
        Letter of the fault; empty where there is none.
    mark : str
        Number of the mark; empty where there is none.
    check : CheckWords
        Of the fault, else of what the mark named.
    named : CheckWords or None
        What the mark named, where that is something else.
    length : str
        True length against the one told; empty where there is none.
    view : tuple of int or None
        The part of the photo to look at, px.
    note : str
    """

    verdict: Verdict
    said: str
    fault: str
    mark: str
    check: CheckWords
    named: CheckWords | None
    length: str
    view: tuple[int, ...] | None
    note: str

    @property
    def key(self) -> str:
        """Its name on the page."""
        return f"{self.fault}{self.mark}"

    @property
    def where(self) -> str:
        """Which drawing it belongs to, in words."""
        parts = [
            f"fault {self.fault}" if self.fault else "",
            f"mark {self.mark}" if self.mark else "",
        ]
        return ", ".join(p for p in parts if p)


def letter(index: int) -> str:
    """A, B, … Z, AA, AB, … for faults.

    Examples
    --------
    >>> letter(0), letter(25), letter(26)
    ('A', 'Z', 'AA')
    """
    text = ""
    index += 1
    while index:
        index, rest = divmod(index - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def rows(made: Round) -> list[Row]:
    """All lines of a round, the ones to learn from first."""
    found = [_row(made, line) for line in made.score.lines]
    return sorted(found, key=lambda r: ORDER.index(r.verdict))


def _row(made: Round, line: Line) -> Row:
    words = check_words()
    answer = None if line.answer is None else made.sheet.answers[line.answer]
    mark = None if line.mark is None else made.given.marks[line.mark]
    named = words[mark.check] if mark else None
    if answer is not None:
        check = words[answer.check]
    else:
        assert named is not None
        check = named
    box = _box(made.sheet, answer, mark)
    return Row(
        verdict=line.verdict,
        said=SAID[line.verdict],
        fault="" if line.answer is None else letter(line.answer),
        mark="" if line.mark is None else str(line.mark + 1),
        check=check,
        named=named if named and answer and answer.check != named.id else None,
        length=length_words(answer, mark, line),
        view=crop_box(box, made.sheet.size_px, made.sheet.px_per_mm) if box else None,
        note=_note(made, line, answer),
    )


def _box(sheet: Sheet, answer: Answer | None, mark: Mark | None) -> Box | None:
    if answer is not None and answer.box_px is not None:
        return answer.box_px
    if answer is not None and answer.paths_px:
        xs, ys = zip(*(p for path in answer.paths_px for p in path), strict=True)
        return within((min(xs), min(ys), max(xs), max(ys)), sheet.size_px)
    if mark is None:
        return None
    (x, y), reach = mark.at_px, _NEAR_MM * scale_of(sheet)
    return (x - reach, y - reach, x + reach, y + reach)


def _note(made: Round, line: Line, answer: Answer | None) -> str:
    if line.verdict == "open":
        if not made.sheet.judgeable:
            return "The photo can't be judged, so this counts neither way."
        return "Nobody has decided this for this photo."
    if line.verdict == "hard to see" and answer is not None:
        share = round(100 * answer.seen)
        return f"The camera sees {share} % of it, so it is never counted as missed."
    if answer is not None and answer.box_px is None:
        drawn = "The cores of older colours are drawn. " if answer.paths_px else ""
        return f"{drawn}Told of the whole photo: a mark anywhere names it."
    if line.verdict == "found" and answer is not None and line.mark is not None:
        graver = made.given.marks[line.mark].check != answer.check
        return "Both hold; the name here is the graver one." if graver else ""
    return ""


def length_words(answer: Answer | None, mark: Mark | None, line: Line) -> str:
    """The true length, what was told of it, and how far that is off."""
    if answer is None or answer.length_mm is None:
        return ""
    bound = {"exact": "", "at_least": "at least ", "at_most": "at most "}[answer.bound]
    u95 = f" ± {answer.u95_mm:.1f}" if answer.u95_mm is not None else ""
    text = f"{bound}{answer.length_mm:.1f}{u95} mm long"
    if mark is None or mark.length_mm is None:
        return text
    text += f"; you said {mark.length_mm:g} mm"
    error = line.length_error_mm
    if error is None:
        return text
    off = f"{abs(error):.1f} mm too {'long' if error > 0 else 'short'}"
    return f"{text}, {off if abs(error) >= 0.05 else 'which is it'}"


def summary(made: Round) -> str:
    """The whole result in a sentence or two."""
    sheet, given, scored = made.sheet, made.given.kind, made.score
    if not sheet.judgeable:
        if scored.right:
            return f"Right: this photo can't be judged, since {sheet.why_not}."
        tail = "What seems right in such a photo may not be."
        return f"This photo can't be judged, since {sheet.why_not}. {tail}"
    there = len(sheet.to_find)
    faults = count(there, "fault")
    if given == "unusable":
        none = "no fault is to be seen in it"
        told = f"there {'was' if there == 1 else 'were'} {faults} to find" if there else none
        return f"This photo can be judged: {told}."
    if scored.right:
        none = "Right: no fault is to be seen in this photo."
        return f"All found: {there} of {there}." if there else none
    if given == "nothing":
        return f"There was something to find: {faults} missed."
    none = "No fault is to be seen in this photo"
    parts = [f"{scored.found} of {faults} found" if there else none]
    if scored.missed:
        parts.append(f"{scored.missed} missed")
    if scored.other:
        parts.append(f"{scored.other} named otherwise")
    if scored.false:
        parts.append(f"{count(scored.false, 'mark')} where no fault is")
    return ", ".join(parts) + "."


@dataclass(frozen=True)
class Drawn:
    """One shape over the photo.

    Parameters
    ----------
    verdict : str
    key : str
        Of its row.
    box : tuple of float or None
        A fault's outline, px, standing off what it shows.
    paths : tuple of paths
        What a fault without a box is told by, px.
    pin : tuple of float or None
        Where the label stands: at a mark, at a box's corner, on a path; px.
    label : str
    """

    verdict: Verdict
    key: str
    box: Box | None
    paths: tuple[tuple[Point, ...], ...]
    pin: Point
    label: str


def drawn(made: Round) -> Sequence[Drawn]:
    """Everything that has a place, faults before marks so that marks lie on top."""
    by = made.sheet.size_px[0] * _GROW
    faults, marks = [], []
    for line in made.score.lines:
        key = ("" if line.answer is None else letter(line.answer)) + (
            "" if line.mark is None else str(line.mark + 1)
        )
        if line.answer is not None:
            answer, name = made.sheet.answers[line.answer], letter(line.answer)
            if answer.box_px:
                box = padded(answer.box_px, by)
                faults.append(Drawn(line.verdict, key, box, (), box[:2], name))
            elif answer.paths_px:
                longest = max(answer.paths_px, key=len)
                middle = longest[len(longest) // 2]
                faults.append(Drawn(line.verdict, key, None, answer.paths_px, middle, name))
        if line.mark is not None:
            at = made.given.marks[line.mark].at_px
            marks.append(Drawn(line.verdict, key, None, (), at, str(line.mark + 1)))
    return [*faults, *marks]
