"""What a job declares of one room: its plan, its bath and shower, what lies above."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator
from pydantic_core import PydanticCustomError

from audit.job import fields as f
from audit.job.fields import Fold, Label
from audit.job.fitting import Construction

RoomKind = Literal[
    "bathroom", "shower room", "wet room", "wc", "kitchen", "utility", "living room",
    "dining room", "bedroom", "study", "hall", "landing", "stairs", "cupboard", "garage",
    "conservatory", "loft", "plant room", "other",
]  # fmt: skip

Above = Literal[
    "bathroom", "shower room", "wet room", "wc", "kitchen", "utility", "living room",
    "dining room", "bedroom", "study", "hall", "landing", "stairs", "cupboard",
    "loft", "flat roof", "pitched roof", "other dwelling", "terrace", "other",
]  # fmt: skip


class _Shape(f.Declared):
    """A shape in plan: an outline, or a rectangle along the axes."""

    outline_m: f.Outline | None = Field(None, description="Corners in plan.")
    at_m: f.Point | None = Field(None, description="Corner of the rectangle with least x and y.")
    size_m: tuple[f.BathMetres, f.BathMetres] | None = Field(
        None, description="Extent of the rectangle along x and y."
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        box = self.at_m is not None or self.size_m is not None
        if self.outline_m is not None and box:
            raise PydanticCustomError("shape", "give outline_m, or at_m with size_m, not both")
        if (self.at_m is None) != (self.size_m is None):
            raise PydanticCustomError("shape", "at_m and size_m go together")
        return self


class Bath(_Shape):
    """A bath or a shower tray, by the inside of its rim."""

    name: Label | None = Field(None, description="To tell several apart.")
    rim_m: f.HeightMetres | None = Field(None, description="Height of its rim above the floor.")
    under_by_tool_only: bool | None = Field(
        None, description="Whether the space under it is reached only with a tool."
    )


class Outlet(f.Declared):
    """A fixed water outlet of a shower."""

    name: Label | None = Field(None, description="To tell several apart.")
    at_m: f.Point | None = Field(None, description="Its centre in plan.")
    height_m: f.HeightMetres | None = Field(None, description="Above the finished floor.")
    over: Annotated[Literal["bath", "tray", "none"], Fold] | None = Field(
        None, description="What stands under it: a bath, a tray, or neither."
    )
    fixed: bool = Field(True, description="False for a hand-held outlet: it sets no zone.")


class Partition(f.Declared):
    """A partition that stands between."""

    line_m: tuple[f.Point, ...] = Field(
        min_length=2, description="Its middle line in plan, end to end."
    )
    thickness_m: Annotated[float, f.Quantity("m", 0, 0.6)] = Field(
        0.0, description="Its thickness."
    )
    height_m: f.HeightMetres | None = Field(
        None, description="Its top above the floor; the ceiling if left out."
    )
    fixed: bool = Field(description="Only a fixed one limits a zone; a curtain does not.")


class Slope(f.Declared):
    """A ceiling that slopes evenly from one point of the plan to another."""

    low_m: f.HeightMetres = Field(description="Height at its low side.")
    high_m: f.HeightMetres = Field(description="Height at its high side.")
    low_at_m: f.Point = Field(description="A point of the plan under its low side.")
    high_at_m: f.Point = Field(description="The point straight across under its high side.")

    @model_validator(mode="after")
    def _apart(self) -> Self:
        if self.low_at_m == self.high_at_m:
            raise PydanticCustomError("slope", "low_at_m and high_at_m are the same point")
        if self.low_m > self.high_m:
            raise PydanticCustomError("slope", "low_m is higher than high_m")
        return self


class JoistCut(f.Declared):
    """A hole or notch in a joist for the lighting cables."""

    kind: Annotated[Literal["hole", "notch"], Fold] = Field(description="Which.")
    span_m: Annotated[float, f.Quantity("m", 0.3, 12)] = Field(description="Clear span.")
    from_support_m: Annotated[float, f.Quantity("m", 0, 12)] = Field(
        description="Its centre from the nearer support."
    )
    depth_of_joist_mm: f.JoistMillimetres = Field(description="Depth of the joist.")
    size_mm: Annotated[float, f.Quantity("mm", 1, 300)] = Field(
        description="Diameter of the hole, or depth of the notch."
    )
    cover_mm: f.Millimetres | None = Field(
        None, description="From the cable to the nearer edge, top or bottom, of the joist."
    )
    plate: bool | None = Field(None, description="Whether a plate guards the cable.")


class Room(f.Declared):
    """One room."""

    name: Label = Field(description="As the fittings call it.")
    kind: Annotated[RoomKind, Fold] | None = Field(None, description="What it is used for.")
    ceiling_m: Annotated[float, f.Quantity("m", 1, 12)] | None = Field(
        None, description="Height of a level ceiling."
    )
    slope: Slope | None = Field(None, description="A sloping ceiling in place of ceiling_m.")
    outline_m: f.Outline | None = Field(None, description="Inside of its walls in plan.")
    size_m: (
        tuple[
            Annotated[float, f.Quantity("m", 0.5, 60)], Annotated[float, f.Quantity("m", 0.5, 60)]
        ]
        | None
    ) = Field(None, description="Extent along x and y, corner at 0, 0.")
    baths: tuple[Bath, ...] = Field((), alias="bath", description="Baths.")
    trays: tuple[Bath, ...] = Field((), alias="tray", description="Shower trays.")
    outlets: tuple[Outlet, ...] = Field((), alias="outlet", description="Shower outlets.")
    partitions: tuple[Partition, ...] = Field((), alias="partition", description="Partitions.")
    bath_or_shower: bool | None = Field(
        None, description="Whether it holds a bath or shower; told by those given if left out."
    )
    jets: bool | None = Field(
        None, description="Whether water jets are likely, as for cleaning in communal baths."
    )
    tape_u95_m: Annotated[float, f.Quantity("m", 0, 0.5)] | None = Field(
        None, description="Expanded uncertainty (k = 2) of distances in this room."
    )
    bonding: Annotated[Literal["supplementary", "conditions met", "none"], Fold] | None = Field(
        None, description="Supplementary bonding, or the three conditions that make it needless."
    )

    above: Annotated[Above, Fold] | None = Field(None, description="What lies above the ceiling.")
    separates_dwellings: bool | None = Field(
        None, description="Whether the ceiling parts this dwelling from another."
    )
    floor: Annotated[Construction, Fold] | None = Field(
        None, description="What the floor above is built of."
    )
    layers: Annotated[int, f.Quantity("", 0, 6)] | None = Field(
        None, description="Layers of plasterboard."
    )
    fire_needed_min: f.Minutes | None = Field(
        None,
        description="Fire resistance that the designer or building control asks for.",
    )
    insulation_over: bool | None = Field(
        None, description="Whether insulation lies over the fittings."
    )
    insulation_mm: f.Millimetres | None = Field(None, description="Its thickness.")
    ceiling_surface: Annotated[Literal["plasterboard", "timber", "metal", "other"], Fold] | None = (
        Field(None, description="What the ceiling is made of.")
    )
    cables_supported: Annotated[Literal["metal", "plastic", "laid", "none"], Fold] | None = Field(
        None, description="How cables over this ceiling are held against falling in a fire."
    )
    penetrations_sealed: bool | None = Field(
        None, description="Whether holes for cables through fire-resisting parts are made good."
    )
    setting_out_agreed: bool | None = Field(
        None, description="Whether positions were set out clear of joists and services, and agreed."
    )
    joist_cuts: tuple[JoistCut, ...] = Field(
        (), alias="joist_cut", description="Holes and notches made for the cables."
    )

    @model_validator(mode="after")
    def _one_way(self) -> Self:
        if self.outline_m is not None and self.size_m is not None:
            raise PydanticCustomError("shape", "give outline_m or size_m, not both")
        if self.slope is not None and self.ceiling_m is not None:
            raise PydanticCustomError("slope", "give ceiling_m or slope, not both")
        return self
