"""A fitting plan to a fitting: where everything lies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import families as fam
from .curves import Axis, bspline, length_along, resampled
from .mesh import inset, rot_z
from .parts import Cable, Entry, Fitting, Look, Mouth, Part
from .parts_box import box_parts, lid_parts, outline_of, wall_x
from .parts_cable import copper_look, core_parts, sheath_parts
from .parts_grip import grip_parts
from .parts_terminal import mouths_of, terminal_parts
from .plan import CablePlan, FittingPlan
from .routes import route_cores

F = NDArray[np.float64]
FLOOR = 2.0


@dataclass(frozen=True)
class Slot:
    """Room for the cables of one wall: side, middle y of each cable by plan index, shared grip or not."""

    side: str
    at: dict[int, float]
    shared: bool


def _slots(rng: np.random.Generator, plan: FittingPlan, width: float) -> list[Slot]:
    out = []
    for side in ("left", "right"):
        members = [i for i, c in enumerate(plan.cables) if c.side == side]
        if not members:
            continue
        widths = [fam.CABLES[plan.cables[i].size]["sheath"][1] for i in members]
        shared = len(members) == 1 or width < 58 or rng.random() < 0.6
        gap = float(rng.uniform(0.6, 3.0)) if shared else 16.0
        total = sum(widths) + gap * (len(members) - 1)
        room = max(0.0, width / 2 - 12 - total / 2 - 5)
        y = float(rng.uniform(-room, room)) - total / 2
        at = {}
        for i, w in zip(members, widths, strict=True):
            at[i] = y + w / 2
            y += w + gap
        out.append(Slot(side, at, shared))
    return out


def _entries(
    rng: np.random.Generator,
    plan: FittingPlan,
    outline: F,
    slots: list[Slot],
    wall: float,
    height: float,
) -> dict[int, Entry]:
    kind = "clamp" if plan.grip in ("clamp-bar", "push-down", "strap") else plan.grip
    out = {}
    for slot in slots:
        z = float(rng.uniform(0.3, 0.5)) * height
        thickest = max(fam.CABLES[plan.cables[i].size]["sheath"][0] for i in slot.at)
        z = max(z, FLOOR + thickest / 2 + 1.0)
        at_wall = rng.random() < 0.18
        go = 0.0 if at_wall else wall + float(rng.uniform(0.6, 7.0))
        wants = [plan.cables[i].stop for i in slot.at]
        if any(k == "outside_grip" and mm > go + 2 for k, mm in wants):
            go = wall + float(rng.uniform(4.0, 9.0))
        width = float(rng.uniform(4.5, 8.0)) + (wall if at_wall else 0)
        x_mid = wall_x(outline, float(np.mean(list(slot.at.values()))), slot.side)
        for i, y in slot.at.items():
            x = wall_x(outline, y, slot.side)
            inward = np.array([1.0 if slot.side == "left" else -1.0, 0, 0])
            skew = (x - x_mid) * inward[0]
            gripped = kind == "clamp"
            entry = Entry(
                kind,
                np.array([x, y, z]),
                inward,
                wall,
                go - skew if gripped else None,
                go + width - skew if gripped else None,
                z,
            )
            out[i] = entry
    return out


def _axis(
    rng: np.random.Generator, entry: Entry, thick: float, ground: float, spread: float
) -> Axis:
    """Middle line: wanders in from outside over the ground, then straight in through the wall and on."""
    p, d = entry.point, entry.inward
    z0 = ground + thick / 2 + 0.2
    straight = 10.0
    start = p - d * straight
    left = np.array([-d[1], d[0], 0.0])
    ctrl = [start, start - d * 8]
    heading = -d
    pos = start - d * 8
    bend = rng.normal(0, 0.18) + spread
    for k in range(7):
        heading = heading + left * (bend + rng.normal(0, 0.10))
        heading = heading / np.linalg.norm(heading)
        pos = pos + heading * 30
        pos[2] = (
            z0
            + (entry.height - z0) * max(0.0, 1 - (k + 1) / 2.0)
            + abs(rng.normal(0, 0.7)) * (k > 0)
        )
        ctrl.append(pos.copy())
    outside = bspline(np.array(ctrl[::-1]), 500)
    inside = np.linspace(start, p + d * 60, 300)[1:]
    path = resampled(np.vstack([outside, inside]), 0.4)
    s = length_along(path)
    s0 = s[np.argmin(np.linalg.norm(path - p, axis=1))]
    near = int(np.argmin(np.linalg.norm(path - p, axis=1)))
    s0 = s[near] + float((p - path[near]) @ d)
    return Axis(path, s - s0)


def _stop_of(cable: CablePlan, entry: Entry, room: float) -> float:
    kind, mm = cable.stop
    inner = entry.grip_in if entry.grip_in is not None else entry.wall_mm
    outer = entry.grip_out if entry.grip_out is not None else 0.0
    if kind == "past_grip":
        return inner + min(mm, room)
    if kind == "outside_grip":
        return outer - mm
    if kind == "under_grip":
        return outer + (inner - outer) * mm
    return -mm


def _terminal_place(
    rng: np.random.Generator,
    plan: FittingPlan,
    spec: dict[str, Any],
    outline: F,
    poles: int,
    hole: float,
) -> tuple[F, F]:
    span = outline.max(0)
    count = poles * (2 if spec["kind"] == "push" else 1)
    long = count * float(spec["pitch"])
    sides = {c.side for c in plan.cables}
    shift = 0.0
    if len(sides) == 1:
        shift = (0.32 if "left" in sides else -0.32) * span[0]
    turned = rng.normal(0, 0.14)
    if rng.random() < 0.2 and len(sides) == 1:
        turned += rng.choice([-1, 1]) * rng.uniform(0.4, 0.9)
    room = max(0.0, span[1] - long / 2 - 5)
    y = float(rng.uniform(-room, room)) * 0.7
    z = FLOOR + hole + 1.4 + float(rng.uniform(0, 2.0))
    return np.array([shift + rng.normal(0, 1.5), y, z]), rot_z(float(turned))


def build_fitting(plan: FittingPlan, ground: float = 0.0, closed: bool = False) -> Fitting:
    """Everything of a fitting, with exact places of what the truth needs."""
    rng = np.random.default_rng([plan.seed, 10])
    spec = fam.BOXES[plan.family][plan.box]
    outline = outline_of(spec)
    height, wall = float(spec["size"][2]), float(rng.uniform(1.8, 2.6))
    slots = _slots(rng, plan, float(spec["size"][1]))
    entries = _entries(rng, plan, outline, slots, wall, height)
    tspec = fam.TERMINALS[plan.family][plan.terminal]
    biggest = max(fam.CABLES[c.size]["core"] for c in plan.cables)
    push = tspec["kind"] == "push"
    hole = (
        min(max(biggest / 2 + 0.25, 1.6), float(tspec["pitch"]) / 2 - 0.5)
        if push
        else min(float(tspec["pitch"]) / 2 - 1.2, max(2.6, biggest * 0.95))
    )
    poles = 3 if push or rng.random() < 0.7 else 4
    centre, turn = _terminal_place(rng, plan, tspec, outline, poles, hole)
    mouths = mouths_of(tspec, centre, turn, poles, hole)
    cables = _cables(rng, plan, entries, mouths, ground, inset(outline, wall + 1.5), poles)
    parts, box_look = _enclosure(rng, plan, spec, outline, entries, wall, cables, closed)
    if not closed:
        parts += terminal_parts(rng, tspec, centre, turn, poles, hole)
        parts += _grips(rng, plan, slots, entries, cables, spec, box_look)
    for cable in cables:
        cp = plan.cables[cable.plan_index]
        parts += sheath_parts(rng, cable, cp.sheath)
        copper = copper_look(rng)
        for core in cable.cores:
            parts += core_parts(rng, core, copper, stranded=not fam.CABLES[cp.size]["flat"])
    return Fitting(parts, cables, mouths, outline, height, poles)


def _enclosure(
    rng: np.random.Generator,
    plan: FittingPlan,
    spec: dict[str, Any],
    outline: F,
    entries: dict[int, Entry],
    wall: float,
    cables: list[Cable],
    closed: bool,
) -> tuple[list[Part], Look]:
    notches = []
    for cable in cables:
        e = cable.entry
        half = cable.half[0] + (0.5 if e.kind == "moulded" else float(rng.uniform(0.5, 1.4)))
        drop = cable.half[1] + (0.4 if e.kind == "moulded" else 0.8)
        notches.append((e, half, drop))
    parts, look = box_parts(rng, spec, outline, notches, wall)
    height = float(spec["size"][2])
    if closed:
        parts += lid_parts(rng, outline, height, look, True)
    elif rng.random() < 0.3:
        sign = rng.choice([-1, 1])
        place = np.array([rng.uniform(-40, 40), sign * (outline[:, 1].max() * 2 + 18), 0.5])
        parts += lid_parts(rng, outline, height, look, False, place)
    return parts, look


def _cables(
    rng: np.random.Generator,
    plan: FittingPlan,
    entries: dict[int, Entry],
    mouths: list[Mouth],
    ground: float,
    inner: F,
    poles: int,
) -> list[Cable]:
    out = []
    used: dict[int, int] = {}
    order = [int(k) for k in rng.permutation(poles)[:3]]
    for i, cp in enumerate(plan.cables):
        size = fam.CABLES[cp.size]
        thick, width = size["sheath"]
        entry = entries[i]
        same = [k for k in entries if plan.cables[k].side == cp.side]
        spread = 0.12 * (same.index(i) - (len(same) - 1) / 2) * (-1 if cp.side == "left" else 1)
        axis = _axis(rng, entry, thick, ground, spread)
        gap = min(abs(m.point[0] - entry.point[0]) for m in mouths)
        room = max(1.2, gap - (entry.grip_in or entry.wall_mm) - 9)
        cable = Cable(
            f"c{i + 1}", i, axis, entry, (width / 2, thick / 2), _stop_of(cp, entry, room)
        )
        route_cores(rng, cable, cp, mouths, order, used, inner, len(same) > 1 and len(mouths) < 12)
        out.append(cable)
    return out


def _grips(
    rng: np.random.Generator,
    plan: FittingPlan,
    slots: list[Slot],
    entries: dict[int, Entry],
    cables: list[Cable],
    spec: dict[str, Any],
    look: Look,
) -> list[Part]:
    if plan.grip in ("moulded", "none"):
        return []
    parts: list[Part] = []
    for slot in slots:
        groups = [list(slot.at)] if slot.shared else [[i] for i in slot.at]
        for group in groups:
            members = [cables[i] for i in group]
            e = entries[group[0]]
            low = min(c.entry.point[1] - c.half[0] for c in members)
            high = max(c.entry.point[1] + c.half[0] for c in members)
            tops = [
                c.half[1] if c.sheath_stop > (c.entry.grip_out or 0) + 1 else _bundle(c)
                for c in members
            ]
            parts += grip_parts(
                rng,
                plan.grip,
                e,
                (low, high),
                e.height - min(tops),
                e.height + max(tops),
                spec["colour"],
                look,
            )
    return parts


def _bundle(cable: Cable) -> float:
    """Half height of the bare bundle of cores in a grip."""
    return max([c.radius for c in cable.cores] + [0.6]) * (
        1.0 if cable.cores and cable.half[0] > cable.half[1] * 1.2 else 1.75
    )
