"""What a job declares: the models behind `job.toml` and `fittings.csv`.

Everything that is not declared is None and ends as `missing`; nothing is
guessed. Units stand in the names: `_m`, `_mm`, `_mm2`, `_w`, `_v`, `_a`,
`_ohm`, `_mohm`, `_ma`, `_ms`, `_min`, `_c`. In TOML the tables are `[job]`,
`[building]`, `[[room]]` (with `[[room.bath]]`, `[[room.tray]]`,
`[[room.outlet]]`, `[[room.partition]]`, `[room.slope]`, `[[room.joist_cut]]`),
`[[fitting]]`, `[[circuit]]` (with `[[circuit.leg]]`), `[[photo]]`,
`[[declaration]]`, `[settings]`. What holds across tables (a bath outside its room, a fitting in an
unknown room) is asked by `audit.job.plausible.problems`.
"""

from __future__ import annotations

from datetime import date as Date  # noqa: N812 - a field is called `date`
from typing import Annotated, Literal

from pydantic import Field

from audit.job import fields as f
from audit.job.circuit import Circuit, Leg
from audit.job.declaration import Declaration
from audit.job.fields import Fold, Label
from audit.job.fitting import Construction, CoreColour, Fitting
from audit.job.room import Above, Bath, JoistCut, Outlet, Partition, Room, RoomKind, Slope

__all__ = [
    "Above", "Bath", "Building", "Circuit", "Construction", "CoreColour", "Declaration", "Fitting",
    "HoldPointName", "JobFacts", "JobInfo", "JoistCut", "Leg", "Outlet", "Partition", "PhotoEntry",
    "Room", "RoomKind", "Slope", "ViewName",
]  # fmt: skip


JOB_SCHEMA: Literal["lidoff.job/1"] = "lidoff.job/1"

ViewName = Literal["entry", "terminals", "inside", "closed", "back", "face", "plate", "above"]
HoldPointName = Literal["boarding", "closing-up"]


class JobInfo(f.Declared):
    """The job itself."""

    name: Label = Field(description="How the job is called.")
    address_label: Label | None = Field(
        None, description="A label for the place; no need for a real address."
    )
    region: Label = Field(
        "international", description="Whose rules are used: a region of `models/regions`."
    )
    edition: Label | None = Field(
        None, description="Edition of the wiring rules that the work follows."
    )
    hold_point: Annotated[HoldPointName, Fold] | None = Field(
        None, description="The hold point looked at; both if left out."
    )
    by: Label | None = Field(None, description="Who did the work.")
    answers_for_it: Label | None = Field(None, description="Competent person who answers for it.")
    date: Date | None = Field(None, description="Day of the work.")
    work: (
        Annotated[Literal["new circuit", "new consumer unit", "addition", "replacement"], Fold]
        | None
    ) = Field(None, description="Kind of work done.")
    notified_by: (
        Annotated[
            Literal["registered installer", "building control", "third-party certifier", "none"],
            Fold,
        ]
        | None
    ) = Field(None, description="How notifiable work is notified.")
    certificate: (
        Annotated[Literal["installation certificate", "minor works certificate", "none"], Fold]
        | None
    ) = Field(None, description="Certificate being made out (model forms).")
    mixed_colours_notice: bool | None = Field(
        None, description="Whether the notice of mixed core colours is at the board."
    )


class Building(f.Declared):
    """The building, as far as fire and notification ask."""

    use: Annotated[Literal["house", "flats", "maisonette", "other"], Fold] | None = Field(
        None, description="What it is used for."
    )
    storeys: Annotated[int, f.Quantity("", 1, 80)] | None = Field(
        None, description="Storeys above ground, a room in the roof counted."
    )
    top_floor_height_m: f.BuildingMetres | None = Field(
        None, description="Height of the top storey's floor above the lowest ground beside it."
    )
    basement: bool | None = Field(None, description="Whether it has a basement.")
    garage_below: bool | None = Field(
        None, description="Whether habitable rooms lie over an attached or built-in garage."
    )


class PhotoEntry(f.Declared):
    """A `[[photo]]` entry: what one photo shows, said by a person."""

    file: Annotated[str, Field(min_length=1, max_length=255)] = Field(
        description="File name in `photos/`."
    )
    fitting: Label | None = Field(None, description="Label of the fitting it shows.")
    view: Annotated[ViewName, Fold] | None = Field(None, description="What it shows.")
    cables_in_picture: f.Count | None = Field(
        None, description="Cables that a person sees in it, all of them."
    )


class JobFacts(f.Declared):
    """All that a job declares."""

    schema_: Literal["lidoff.job/1"] = Field(
        JOB_SCHEMA, alias="schema", description="Kind and version of this file."
    )
    job: JobInfo = Field(description="The job itself.")
    building: Building = Field(default_factory=Building, description="The building.")
    rooms: tuple[Room, ...] = Field((), alias="room", description="Rooms.")
    fittings: tuple[Fitting, ...] = Field((), alias="fitting", description="Fittings.")
    circuits: tuple[Circuit, ...] = Field((), alias="circuit", description="Circuits.")
    photos: tuple[PhotoEntry, ...] = Field((), alias="photo", description="Photos named by hand.")
    declarations: tuple[Declaration, ...] = Field(
        (), alias="declaration", description="The fitter's own judgement of their work."
    )
    settings: dict[str, bool | int | float | str] = Field(
        default_factory=dict, description="Settings that this job overrides."
    )
    house_rules: Annotated[str, Field(min_length=1, max_length=255)] | None = Field(
        None, description="File of house rules, in the job folder."
    )

    def fitting(self, label: str) -> Fitting | None:
        """The fitting of that label, or None."""
        return next((x for x in self.fittings if x.label == label), None)

    def room(self, name: str | None) -> Room | None:
        """The room of that name, or None."""
        return next((x for x in self.rooms if x.name == name), None)
