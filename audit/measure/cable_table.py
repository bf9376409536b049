"""Sizes of known cables, for scale when there is no card."""

from __future__ import annotations

from dataclasses import dataclass

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


def core_sizes_mm() -> list[float]:
    """Diameters over the insulation of the known cables' cores, mm, each once, rising."""
    return sorted({float(c["core_mm"]) for c in load_toml("cables.toml")["cable"]})


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
