"""Insulation missing along cores, and CPCs bare before their sleeves: work that was stripped or cut carelessly."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from .families import CABLES
from .parts import Core, LaidBare
from .plan import CablePlan, FittingPlan, PhotoPlan

MARGIN = 1.5
"""Insulation that stays on each side of what is missing, mm."""
OFTEN, ROUND, BARE = 0.4, 0.7, 0.6
"""Share of insulated cores that are damaged, of those the share damaged all round, and
share of sleeved CPCs that are bare before the sleeve."""


def placed(core: Core, at: float, length: float, facing: float | None) -> LaidBare | None:
    """Where on a core insulation is missing; None where the core is too short for it."""
    room = min(core.insulated, core.end) - core.start - 2 * MARGIN - length
    if room <= 0:
        return None
    start = core.start + MARGIN + at * room
    return LaidBare(start, start + length, facing)


def damaged(fplan: FittingPlan, photo: PhotoPlan) -> tuple[FittingPlan, PhotoPlan]:
    """The same fitting with some cores damaged, and its photo under another name; from the fitting's seed alone."""
    rng = np.random.default_rng([fplan.seed, 50])
    cables = [_begun_late(rng, _damaged(rng, c)) for c in fplan.cables]
    name = f"{Path(photo.file).stem}-damaged.jpg"
    return replace(fplan, cables=tuple(cables)), replace(photo, file=name)


def _length(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.round(np.exp(rng.uniform(np.log(low), np.log(high))), 2))


def _damaged(rng: np.random.Generator, cable: CablePlan) -> CablePlan:
    insulated = (*cable.colours, *(() if CABLES[cable.size]["flat"] else ("cpc",)))
    gone = {}
    for name in insulated:
        hit = rng.random() < OFTEN
        facing = None if rng.random() < ROUND else float(rng.uniform(0, 2 * np.pi))
        where, length = float(rng.uniform()), _length(rng, 1.2, 9.0)
        if hit:
            gone[name] = (where, length, facing)
    return replace(cable, laid_bare=gone)


def _begun_late(rng: np.random.Generator, cable: CablePlan) -> CablePlan:
    late, length = rng.random() < BARE, _length(rng, 2.5, 15.0)
    return replace(cable, cpc_bare=length) if late and cable.cpc == "sleeved" else cable
