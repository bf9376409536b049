"""What a scene shows, drawn from a seed. Plain data, no geometry."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from . import families as fam


@dataclass(frozen=True)
class CablePlan:
    """One cable: what it is, where its sheath stops, what its cores do.

    ``stop`` is (kind, mm): past_grip (from the inner edge, positive inwards), outside_grip,
    outside_enclosure, both positive outwards from the outer grip edge and the outer wall face.
    ``cpc_bare``: mm of bare CPC before its sleeve starts; None: what the seed draws, up to 1.6.
    ``laid_bare``: by core, where along its insulation some is missing (0 at the sheath, 1 at the
    terminal), how many mm of it, and from which side, in radians (None: all round).
    """

    size: str
    sheath: str
    colours: tuple[str, str]
    side: str
    stop: tuple[str, float]
    cpc: str
    copper: dict[str, float] = field(default_factory=dict)
    cpc_bare: float | None = None
    laid_bare: dict[str, tuple[float, float, float | None]] = field(default_factory=dict)


@dataclass(frozen=True)
class FittingPlan:
    """One fitting, opened."""

    seed: int
    family: str
    box: str
    terminal: str
    background: str
    grip: str
    cables: tuple[CablePlan, ...]
    plate: tuple[str, ...] = ("LED downlight", "6.5 W  230 V~", "IP44")


@dataclass(frozen=True)
class PhotoPlan:
    """One photo of a fitting. ``framed``: px_per_mm is exact, and box and card fit into the picture."""

    file: str
    seed: int
    view: str
    light: str
    card: bool
    card_label: str | None = None
    poor: str = ""
    time: str | None = None
    px_per_mm: float | None = None
    orientation: int = 1
    fingers: bool = False
    framed: bool = False


def _fault_length(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.round(np.exp(rng.uniform(np.log(low), np.log(high))), 2))


def _stop(rng: np.random.Generator, grip: str, faulty: bool) -> tuple[str, float]:
    if not faulty:
        return "past_grip", float(np.round(rng.uniform(1.5, 12.0), 2))
    kind = rng.choice(["outside_grip", "outside_enclosure", "under_grip"], p=[0.42, 0.48, 0.10])
    if grip in ("moulded", "none"):
        kind = "outside_enclosure"
    if kind == "under_grip":
        return "under_grip", float(np.round(rng.uniform(0.15, 0.9), 2))
    if kind == "outside_grip":
        return "outside_grip", _fault_length(rng, 0.6, 12.0)
    return "outside_enclosure", _fault_length(rng, 0.6, 26.0)


def draw_cable(rng: np.random.Generator, grip: str, side: str, sloppy: float) -> CablePlan:
    """One cable; ``sloppy`` 0..1 is the share of things done badly."""
    size = str(rng.choice(list(fam.CABLES), p=[0.3, 0.3, 0.16, 0.12, 0.12]))
    flat = fam.CABLES[size]["flat"]
    sheath = str(
        rng.choice(["grey", "white", "black"], p=[0.56, 0.34, 0.10] if flat else [0.2, 0.5, 0.3])
    )
    pair = ("brown", "blue")
    if flat:
        options = [("brown", "blue"), ("red", "black"), ("brown", "grey")]
        pair = options[int(rng.choice(3, p=[0.76, 0.16, 0.08]))]
    cpc = "insulated"
    if flat:
        share = 0.05 + 0.5 * sloppy
        cpc = str(
            rng.choice(
                ["sleeved", "bare", "cut_short", "none_comes_out"],
                p=[1 - share, share * 0.45, share * 0.3, share * 0.25],
            )
        )
    elif rng.random() < 0.2 * sloppy:
        cpc = str(rng.choice(["cut_short", "none_comes_out"]))
    names = [*pair, "cpc"]
    copper = {n: _fault_length(rng, 0.5, 10.0) for n in names if rng.random() < 0.75 * sloppy}
    return CablePlan(
        size, sheath, pair, side, _stop(rng, grip, rng.random() < 0.8 * sloppy), cpc, copper
    )


def draw_fitting(seed: int, family: str, sloppy: float | None = None) -> FittingPlan:
    """A fitting of one family from a seed. ``sloppy`` None: sound in about two of five."""
    rng = np.random.default_rng([seed, 1])
    box = str(rng.choice(list(fam.BOXES[family])))
    terminal = str(rng.choice(list(fam.TERMINALS[family])))
    background = str(rng.choice(list(fam.BACKGROUNDS[family])))
    grip = str(rng.choice(list(fam.GRIPS), p=[0.42, 0.26, 0.1, 0.14, 0.08]))
    if sloppy is None:
        sloppy = 0.0 if rng.random() < 0.36 else float(rng.uniform(0.7, 1.0))
    count = int(rng.choice([1, 2, 3], p=[0.32, 0.5, 0.18]))
    sides = [str(rng.choice(["left", "right"]))]
    sides += [str(rng.choice(["left", "right"])) for _ in range(count - 1)]
    if sides.count("left") == 3 or sides.count("right") == 3:
        sides[-1] = "right" if sides[0] == "left" else "left"
    cables = tuple(draw_cable(rng, grip, s, sloppy) for s in sides)
    return FittingPlan(seed, family, box, terminal, background, grip, cables)


def draw_photo(seed: int, family: str, file: str, poor: str = "") -> PhotoPlan:
    """A photo of a fitting of one family from a seed."""
    rng = np.random.default_rng([seed, 2])
    view = str(rng.choice(["inside", "entry", "terminals", "closed"], p=[0.56, 0.22, 0.17, 0.05]))
    light = str(rng.choice(list(fam.LIGHTS[family])))
    near = rng.random() < 0.26 and view != "closed"
    scale = float(rng.uniform(12.2, 15.5) if near else rng.uniform(5.2, 11.5))
    when = f"2026-{rng.integers(1, 10):02d}-{rng.integers(1, 28):02d}T{rng.integers(8, 17):02d}:{rng.integers(60):02d}:{rng.integers(60):02d}"
    orientation = int(rng.choice([1, 3, 6, 8], p=[0.85, 0.05, 0.05, 0.05]))
    card = bool(rng.random() < 0.52)
    return PhotoPlan(
        file,
        seed,
        view,
        light,
        card,
        None,
        poor,
        when,
        scale,
        orientation,
        bool(rng.random() < 0.13),
    )


def from_spec(spec: dict[str, Any]) -> list[tuple[FittingPlan, PhotoPlan]]:
    """Fittings and photos of a specification (see SPEC.md), as parsed from TOML.

    Raises
    ------
    ValueError
        Names the entry and field that is wrong.
    """
    from .spec import read_spec

    return read_spec(spec)
