"""The checklist as it is written to `out/checklist.json`: schema `lidoff.checklist/1`."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from audit.measure.contract import Box, LookRecord, State

SCHEMA: Literal["lidoff.checklist/1"] = "lidoff.checklist/1"

ItemState = Literal["flag", "clear", "unsure", "missing"]
Weight = Literal["stop", "put right", "advise"]
HoldPoint = Literal["boarding", "closing-up"]
SubjectKind = Literal["fitting", "room", "circuit", "job"]
LinkedBy = Literal["name", "card", "entry", "run", "none"]

STATES: tuple[ItemState, ...] = ("flag", "unsure", "missing", "clear")
WEIGHTS: tuple[Weight, ...] = ("stop", "put right", "advise")
HOLD_POINTS: tuple[HoldPoint, ...] = ("boarding", "closing-up")
STATE_WORDS: dict[ItemState, str] = {
    "flag": "flag",
    "unsure": "unsure",
    "missing": "missing",
    "clear": "no fault seen in these photos",
}
"""What a person reads for each state of an item that photos answer."""
CLEAR_WITHOUT_PHOTOS = "no fault seen in what was declared"
"""What a person reads for `clear` where no photo stands behind it."""


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Subject(_Model):
    """What an item is asked of."""

    kind: SubjectKind
    id: str = Field(description="Label of the fitting, name of the room, identity of the circuit.")


class Value(_Model):
    """A measured or computed figure with its expanded uncertainty (k = 2)."""

    value: float
    u95: float | None = None
    bound: Literal["exact", "at_least", "at_most"] = "exact"
    unit: str
    limit: float | None = None


class Source(_Model):
    """Where a check comes from."""

    text: str = Field(description='Standard, edition and clause, or "common practice, no source".')
    verified: str = Field(description="How far it was verified, of several the weakest.")
    wants_edition_check: bool = Field(
        False, description="It wants checking in the edition that the job follows."
    )


class Evidence(_Model):
    """One place in one photo that speaks for an item's state.

    `state`, `score` and `why` are the finding's; null where a rule only points
    at what it used.
    """

    photo: str
    of: str | None = None
    state: State | None = None
    box_px: Box | None = None
    value_mm: float | None = None
    u95_mm: float | None = None
    score: float | None = Field(None, ge=0, le=1)
    why: str | None = None


class Item(_Model):
    """One check asked of one thing."""

    id: str = Field(description="Subject and check; the same from run to run.")
    check: str
    topic: str
    subject: Subject
    question: str
    why_it_matters: str
    hold_point: HoldPoint
    state: ItemState
    weight: Weight
    value: Value | None = None
    why: str
    settle: str | None = Field(
        None, description="What would settle it; a request for a photo opens with the caution."
    )
    request: str | None = Field(
        None, description="The photo that would settle it, without the caution around it."
    )
    source: Source
    from_photos: bool = Field(description="Photos answer it, not declared facts alone.")
    facts: dict[str, str] = Field(
        default_factory=dict, description="Declared facts and values that were used."
    )
    evidence: tuple[Evidence, ...] = ()

    @property
    def said(self) -> str:
        """The state in the words that a person reads."""
        if self.state == "clear" and not self.from_photos:
            return CLEAR_WITHOUT_PHOTOS
        return STATE_WORDS[self.state]

    @property
    def open(self) -> bool:
        """Whether the tool leaves a question: flagged, unsure or missing."""
        return self.state != "clear"


class PhotoEntry(_Model):
    """One photo of the job, whatever became of it."""

    file: str = Field(description="Path in the job's `photos/`.")
    sha256: str | None
    fitting: str | None
    view: str | None
    linked_by: LinkedBy
    notes: tuple[str, ...] = Field((), description="Unlabelled, duplicate, unknown fitting, …")
    taken: str | None = Field(None, description="Capture time as the phone wrote it.")
    look: LookRecord


class Fitting(_Model):
    """One fitting and the photos that belong to it."""

    label: str
    room: str | None
    circuit: str | None = None
    model: str | None = None
    facts: dict[str, str] = Field(
        default_factory=dict, description="Declared facts, worded for a person."
    )
    photos: tuple[str, ...] = ()


class Room(_Model):
    """One room, with its plan as SVG where positions are known."""

    name: str
    kind: str | None = None
    plan_svg: str | None = None


class Tool(_Model):
    """What made the checklist."""

    name: Literal["lidoff"] = "lidoff"
    version: str
    fingerprint: str = Field(description="Hash of the code and data that decide what a photo says.")


class JobHead(_Model):
    """The job's own facts, as far as the checklist's head shows them."""

    name: str
    place: str | None = None
    region: str
    edition: str | None = None
    by: str | None = None
    answers_for_it: str | None = None
    date: str | None = None


class Count(_Model):
    """How many items are in each state."""

    flag: int = 0
    unsure: int = 0
    missing: int = 0
    clear: int = 0


class Summary(_Model):
    """What stands in the way, first of all."""

    items: Count
    stops: tuple[str, ...] = Field(description="Items of weight stop that are flagged.")
    stops_unsettled: tuple[str, ...] = Field(
        description="Items of weight stop that are unsure or missing."
    )
    photos: dict[Literal["read", "retake", "failed"], int]


class Checklist(_Model):
    """Everything a competent person has to decide on, unconfirmed."""

    schema_: Literal["lidoff.checklist/1"] = Field(
        SCHEMA, alias="schema", serialization_alias="schema"
    )
    tool: Tool
    made_at: str = Field(description="UTC, ISO 8601.")
    confirmed: Literal[False] = Field(
        False, description="Always false here; decisions stand in the record."
    )
    notice: tuple[str, ...] = Field(description="Banner, and what the tool is not.")
    cautions: tuple[str, ...]
    cannot_show: tuple[str, ...]
    job: JobHead
    hold_point: HoldPoint | None = Field(description="The one asked for; null for both.")
    summary: Summary
    rooms: tuple[Room, ...]
    fittings: tuple[Fitting, ...]
    circuits: tuple[str, ...] = ()
    items: tuple[Item, ...]
    photos: tuple[PhotoEntry, ...]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    def to_json(self) -> str:
        """JSON text, indented, field names as in the schema."""
        return self.model_dump_json(by_alias=True, indent=1)

    def of(self, kind: SubjectKind, identity: str) -> tuple[Item, ...]:
        """The items asked of one thing, worst first."""
        return tuple(i for i in self.items if i.subject.kind == kind and i.subject.id == identity)


def worst_first(item: Item) -> tuple[int, int]:
    """Sort key: state before weight, so that open questions of any weight come before clear."""
    open_rank = {"flag": 0, "unsure": 1, "missing": 2, "clear": 3}
    return (open_rank[item.state], WEIGHTS.index(item.weight))
