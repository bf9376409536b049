"""What a job declares of one fitting. The columns of `fittings.csv` are these field names."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from audit.job import fields as f
from audit.job.fields import Fold, Label, Roman, Split

Construction = Literal["solid joist", "i-joist", "metal web", "concrete", "other"]
"""What a floor is built of; a fire test on one does not read across to another."""

CoreColour = Literal[
    "brown", "blue", "green-and-yellow", "black", "grey", "red", "yellow", "bare", "other"
]


class Fitting(f.Declared):
    """One recessed fitting. Everything but the label may be unknown."""

    label: Label = Field(description="As written on the fitting's card or photo names.")
    room: Label | None = Field(None, description="Name of its room.")
    circuit: Label | None = Field(
        None, description="Identity of its circuit, where the circuit's own chain does not say."
    )
    model: Label | None = Field(None, description="Type as on the rating plate.")
    fitted_by: Label | None = Field(
        None,
        description="Who fitted it; the job's `by` if left out. A code does as well as a name.",
    )

    # Where it hangs.
    on: Annotated[Literal["ceiling", "wall", "under bath"], Fold] | None = Field(
        None, description="What it is fixed to."
    )
    x_m: f.RoomMetres | None = Field(None, description="Position in the room's plan.")
    y_m: f.RoomMetres | None = Field(None, description="Position in the room's plan.")
    height_m: f.HeightMetres | None = Field(
        None, description="Lowest part above the finished floor; the ceiling's height if left out."
    )
    over_bath: bool | None = Field(
        None, description="True where it is vertically above the inside of a bath or tray."
    )
    from_bath_m: f.Metres | None = Field(
        None,
        description="Tape distance in plan to the nearest edge of bath or tray, "
        "round fixed partitions.",
    )
    from_outlet_m: f.Metres | None = Field(
        None,
        description="Tape distance in plan to the nearest fixed shower outlet that has no tray, "
        "round fixed partitions.",
    )
    tape_u95_m: Annotated[float, f.Quantity("m", 0, 0.5)] | None = Field(
        None, description="Expanded uncertainty (k = 2) of this fitting's distances."
    )

    # What its plate and instructions say.
    ip: f.IpText | None = Field(None, description="IP code as marked.")
    ip_side: Annotated[Literal["face", "whole"], Fold] | None = Field(
        None, description="What the IP claim covers: the face when sealed to the board, or all."
    )
    ip_seal_seated: bool | None = Field(
        None, description="Whether the gasket was seen, whole and seated against the board."
    )
    maker_zones: Annotated[tuple[Literal["0", "1", "2"], ...], Split] | None = Field(
        None, description="Zones of a bath or shower room that its instructions allow it in."
    )
    protection_class: Annotated[Literal["I", "II", "III"], Roman] | None = Field(
        None, description="Protection class (IEC 61140)."
    )
    voltage_v: f.Volts | None = Field(None, description="Rated voltage of the fitting.")
    current: Annotated[Literal["ac", "dc"], Fold] | None = Field(
        None, description="Kind of current at the fitting."
    )
    supply: Annotated[Literal["mains", "selv", "pelv"], Fold] | None = Field(
        None, description="What feeds the fitting itself."
    )
    source_zone: Annotated[Literal["outside", "0", "1", "2"], Fold] | None = Field(
        None, description="Where the SELV source or driver stands."
    )
    lamp_w: f.Watts | None = Field(None, description="Power of the lamp put in.")
    max_lamp_w: f.Watts | None = Field(None, description="Largest lamp marked on the fitting.")
    load_w: f.Watts | None = Field(
        None, description="Input power of the whole fitting with its driver; lamp_w if left out."
    )
    power_factor: Annotated[float, f.Quantity("", 0.1, 1)] | None = Field(
        None, description="As marked; the catalogue's default if left out."
    )
    rated_ambient_c: f.Celsius | None = Field(
        None, description="Highest ambient it is rated for (ta)."
    )
    ambient_c: f.Celsius | None = Field(None, description="Highest ambient expected in the void.")
    insulation_cover: Annotated[Literal["allowed", "not allowed"], Fold] | None = Field(
        None, description="Whether its instructions let insulation lie over it."
    )
    insulation_over: bool | None = Field(
        None, description="Whether insulation lies over it; the room's answer if left out."
    )
    clearance_mm: f.Millimetres | None = Field(
        None, description="Clear space that its instructions ask for, to insulation and timber."
    )
    clearance_found_mm: f.Millimetres | None = Field(None, description="Least clear space found.")
    lit_distance_m: f.Metres | None = Field(
        None, description="Least distance to lit surfaces that the fitting is marked with."
    )
    lit_distance_found_m: f.Metres | None = Field(
        None, description="Least distance to anything it shines on, doors open."
    )
    flammable_surface: Annotated[Literal["suitable", "not suitable"], Fold] | None = Field(
        None, description="Whether it may be fixed in a normally flammable surface."
    )
    plate_confirmed_by: Label | None = Field(
        None, description="Who read the rating plate against these facts."
    )

    # Fire.
    fire_min: f.Minutes | None = Field(None, description="Declared fire resistance; 0 for none.")
    fire_tested_in: Annotated[tuple[Annotated[Construction, Fold], ...], Split] | None = Field(
        None, description="Floor constructions it was tested in, bars between in a CSV."
    )
    fire_tested_layers: Annotated[int, f.Quantity("", 1, 6)] | None = Field(
        None, description="Layers of board in the tested ceiling."
    )
    hole_mm: f.HoleMillimetres | None = Field(None, description="Diameter of the hole cut.")
    cut_out_mm: f.HoleMillimetres | None = Field(
        None, description="Diameter of hole that its instructions ask for."
    )
    cut_out_plus_mm: f.SmallMillimetres | None = Field(
        None, description="How much wider the hole may be by its instructions."
    )
    hole_covered: bool | None = Field(None, description="Whether its rim covers all of the hole.")
    next_hole_m: f.Metres | None = Field(
        None, description="Centre to centre to the nearest other hole, where positions are unknown."
    )

    # CPC and identification.
    earth_terminal: bool | None = Field(
        None, description="Whether the fitting or its box has a terminal for the CPC."
    )
    exposed_metal: bool | None = Field(
        None, description="Whether metal can be touched that a fault could make live."
    )
    cpc_in_cable: bool | None = Field(None, description="Whether its cable has a CPC.")
    cpc_carried_on: bool | None = Field(
        None, description="Whether the CPC is joined through to the next point."
    )
    cpc_joint: Annotated[Literal["inside", "outside", "none"], Fold] | None = Field(
        None, description="Where the CPC is joined: in the enclosure, outside it, or not at all."
    )
    cpc_sleeved: bool | None = Field(None, description="Whether the bare CPC is sleeved.")
    colours: Annotated[Literal["harmonised", "old", "mixed"], Fold] | None = Field(
        None, description="Core colours at this fitting."
    )
    switched_line: Annotated[CoreColour, Fold] | None = Field(
        None, description="Colour of the core used as switched line."
    )
    switched_line_marked: bool | None = Field(
        None, description="Whether that core carries brown marking."
    )
    polarity: Annotated[Literal["right", "wrong"], Fold] | None = Field(
        None, description="Polarity as tested at the fitting."
    )

    # Cables, joints, support.
    cables: f.Count | None = Field(None, description="Cables that come into the enclosure.")
    cable: Label | None = Field(None, description="Cable's size and kind, as '1.5 T&E'.")
    sheath: Annotated[Literal["grey", "white", "black", "other"], Fold] | None = Field(
        None, description="Colour of the cable's sheath."
    )
    factory_lead: bool | None = Field(
        None, description="Whether a maker's own lead comes out of the fitting."
    )
    sheath_enters: bool | None = Field(
        None, description="Whether the sheath was seen to run into the enclosure."
    )
    joint_enclosed: bool | None = Field(
        None, description="Whether every joint lies in an enclosure."
    )
    joint_access: (
        Annotated[Literal["accessible", "maintenance free", "not accessible"], Fold] | None
    ) = Field(None, description="Whether joints can be reached, or need not be.")
    joint_used_as_instructed: bool | None = Field(
        None, description="Whether a maintenance-free joint was made as its maker says."
    )
    cable_grip: bool | None = Field(
        None, description="Whether a grip or other anchorage holds the sheath."
    )
    clip_mm: f.Millimetres | None = Field(
        None, description="Widest distance between cable supports near the fitting."
    )
    clip_run: Annotated[Literal["horizontal", "vertical"], Fold] | None = Field(
        None, description="Which way that cable runs."
    )
    terminal_max_conductors: Annotated[int, f.Quantity("", 1, 8)] | None = Field(
        None, description="Conductors that one terminal is declared for."
    )
    terminal_conductors: Annotated[int, f.Quantity("", 1, 8)] | None = Field(
        None, description="Most conductors found in one terminal."
    )
    strip_length_mm: f.SmallMillimetres | None = Field(
        None, description="Strip length that the terminal declares."
    )
    strip_tolerance_mm: f.SmallMillimetres | None = Field(
        None, description="Tolerance that the terminal declares for it."
    )
    stripped_mm: f.SmallMillimetres | None = Field(
        None, description="Strip length measured on the conductors."
    )
    instructions_on_site: bool | None = Field(
        None, description="Whether the maker's instructions are on site."
    )
