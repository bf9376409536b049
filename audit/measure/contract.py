"""The contract `lidoff.look/1`: what `lidoff look --json` writes for one photo.

Lengths in px refer to the upright full-size photo: x right, y down, origin at
the top left corner of the top left pixel. Lengths in mm are null without a
scale. `u95` values are expanded uncertainties (k = 2, JCGM 100).
"""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

SCHEMA = "lidoff.look/1"

Point = tuple[float, float]
Box = tuple[float, float, float, float]
Outcome = Literal["read", "retake", "failed"]
Bound = Literal["exact", "at_least", "at_most"]
ScaleFrom = Literal["card", "conductor", "core", "sheath", "marks", "none"]
EntryKind = Literal["clamp", "moulded", "none", "unknown"]
Origin = Literal["found", "mark", "none"]
What = Literal["sheath", "wall", "grip", "core", "sleeve", "copper", "terminal", "hidden"]
SheathColour = Literal["grey", "white", "black", "unknown"]
CoreColour = Literal["brown", "blue", "green-and-yellow", "black", "grey", "red", "bare", "unknown"]
EndsAt = Literal["terminal", "open", "leaves_picture", "hidden"]
CpcSeen = Literal["sleeved", "bare", "cut_short", "none_comes_out", "not_seen"]
CheckId = Literal[
    "core-outside-enclosure",
    "core-outside-grip",
    "copper-beyond-terminal",
    "cpc-cut-short",
    "cpc-unsleeved",
    "core-colours",
]
State = Literal["flag", "clear", "unsure"]
CABLE_CHECKS: tuple[CheckId, ...] = ("core-outside-enclosure", "core-outside-grip")
"""The two questions of a cable's entry."""
COPPER_CHECK: CheckId = "copper-beyond-terminal"
"""That of a core's end."""


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="allow")


class Length(_Model):
    """A length in mm with its expanded uncertainty (k = 2)."""

    value: float
    u95: float
    bound: Bound = "exact"


class Depth(_Model):
    """How far the work lies from the plane of the scale, in mm."""

    value: float
    u95: float


class CardRecord(_Model):
    """What was found of the site card."""

    found: bool
    corners_px: tuple[Point, Point, Point, Point] | None = None
    lost_at: str | None = None


class ScaleRecord(_Model):
    """Scale at the work, its relative expanded uncertainty, and where it is from."""

    px_per_mm: float | None
    u95_rel: float | None
    depth_mm: Depth | None = None
    source: ScaleFrom = Field("none", alias="from", serialization_alias="from")

    model_config = ConfigDict(frozen=True, extra="allow", populate_by_name=True)


class EntryRecord(_Model):
    """Where the cable crosses the enclosure's wall and its grip."""

    kind: EntryKind
    origin: Origin = Field("none", alias="from", serialization_alias="from")
    wall_px: tuple[Point, Point] | None = None
    grip_px: tuple[Point, Point, Point, Point] | None = None
    u95_mm: float | None = None

    model_config = ConfigDict(frozen=True, extra="allow", populate_by_name=True)


class SegmentRecord(_Model):
    """One segment of a reading, outside to inside along the cable."""

    what: What
    colour: CoreColour | SheathColour | None = None
    path_px: tuple[Point, ...] = ()
    from_mm: float | None = None
    to_mm: float | None = None


class CableRecord(_Model):
    """One cable read along its path."""

    id: str
    sheath: SheathColour
    entry: EntryRecord
    sheath_edge_px: tuple[Point, Point] | None = None
    sheath_past_grip_mm: Length | None = None
    core_outside_grip_mm: Length | None = None
    core_outside_enclosure_mm: Length | None = None
    reading: tuple[SegmentRecord, ...] = ()
    one_look: bool = False
    """Whether one of the two looks at the photo saw this cable, and the other did not."""


class EndRecord(_Model):
    """One core's inner end."""

    id: str
    cable: str | None
    colour: CoreColour
    ends_at: EndsAt
    at_px: Point | None = None
    box_px: Box | None = None
    copper_mm: Length | None = None


class CpcRecord(_Model):
    """What is seen of one cable's CPC."""

    cable: str
    seen: CpcSeen
    box_px: Box | None = None


class FindingRecord(_Model):
    """One question answered from the photo.

    `of` is a cable (`c1`), a core's end (`e1`), a spot that none of these speaks of (`p1`), a bare piece
    of a core (`b1`), or `photo`.
    `score` is the calibrated probability that the true length exceeds the
    limit (for checks without a length: that the fault is there).
    """

    check: CheckId
    of: str
    state: State
    box_px: Box | None = None
    value_mm: float | None = None
    u95_mm: float | None = None
    score: float = Field(ge=0, le=1)
    why: str


class LookRecord(_Model):
    """Everything read from one photo."""

    schema_: Literal["lidoff.look/1"] = Field(
        "lidoff.look/1", alias="schema", serialization_alias="schema"
    )
    photo: str
    sha256: str | None
    size_px: tuple[int, int] | None
    outcome: Outcome
    usable: bool | None
    reasons: tuple[str, ...] = ()
    card: CardRecord | None = None
    scale: ScaleRecord | None = None
    cables: tuple[CableRecord, ...] = ()
    ends: tuple[EndRecord, ...] = ()
    cpc: tuple[CpcRecord, ...] = ()
    findings: tuple[FindingRecord, ...] = ()

    model_config = ConfigDict(frozen=True, extra="allow", populate_by_name=True)

    def to_json(self) -> str:
        """One line of JSON, field names as in the contract."""
        return self.model_dump_json(by_alias=True)
