"""One row for each truth item and each finding that nothing asked for, with its verdict."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from audit.bench.match import Pair, match_photo
from audit.bench.truth import Truth
from audit.measure.contract import FindingRecord, Length, LookRecord

Verdict = Literal[
    "right flag",  # the fault is there and was flagged
    "false flag",  # flagged, and there is no fault, or nothing at all
    "unsure",  # the tool says that it can't tell
    "said clear",  # the fault is there, can be seen, and the tool said clear
    "silent",  # the fault is there, can be seen, and the tool said nothing of it
    "refused",  # the fault is there; another photo was asked for
    "right clear",  # no fault, and the tool said clear
    "hidden",  # the fault is there, but the camera can't see it, and it was not flagged
    "not asked",  # no fault, and nothing said
]

MIN_VISIBLE = 0.5
"""Share of a fault's length that the camera must see for the fault to count as visible."""


@dataclass(frozen=True)
class Row:
    """A truth item, its finding, and what the tool made of it; `of` names are per photo."""

    photo: str
    check: str
    verdict: Verdict
    of: str | None
    finding_of: str | None
    fault: bool
    """Whether a fault is there, by the truth; False for a finding that answers no item."""
    visible_fault: bool
    """Fault, in a usable photo, at least half of its length seen."""
    size_mm: float | None
    visible: float | None
    state: str | None
    value_mm: float | None
    u95_mm: float | None
    bound: str | None
    score: float | None
    usable: bool
    outcome: str
    with_card: bool
    tags: tuple[str, ...]
    why: str

    @property
    def error_mm(self) -> float | None:
        """Stated less true length in mm; None where either is missing or a mere bound."""
        if self.value_mm is None or self.size_mm is None or self.bound != "exact":
            return None
        return self.value_mm - self.size_mm

    @property
    def wrongly_clear(self) -> bool:
        """A visible fault that was called clear or passed over in silence."""
        return self.visible_fault and self.verdict in ("said clear", "silent")


def photo_rows(truth: Truth, look: LookRecord) -> list[Row]:
    """Match one photo's findings with its truth, and judge each.

    Parameters
    ----------
    truth : Truth
    look : LookRecord

    Returns
    -------
    list of Row
        Every truth item once, then every finding that matched none.
    """
    pairs = match_photo(truth.items, look.findings, truth.scale.px_per_mm)
    return [_row(truth, look, pair) for pair in pairs]


def _row(truth: Truth, look: LookRecord, pair: Pair) -> Row:
    item, finding = pair.item, pair.finding
    fault = item is not None and item.fault
    seen = item.visible if item else None
    visible_fault = fault and truth.usable and seen is not None and seen >= MIN_VISIBLE
    check = item.check if item else finding.check if finding else ""
    return Row(
        photo=truth.photo,
        check=check,
        verdict=_verdict(fault, visible_fault, look.outcome, finding),
        of=item.of if item else None,
        finding_of=finding.of if finding else None,
        fault=fault,
        visible_fault=visible_fault,
        size_mm=item.size_mm if item else None,
        visible=seen,
        state=finding.state if finding else None,
        value_mm=finding.value_mm if finding else None,
        u95_mm=finding.u95_mm if finding else None,
        bound=_bound(look, finding),
        score=finding.score if finding else None,
        usable=truth.usable,
        outcome=look.outcome,
        with_card=truth.markers_visible >= 2,
        tags=truth.tags,
        why=finding.why if finding else "; ".join(look.reasons),
    )


def _verdict(
    fault: bool, visible_fault: bool, outcome: str, finding: FindingRecord | None
) -> Verdict:
    state = finding.state if finding else None
    if state == "flag":
        return "right flag" if fault else "false flag"
    if state == "unsure":
        return "unsure"
    if not fault:
        return "right clear" if state == "clear" else "not asked"
    if state == "clear":
        return "said clear"
    if outcome != "read":
        return "refused"
    return "silent" if visible_fault else "hidden"


def _bound(look: LookRecord, finding: FindingRecord | None) -> str | None:
    """Whether the finding's length is exact; findings don't say, their cable or end does."""
    if finding is None or finding.value_mm is None:
        return None
    measured: Length | None = None
    if finding.check == "copper-beyond-terminal":
        measured = next((e.copper_mm for e in look.ends if e.id == finding.of), None)
    else:
        field = finding.check.replace("-", "_") + "_mm"
        measured = next((getattr(c, field, None) for c in look.cables if c.id == finding.of), None)
    return measured.bound if measured else "exact"
