"""Every tunable in one typed place: default, bounds and help.

The command line, a job's `[settings]` table and the reference page all read
from here.
"""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class Settings(BaseModel):
    """Settings of one run. Field bounds are checked when read."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    max_pixels: int = Field(
        120_000_000,
        ge=1_000_000,
        le=400_000_000,
        description="Largest photo that is decoded, in pixels; larger ones are refused unread.",
    )
    max_file_mb: int = Field(
        80, ge=1, le=1000, description="Largest photo file that is opened, in megabytes."
    )
    workers: int = Field(
        0, ge=0, le=64, description="Worker processes; 0 takes one for each processor."
    )
    depth_u95_mm: float = Field(
        20.0,
        gt=0,
        le=200,
        description="How far the work may lie before or behind the card (expanded, k = 2), in mm.",
    )
    copper_limit_mm: float = Field(
        0.5,
        ge=0,
        le=10,
        description="Bare copper beyond a terminal that is still tolerated, in mm (ours; the trade's aim is none).",
    )
    core_limit_mm: float = Field(
        0.0,
        ge=0,
        le=10,
        description="Core outside the grip or the enclosure that is still tolerated, in mm.",
    )
    min_px_per_mm: float = Field(
        3.0,
        gt=0,
        le=100,
        description="Below this scale at the cable a photo is asked for again.",
    )
