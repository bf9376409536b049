"""What a job declares of one circuit: its protection, its cable, its chain, its test results."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import Field

from audit.job import fields as f
from audit.job.fields import Fold, Label

Method = Literal["100", "101", "102", "103", "A", "C"]


class Leg(f.Declared):
    """One length of cable of a circuit."""

    to: Label = Field(description="Label of the fitting, or name of a switch, it leads to.")
    start: Label | None = Field(
        None,
        alias="from",
        description="Where it starts; the leg before it, or the board for the first, if left out.",
    )
    length_m: f.CableMetres | None = Field(None, description="Length of cable laid.")
    load_w: f.Watts | None = Field(
        None, description="Load at its end where that is no fitting of this job."
    )


class Circuit(f.Declared):
    """One final circuit."""

    id: Label = Field(description="As marked at the board.")
    nominal_v: f.NominalVolts = Field(230.0, description="Nominal voltage to earth.")
    new_circuit: bool | None = Field(None, description="Whether this work adds the circuit.")
    legs: tuple[Leg, ...] = Field((), alias="leg", description="The chain, from the board on.")

    device: (
        Annotated[
            Literal["mcb b", "mcb c", "mcb d", "rcbo b", "rcbo c", "fuse bs 3036", "fuse bs 1361"],
            Fold,
        ]
        | None
    ) = Field(None, description="Kind of protective device.")
    rating_a: f.Amperes | None = Field(None, description="Rated current of the device.")
    rcd_ma: f.Milliamperes | None = Field(
        None, description="Rated residual current of the RCD that covers it."
    )
    rcd: bool | None = Field(None, description="Whether an RCD covers it.")

    method: Literal["100", "101", "102", "103", "A", "C"] | None = Field(
        None, description="Installation method, worst along the run (BS 7671 appendix 4)."
    )
    conductor_mm2: f.SquareMillimetres | None = Field(None, description="Line conductor.")
    cpc_mm2: f.SquareMillimetres | None = Field(None, description="CPC in the cable.")
    correction: Annotated[float, f.Quantity("", 0.2, 1.3)] | None = Field(
        None, description="Product of correction factors for ambient and grouping; 1 if left out."
    )
    insulated_m: f.CableMetres | None = Field(
        None, description="Longest run wholly surrounded by thermal insulation."
    )

    conductor_c: Annotated[float, f.Quantity("°C", -10, 70)] | None = Field(
        None, description="Conductor temperature during the continuity test; 20 if left out."
    )
    r1r2_ohm: f.Ohms | None = Field(None, description="R1 + R2 measured at the furthest point.")
    ze_ohm: f.Ohms | None = Field(None, description="External loop impedance.")
    zs_ohm: f.Ohms | None = Field(None, description="Loop impedance, furthest point.")
    ir_mohm: f.Megohms | None = Field(None, description="Least insulation resistance measured.")
    ir_test_v: f.Volts | None = Field(None, description="DC voltage of that test.")
    polarity: Annotated[Literal["right", "wrong"], Fold] | None = Field(
        None, description="Polarity as tested."
    )
    rcd_trip_ms: f.Milliseconds | None = Field(
        None, description="Trip time at the rated residual current."
    )
    rcd_button: bool | None = Field(None, description="Whether its test button made it trip.")
    dead_tests_at: datetime | None = Field(None, description="When the dead tests were finished.")
    live_tests_at: datetime | None = Field(None, description="When the live tests began.")
    tested_by: Label | None = Field(None, description="Who tested.")
