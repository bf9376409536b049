"""What is right for a photo: from its truth, or from what a person decided; never from the tool.

The tool's own states are no answers: an item counts only once a person has
decided it, and what nobody decided is neither held for a trainee nor against.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.bench.rows import MIN_VISIBLE
from audit.bench.truth import Truth, TruthItem
from audit.checklist.models import Evidence, PhotoEntry
from audit.measure.contract import Bound, Box, CheckId, Point
from audit.record.types import Standing
from audit.report.annotate import within
from audit.training.words import CHECKS, why_not

ENCLOSURE: CheckId = "core-outside-enclosure"
GRIP: CheckId = "core-outside-grip"
COLOURS: CheckId = "core-colours"
OLDER = ("red", "black")
"""Line and neutral before the harmonised colours in fixed wiring (read in a secondary text)."""
Basis = Literal["truth", "decisions"]


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Answer(_Model):
    """One fault that is there.

    `also` are checks that name the same fault from another side: cores that
    lie outside the enclosure lie under the grip too, and `also_px` is the box
    that this other side has. `box_px` is null for what is told of the whole
    photo; `paths_px` then shows what it is told by: the cores of older colours. `seen` is the share of the fault that the
    camera sees.
    """

    check: CheckId
    also: tuple[CheckId, ...] = ()
    of: str
    box_px: Box | None = None
    also_px: Box | None = None
    paths_px: tuple[tuple[Point, ...], ...] = ()
    length_mm: float | None = None
    u95_mm: float | None = None
    bound: Bound = "exact"
    seen: float = Field(1.0, ge=0, le=1)

    @property
    def to_find(self) -> bool:
        """Whether it counts as missed when it is not marked: at least half of it is seen."""
        return self.seen >= MIN_VISIBLE

    def named_by(self, check: CheckId) -> bool:
        """Whether a check names this fault."""
        return check == self.check or check in self.also


class Sheet(_Model):
    """All that is right for one photo.

    `unknown` are checks on which nobody decided for this photo: marks that
    name them are not counted. `why_not` says why a photo can't be judged.
    """

    basis: Basis
    size_px: tuple[int, int]
    px_per_mm: float | None = Field(None, gt=0)
    judgeable: bool = True
    why_not: str = ""
    answers: tuple[Answer, ...] = ()
    unknown: tuple[CheckId, ...] = ()

    @property
    def to_find(self) -> tuple[Answer, ...]:
        """What a good look at the photo finds; nothing where it can't be judged."""
        return tuple(a for a in self.answers if a.to_find) if self.judgeable else ()


def from_truth(truth: Truth, size_px: tuple[int, int]) -> Sheet:
    """Answers of a photo whose truth is known.

    Parameters
    ----------
    truth : Truth
    size_px : tuple of int
        Width and height of the upright photo.
    """
    reason = (truth.model_extra or {}).get("unusable_because")
    faults = [_answer(i, size_px) for i in truth.items if i.fault]
    faults = [
        a.model_copy(update={"paths_px": _older(truth)}) if a.check == COLOURS else a
        for a in faults
    ]
    return Sheet(
        basis="truth",
        size_px=size_px,
        px_per_mm=truth.scale.px_per_mm,
        judgeable=truth.usable,
        why_not="" if truth.usable else why_not(reason if isinstance(reason, str) else None),
        answers=_joined(faults),
    )


def _answer(item: TruthItem, size_px: tuple[int, int]) -> Answer:
    box = within(item.box_px, size_px) if item.box_px else None
    # What lies outside the picture is not seen, whatever its box says.
    seen = 0.0 if item.box_px and box is None else item.visible
    return Answer(
        check=item.check, of=item.of, box_px=box, length_mm=item.size_mm or None, seen=seen
    )


class _Segment(BaseModel):
    what: str = ""
    colour: str | None = None
    path_px: tuple[Point, ...] = ()


def _older(truth: Truth) -> tuple[tuple[Point, ...], ...]:
    """Paths of the cores of older colours, where the truth follows them."""
    found: list[tuple[Point, ...]] = []
    for cable in truth.cables:
        for raw in (cable.model_extra or {}).get("reading") or ():
            try:
                segment = _Segment.model_validate(raw)
            except ValidationError:  # only for the drawing: nothing is scored by it
                continue
            if segment.what == "core" and segment.colour in OLDER and len(segment.path_px) > 1:
                found.append(segment.path_px)
    return tuple(found)


def _joined(faults: Iterable[Answer]) -> tuple[Answer, ...]:
    """Cores outside the enclosure and under the grip of one cable are one fault: the graver one."""
    faults = list(faults)
    outside = {a.of for a in faults if a.check == ENCLOSURE and a.to_find}
    kept = []
    for answer in faults:
        if answer.check == GRIP and answer.of in outside:
            continue
        if answer.check == ENCLOSURE and answer.of in outside:
            grip = next((a for a in faults if a.check == GRIP and a.of == answer.of), None)
            if grip is not None:
                answer = answer.model_copy(update={"also": (GRIP,), "also_px": grip.box_px})
        kept.append(answer)
    return tuple(sorted(kept, key=lambda a: CHECKS.index(a.check)))


def from_decisions(entry: PhotoEntry, standings: Mapping[str, Standing]) -> Sheet | None:
    """Answers of a job's photo, as far as a person decided them.

    Parameters
    ----------
    entry : PhotoEntry
        Read, with its size known.
    standings : mapping of str to Standing
        All items of the job by id, as the record has them.

    Returns
    -------
    Sheet or None
        None where nobody decided anything of this photo.
    """
    assert entry.look.size_px is not None
    answers: list[Answer] = []
    known: set[CheckId] = set()
    for standing in standings.values():
        item = standing.item
        if item.subject.kind != "fitting" or item.subject.id != entry.fitting:
            continue
        check = next((c for c in CHECKS if c == item.check), None)
        if check is None or not item.from_photos:
            continue
        found = _decided(check, standing, entry)
        if found is not None:
            known.add(check)
            answers += found
    if not known:
        return None
    return Sheet(
        basis="decisions",
        size_px=entry.look.size_px,
        px_per_mm=entry.look.scale.px_per_mm if entry.look.scale else None,
        answers=_joined(answers),
        unknown=tuple(c for c in CHECKS if c not in known),
    )


def _decided(check: CheckId, standing: Standing, entry: PhotoEntry) -> list[Answer] | None:
    """Faults of one check in one photo; None where nobody settled it for this photo."""
    if standing.status != "decided" or standing.decision is None:
        return None
    choice, state = standing.decision.decision.choice, standing.item.state
    here = [e for e in standing.item.evidence if e.photo == entry.file]
    if choice == "agree" and state == "clear":
        return [] if here else None
    if choice == "overrule" and not standing.finds_fault:
        return []
    if choice == "agree" and state == "flag":
        flagged = [e for e in here if e.state == "flag"]
        # A fault agreed to in another photo says nothing of this one.
        return [_seen(check, e, entry) for e in flagged] or None
    if choice == "overrule":
        # The person holds that a fault is there; where, only a single place can tell.
        return [_seen(check, here[0], entry)] if len(here) == 1 and here[0].box_px else None
    return None  # left open, another photo asked for, or seen on site and not in a photo


def _seen(check: CheckId, evidence: Evidence, entry: PhotoEntry) -> Answer:
    assert entry.look.size_px is not None
    box = within(evidence.box_px, entry.look.size_px) if evidence.box_px else None
    measured = evidence.state == "flag" and evidence.value_mm is not None
    return Answer(
        check=check,
        of=evidence.of or "photo",
        box_px=box,
        length_mm=evidence.value_mm if measured else None,
        u95_mm=evidence.u95_mm if measured else None,
    )
