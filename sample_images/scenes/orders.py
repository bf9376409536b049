"""Practice photos to order: which fitting and photo an order means, and whether they show what was asked.

An order and its seed give the same photo every time: plans are drawn one after another from the seed,
and the first whose exact lengths and whose sight of the fault meet the order is taken.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import combinations
from typing import Final

import numpy as np
from numpy.typing import NDArray

from . import families as fam
from .curves import cut
from .parts import Cable, Core, Fitting
from .plan import CablePlan, FittingPlan, PhotoPlan, draw_fitting, draw_photo
from .truth import BARE_CPC_MM, COPPER_FAULT_MM, bare_length

F = NDArray[np.float64]

FAMILY: Final = "practice"
TOLERANCE_MM: Final = 0.1
"""A length in the truth may differ from the order's by so much."""
IN_WALL_MM: Final = 1.5
"""A sheath that stops short of the grip, but inside, is so far in: nearer nobody could tell the two lines apart."""
CLASH_MM: Final = 6.5
"""Cores may run through one another on so short a way: at a crossing. Along a longer one anybody sees it."""
OVERLAP_MM: Final = 0.8
STEP_MM: Final = 0.6
TURN: Final = (4.0, 100.0)
"""Over so many mm a core turns by so many degrees at most: insulated wire does not bend tighter."""
SHORT_MM: Final = 14.0
"""A core shorter than that, sheath to terminal, would have to."""
PAST_GRIP_MM: Final = 2.5
"""On a cable without an ordered fault so much sheath at least shows beyond the grip."""

WIDTH: Final = 1200
"""px; scales and margins are told for photos of this width, others are the same fitting larger or smaller."""
# px per mm by view, for difficulty 1, 2, 3.
_SCALES: Final[dict[str, tuple[tuple[float, float], ...]]] = {
    "inside": ((6.4, 7.6), (6.0, 7.4), (5.4, 6.6)),
    "entry": ((9.5, 12.5), (8.0, 11.0), (6.5, 9.0)),
    "terminals": ((9.5, 12.5), (8.5, 11.5), (7.0, 9.5)),
    "closed": ((9.0, 11.0), (8.0, 10.0), (7.0, 9.0)),
}
_LIGHTS: Final = (("flash", "window"), ("flash", "window", "mixed"), ("torch", "mixed", "flash"))


@dataclass(frozen=True)
class Order:
    """What is asked for. ``mm`` by check, for those of length; ``cables`` are sizes of `families.CABLES`.

    ``checks`` empty: a sound fitting. ``light``, ``sheath``, None: drawn from the seed.
    """

    seed: int
    checks: tuple[str, ...] = ()
    mm: dict[str, float] = field(default_factory=dict)
    cables: tuple[str, ...] = ("1.5",)
    view: str = "inside"
    card: bool = False
    difficulty: int = 2
    sheath: str | None = None
    colours: str = "brown-blue"
    light: str | None = None
    poor: str = ""


def tries(
    order: Order, width: int = WIDTH, count: int = 400
) -> Iterator[tuple[FittingPlan, PhotoPlan]]:
    """Plans of an order, one after another; whether they are built as ordered is another question."""
    for k in range(count):
        rng = np.random.default_rng([order.seed, 60, k])
        seed, photo_seed = (int(s) for s in rng.integers(1, 2**31, 2))
        base = replace(draw_fitting(seed, FAMILY, 0.0), grip=_grip(rng))
        cables = _with_faults(rng, order, _sound_cables(rng, order))
        yield replace(base, cables=cables), _photo(rng, order, photo_seed, width)


def _grip(rng: np.random.Generator) -> str:
    """A grip that shows: a moulded entry hides where the sheath ends."""
    return str(rng.choice(["clamp-bar", "push-down", "strap"], p=[0.52, 0.32, 0.16]))


def _sound_cables(rng: np.random.Generator, order: Order) -> list[CablePlan]:
    sides = ["left", "right"] if rng.random() < 0.5 else ["right", "left"]
    same = len(order.cables) == 2 and rng.random() < 0.3
    pair = order.colours.split("-")
    out = []
    for i, size in enumerate(order.cables):
        flat = bool(fam.CABLES[size]["flat"])
        drawn = str(rng.choice(["grey", "white", "black"], p=[0.55, 0.33, 0.12]))
        stop = ("past_grip", float(np.round(rng.uniform(3.0, 9.0), 2)))
        out.append(
            CablePlan(
                size,
                order.sheath or drawn,
                (pair[0], pair[1]),
                sides[0 if same else i % 2],
                stop,
                "sleeved" if flat else "insulated",
                cpc_bare=0.0 if flat else None,
            )
        )
    return out


def _with_faults(
    rng: np.random.Generator, order: Order, cables: list[CablePlan]
) -> tuple[CablePlan, ...]:
    for check in order.checks:
        fit = [
            i
            for i, c in enumerate(cables)
            if check != "cpc-unsleeved" or fam.CABLES[c.size]["flat"]
        ]
        i = fit[int(rng.integers(len(fit)))]
        mm = order.mm.get(check)
        if check == "core-outside-enclosure":
            cables[i] = replace(cables[i], stop=("outside_enclosure", mm))
        elif check == "core-outside-grip":
            cables[i] = replace(cables[i], stop=("outside_grip", mm))
        elif check == "copper-beyond-terminal":
            core = cables[i].colours[int(rng.integers(2))]
            cables[i] = replace(cables[i], copper={core: float(mm or 0.0)})
        elif check == "cpc-unsleeved":
            whole = mm is None
            cables[i] = replace(cables[i], cpc="bare" if whole else "sleeved", cpc_bare=mm)
        elif check == "cpc-cut-short":
            end = str(rng.choice(["cut_short", "none_comes_out"], p=[0.7, 0.3]))
            cables[i] = replace(cables[i], cpc=end)
        elif check == "core-colours":
            other = ("red", "black") if "red" not in cables[i].colours else ("brown", "blue")
            cables[i] = replace(cables[i], colours=other)
    return tuple(cables)


def _photo(rng: np.random.Generator, order: Order, seed: int, width: int) -> PhotoPlan:
    kinds = _LIGHTS[order.difficulty - 1]
    kind = order.light or kinds[int(rng.integers(len(kinds)))]
    low, high = _SCALES[order.view][order.difficulty - 1]
    return replace(
        draw_photo(seed, FAMILY, "photo.jpg", order.poor),
        view=order.view,
        light=f"{kind}-p",
        card=order.card,
        time=None,
        px_per_mm=float(np.round(rng.uniform(low, high), 2)) * width / WIDTH,
        orientation=1,
        fingers=False,
        framed=True,
    )


def built_as_ordered(order: Order, fit: Fitting) -> bool:
    """True when the geometry has the ordered faults, within `TOLERANCE_MM`, and no other.

    Cores outside the enclosure are outside the grip as well: that one is part of the order.
    """
    found: dict[str, list[float]] = {}
    for cable in fit.cables:
        for check, mm in _faults(cable):
            found.setdefault(check, []).append(mm)
    implied = {"core-outside-grip"} if "core-outside-enclosure" in order.checks else set()
    wanted = set(order.checks) - {"core-colours"}
    if not wanted <= set(found) or not set(found) <= wanted | implied:
        return False
    if any(len(v) > 1 for v in found.values()):
        return False
    right = all(abs(found[c][0] - mm) <= TOLERANCE_MM for c, mm in order.mm.items())
    return right and _tidy(fit)


def _faults(cable: Cable) -> Iterator[tuple[str, float]]:
    """Faults of one cable by its geometry, with their length in mm (0 where there is none)."""
    e, stop = cable.entry, cable.sheath_stop
    if stop < 0:
        yield "core-outside-enclosure", -stop
    if e.grip_out is not None and stop < e.grip_out:
        yield "core-outside-grip", e.grip_out - stop
    cpc = [c for c in cable.cores if c.name == "cpc"]
    if not cpc or cpc[0].ends_at == "open":
        yield "cpc-cut-short", 0.0
    elif bare_length(cpc[0]) > BARE_CPC_MM:
        yield "cpc-unsleeved", bare_length(cpc[0])
    for core in cable.cores:
        if core.ends_at == "terminal" and (core.copper_mm or 0.0) >= COPPER_FAULT_MM:
            yield "copper-beyond-terminal", float(core.copper_mm or 0.0)


def _tidy(fit: Fitting) -> bool:
    """True when sheaths that should come through the grip plainly do, and cores lie as wires can."""
    for cable in fit.cables:
        inner = cable.entry.grip_in if cable.entry.grip_in is not None else cable.entry.wall_mm
        outer = cable.entry.grip_out if cable.entry.grip_out is not None else 0.0
        if outer <= cable.sheath_stop < inner + PAST_GRIP_MM:
            return False
        if 0 <= cable.sheath_stop < min(IN_WALL_MM, outer):
            return False
    cores = [c for cable in fit.cables for c in cable.cores]
    if any(c.ends_at == "terminal" and c.end - c.start < SHORT_MM for c in cores):
        return False
    if any(_turn(c) > TURN[1] for c in cores):
        return False
    return all(_clash(a, b) <= CLASH_MM for a, b in combinations(cores, 2))


def _turn(core: Core) -> float:
    """Greatest change of direction over `TURN`'s length of a core, degrees."""
    d = np.diff(cut(core.path, max(core.start - 1.0, 0.0), core.end, 0.5), axis=0)
    d = d / np.linalg.norm(d, axis=1, keepdims=True)
    k = round(TURN[0] / 0.5)
    if len(d) <= k:
        return 0.0
    return float(np.degrees(np.arccos(np.clip((d[k:] * d[:-k]).sum(1), -1, 1))).max())


def _clash(a: Core, b: Core) -> float:
    """How far along it a core runs inside another, mm. Cores of one cable lie in contact at its sheath."""
    skip = 4.0 if a.cable == b.cable else 0.0
    if min(a.end - a.start, b.end - b.start) <= skip + 1.2:
        return 0.0
    p = cut(a.path, a.start + skip, a.end, STEP_MM)
    q = cut(b.path, b.start + skip, b.end, STEP_MM)
    near = np.linalg.norm(p[:, None] - q[None], axis=-1).min(1)
    return STEP_MM * float((near < _radius(a) + _radius(b) - OVERLAP_MM).sum())


def _radius(core: Core) -> float:
    return core.conductor / 2 if core.bare and core.sleeve is None else core.radius
