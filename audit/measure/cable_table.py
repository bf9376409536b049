"""Sizes of known cables, for scale when there is no card."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from audit.resources import load_toml


@dataclass(frozen=True)
class CableSize:
    """What of a cable's size serves as a scale, in mm."""

    name: str
    core_mm: float
    conductor_mm: float
    sheath_mm: tuple[float, float]


def _fold(text: str) -> str:
    return text.casefold().replace(" ", "").replace("mm²", "").replace("mm2", "")


def known_sizes() -> list[str]:
    """Names that `find_size` knows, as `models/cables.toml` writes them."""
    return [str(c["name"]) for c in load_toml("cables.toml")["cable"]]


def core_sizes() -> list[tuple[float, float]]:
    """Diameters over the insulation of the known cables' cores, mm, and how usual each is.

    Lighting is mostly wired in flat cable of 1.0 or 1.5 mm2, more seldom in flat 2.5 mm2 or in flex
    of 0.75 or 1.0 mm2 (common practice, no source). The shares have no unit and sum to 1.
    """
    rows = [(float(c["core_mm"]), _usual(c)) for c in load_toml("cables.toml")["cable"]]
    total = sum(share for _, share in rows)
    return [(mm, share / total) for mm, share in rows]


def _usual(row: dict[str, Any]) -> float:
    area = float(row["conductor_mm2"])
    if row["shape"] == "flat":
        return 4.0 if area < 2.0 else 2.0
    return 2.0 if 0.7 < area < 1.2 else 1.0


def find_size(name: str | None) -> CableSize | None:
    """Look a declared cable up by name or other name; None when it is not known."""
    if not name:
        return None
    wanted = _fold(name)
    for row in load_toml("cables.toml")["cable"]:
        if wanted in {_fold(n) for n in (row["name"], *row.get("also", ()))}:
            a, b = row.get("overall_typical_mm") or row["overall_min_mm"]
            return CableSize(
                str(row["name"]), float(row["core_mm"]), float(row["conductor_mm"]), (a, b)
            )
    return None
