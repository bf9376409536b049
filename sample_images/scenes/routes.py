"""How cores run from the sheath's end to their terminals. Units: mm."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from . import damage
from . import families as fam
from .curves import bezier, length_along, resampled
from .parts import Cable, Core, Mouth
from .plan import CablePlan

F = NDArray[np.float64]
INSIDE = 2.5  # a core starts this far inside the sheath
FLOOR = 2.0


def _offsets(cp: CablePlan) -> dict[str, tuple[float, float]]:
    """Offset (across, up) of each core from the cable's axis: L, cpc, N of flat; a triangle in flex."""
    size = fam.CABLES[cp.size]
    d, c = size["core"], size["cpc"]
    if size["flat"]:
        w = d / 2 + c / 2
        return {cp.colours[0]: (w, 0.0), "cpc": (0.0, 0.0), cp.colours[1]: (-w, 0.0)}
    return {
        cp.colours[0]: (0.52 * d, -0.3 * d),
        cp.colours[1]: (-0.52 * d, -0.3 * d),
        "cpc": (0.0, 0.58 * d),
    }


def _along(cable: Cable, offset: tuple[float, float], s0: float, s1: float) -> F:
    s = np.linspace(s0, s1, max(3, int((s1 - s0) / 0.5) + 1))
    up = np.array([0, 0, offset[1]])
    return cable.axis.at(s) + cable.axis.side_at(s) * offset[0] + up


def _fan(
    rng: np.random.Generator, p0: F, d: F, mouth: Mouth, target: F, inner: F, floor: float
) -> F:
    """A curve from p0 heading d to a mouth's face, kept within the box where it can be."""
    m = mouth.outward
    final = target + m * 2.0
    dist = float(np.linalg.norm(final - p0))
    contour = inner.astype(np.float32)[:, None]
    best, best_score = None, np.inf
    for k in range(8):
        ease = 1 - k / 8
        k1, k2 = dist * rng.uniform(0.3, 0.6), dist * rng.uniform(0.3, 0.55)
        bulge = rng.normal(0, 1, 3) * np.array([2.0, 5.0, 3.0]) * ease
        lift = np.array([0, 0, rng.uniform(0, 10) * ease])
        p1 = p0 + d * k1 + bulge * 0.6 + lift * 0.5
        p2 = final + m * k2 + rng.normal(0, 1, 3) * np.array([2.0, 4.0, 1.5]) * ease + lift
        # Leave p0 along d and meet the mouth along m: handles stay on those lines near the ends.
        p1 = p0 + d * max(2.0, k1) + (p1 - p0 - d * ((p1 - p0) @ d)) * 0.8
        curve = np.vstack(
            [
                bezier(p0, p0 + d * k1 * 0.5, p1, (p1 + p2) / 2, 30),
                bezier((p1 + p2) / 2, p2, final + m * min(4.0, k2), final, 30)[1:],
            ]
        )
        out = [cv2.pointPolygonTest(contour, (float(q[0]), float(q[1])), True) for q in curve[::3]]
        score = sum(max(0.0, -v) for v in out) + max(0.0, floor - curve[:, 2].min()) * 3
        if score < best_score:
            best, best_score = curve, score
        if score == 0:
            break
    assert best is not None
    best[:, 2] = np.maximum(best[:, 2], min(floor, p0[2], final[2]))
    return np.vstack([best, np.linspace(final, target - m * 6.0, 16)[1:]])


def _soft(path: F, sigma: float = 5.0) -> F:
    from .curves import smoothed

    return smoothed(resampled(path, 0.4), sigma)


def _to_mouth(
    rng: np.random.Generator,
    cable: Cable,
    offset: tuple[float, float],
    s_free: float,
    mouth: Mouth,
    target: F,
    inner: F,
    r: float,
) -> tuple[F, float, float]:
    """Path, arc length at the sheath edge, arc length at the mouth's face."""
    head = _along(cable, offset, cable.sheath_stop - INSIDE, s_free)
    d = cable.entry.inward if s_free > -8 else head[-1] - head[-2]
    d = d / np.linalg.norm(d)
    path = _soft(
        np.vstack([head, _fan(rng, head[-1], d, mouth, target, inner, FLOOR + r + 0.2)[1:]])
    )
    s = length_along(path)
    depth = (path - target) @ mouth.outward
    tail = np.where(depth > 0)[0][-1]
    step = depth[tail] / max(depth[tail] - depth[min(tail + 1, len(path) - 1)], 1e-9)
    face = s[tail] + step * (s[min(tail + 1, len(path) - 1)] - s[tail])
    return path, INSIDE, float(face)


def _pick(
    mouths: list[Mouth], pole: int, cable: Cable, used: dict[int, int], per_mouth: int
) -> tuple[int, Mouth]:
    facing = [k for k, m in enumerate(mouths) if m.pole == pole]
    facing.sort(
        key=lambda k: (
            used.get(k, 0) >= per_mouth,
            float(mouths[k].outward @ cable.entry.inward) > 0,
            used.get(k, 0),
        )
    )
    return facing[0], mouths[facing[0]]


def _open_path(
    rng: np.random.Generator,
    cable: Cable,
    offset: tuple[float, float],
    s_free: float,
    length: float,
) -> F:
    head = _along(cable, offset, cable.sheath_stop - INSIDE, s_free)
    d = (head[-1] - head[-2]) / np.linalg.norm(head[-1] - head[-2])
    side = rng.normal(0, 1, 3) * np.array([0.4, 0.6, 0.3]) + np.array([0, 0, 0.25])
    tip = head[-1] + d * length * 0.8 + side * length * 0.45
    tip[2] = max(tip[2], FLOOR + 1.5)
    return _soft(
        np.vstack(
            [
                head,
                bezier(head[-1], head[-1] + d * length * 0.3, head[-1] + d * length * 0.6, tip, 30)[
                    1:
                ],
            ]
        ),
        1.5,
    )


def _cut_short(
    rng: np.random.Generator,
    cable: Cable,
    offset: tuple[float, float],
    at: float,
    colour: str,
    radius: float,
    conductor: float,
    bare: bool,
) -> Core:
    """A CPC that ends in the open."""
    length = float(rng.uniform(3.0, 13.0))
    path = _open_path(rng, cable, offset, at, length)
    end = float(length_along(path)[-1])
    return Core(
        cable.id,
        "cpc",
        "bare" if bare else colour,
        path,
        INSIDE,
        INSIDE if bare else end,
        end,
        "open",
        radius,
        conductor,
        None,
        bare,
    )


def route_cores(
    rng: np.random.Generator,
    cable: Cable,
    cp: CablePlan,
    mouths: list[Mouth],
    order: list[int],
    used: dict[int, int],
    inner: F,
    crowded: bool,
) -> None:
    """Adds the cable's cores with exact lengths to ``cable``."""
    size = fam.CABLES[cp.size]
    flat = bool(size["flat"])
    e = cable.entry
    s_free = max(cable.sheath_stop, e.grip_in or e.wall_mm) + float(rng.uniform(1.0, 3.0))
    cable.cpc = cp.cpc
    names = [cp.colours[0], cp.colours[1], "cpc"]
    for name, pole in zip(names, order, strict=True):
        if name == "cpc" and cp.cpc == "none_comes_out":
            continue
        offset = _offsets(cp)[name]
        radius = size["core"] / 2
        conductor = size["cpc"] if name == "cpc" and flat else size["conductor"]
        colour = "green-and-yellow" if name == "cpc" else name
        core_id = f"{cable.id}"
        if name == "cpc" and cp.cpc == "cut_short":
            at = max(cable.sheath_stop + 0.5, s_free - 2)
            cable.cores.append(_cut_short(rng, cable, offset, at, colour, radius, conductor, flat))
            continue
        k, mouth = _pick(mouths, pole, cable, used, 2)
        target = mouth.point.copy()
        across = np.cross([0, 0, 1.0], mouth.outward)
        shift = (-1.0 if used.get(k, 0) == 0 else 1.0) if crowded else 0.0
        used[k] = used.get(k, 0) + 1
        slack = max(0.0, mouth.radius - conductor / 2 - 0.3)
        target = (
            target
            + across * shift * min(radius * 1.03, slack)
            + np.array([0, 0, rng.uniform(-0.3, 0.3)])
        )
        bare = name == "cpc" and flat
        body = conductor / 2 if bare and cp.cpc == "bare" else radius
        path, start, face = _to_mouth(rng, cable, offset, s_free, mouth, target, inner, body)
        cable.cores.append(
            _finish(rng, core_id, name, colour, path, start, face, cp, radius, conductor, bare)
        )


def _finish(
    rng: np.random.Generator,
    cable_id: str,
    name: str,
    colour: str,
    path: F,
    start: float,
    face: float,
    cp: CablePlan,
    radius: float,
    conductor: float,
    bare: bool,
) -> Core:
    copper = min(cp.copper.get(name, 0.0), max(0.0, (face - start) * 0.55))
    inside = float(rng.uniform(0.3, 2.6))
    insulated = face - copper if copper > 0 else face + inside
    core = Core(
        cable_id,
        name,
        colour,
        path,
        start,
        insulated,
        face,
        "terminal",
        radius,
        conductor,
        None,
        bare,
        copper,
    )
    if bare and cp.cpc == "sleeved":
        drawn = float(rng.uniform(0.0, 1.6))
        core.sleeve = (start + (drawn if cp.cpc_bare is None else cp.cpc_bare), insulated)
        core.radius = conductor / 2 + float(rng.uniform(0.45, 0.8))
    elif bare:
        core.colour, core.copper_mm = "bare", None
    elif name in cp.laid_bare:
        core.laid_bare = damage.placed(core, *cp.laid_bare[name])
    return core
