"""The enclosure: tray with notched wall, bosses, ribs, lid."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import textures as tx
from .mesh import (
    Mesh,
    box_mesh,
    circle,
    flat_ring,
    inset,
    joined,
    loft,
    resample_loop,
    rounded_rect,
    slab,
    tube_ring_stack,
)
from .parts import Entry, Look, Part, jittered

F = NDArray[np.float64]
WALL_BEVEL = 0.6


def outline_of(spec: dict[str, Any]) -> F:
    """Outer outline (N, 2) of a box of ``families.BOXES``, about 0.5 mm steps."""
    length, width, _ = spec["size"]
    if spec["shape"] == "round":
        return resample_loop(circle(length / 2, 720), 0.5)
    return rounded_rect(length, width, spec["corner"], 0.5)


def wall_x(outline: F, y: float, side: str) -> float:
    """Where the outline crosses the line at y on its left or right side."""
    sign = -1.0 if side == "left" else 1.0
    part = outline[outline[:, 0] * sign > 0]
    order = np.argsort(part[:, 1])
    return float(np.interp(y, part[order, 1], part[order, 0]))


def _rim(outline: F, height: float, entries: list[tuple[Entry, float, float]]) -> F:
    rim = np.full(len(outline), height)
    for entry, half, drop in entries:
        near = np.abs(outline[:, 0] - entry.point[0]) < 14
        dy = np.abs(outline[:, 1] - entry.point[1])
        edge = np.clip((dy - half) / 0.5, 0, 1)
        floor = entry.height - drop
        rim = np.where(near, np.minimum(rim, floor + (height - floor) * edge), rim)
    return rim


def tray(outline: F, wall: float, height: float, entries: list[tuple[Entry, float, float]]) -> Mesh:
    """An open tray; each entry is (entry, half width, drop below the cable's middle) of its notch."""
    rim = _rim(outline, height, entries)
    b = WALL_BEVEL
    inner = inset(outline, wall)
    rings = [
        flat_ring(inset(outline, 0.8), 0.0),
        flat_ring(outline, 0.8),
        flat_ring(outline, rim - b),
        flat_ring(inset(outline, b * 0.3), rim - b * 0.3),
        flat_ring(inset(outline, b), rim),
        flat_ring(inset(outline, wall - b), rim),
        flat_ring(inset(outline, wall - b * 0.3), rim - b * 0.3),
        flat_ring(inner, rim - b),
        flat_ring(inner, 3.2),
        flat_ring(inset(outline, wall + 1.2), 2.0),
    ]
    return loft(np.stack(rings), True, True)


def bridge(entry: Entry, half: float, drop: float, height: float, wall: float) -> Mesh:
    """What closes a notch above the cable, so that it is a hole."""
    bar = box_mesh(wall, 2 * half + 1.0, height - entry.height - drop, 0.4, 0.3)
    x = entry.point[0] + entry.inward[0] * wall / 2
    return bar.moved(np.eye(3), (x, entry.point[1], entry.height + drop))


def _boss(radius: float, height: float) -> Mesh:
    hole = radius * 0.45
    return tube_ring_stack(
        [
            (radius + 0.6, 0),
            (radius, 1.0),
            (radius, height - 0.4),
            (radius - 0.4, height),
            (hole + 0.2, height),
            (hole, height - 0.3),
            (hole, height - 8),
        ],
        28,
    )


def fitments(rng: np.random.Generator, outline: F, height: float, wall: float) -> Mesh | None:
    """Screw bosses, ribs and knock-outs on the floor and walls, in a random choice."""
    out: list[Mesh] = []
    inner = inset(outline, wall + 3.4)
    span = inner.max(0)
    corners = [inner[np.argmax(inner @ np.array([sx, sy]))] for sx in (-1, 1) for sy in (-1, 1)]
    if rng.random() < 0.8:
        pick = corners if rng.random() < 0.5 else corners[:1] + corners[3:]
        out += [
            _boss(rng.uniform(2.6, 3.4), height - rng.uniform(0.5, 5)).moved(
                np.eye(3), (c[0], c[1], 0)
            )
            for c in pick
        ]
    for _ in range(int(rng.integers(0, 5))):
        r = rng.uniform(3, 9)
        x, y = (
            rng.uniform(-span[0] * 0.6, span[0] * 0.6),
            rng.uniform(-span[1] * 0.6, span[1] * 0.6),
        )
        ring = tube_ring_stack(
            [(r, 0), (r, 2.35), (r - 0.3, 2.5), (r - 0.8, 2.5), (r - 1.0, 2.05), (1e-3, 2.05)], 40
        )
        out.append(ring.moved(np.eye(3), (x, y, 0)))
    for _ in range(int(rng.integers(0, 4))):
        rib = box_mesh(1.2, rng.uniform(6, span[1]), rng.uniform(3.2, 6), 0.3, 0.3)
        out.append(
            rib.moved(
                np.eye(3),
                (rng.uniform(-span[0], span[0]) * 0.7, rng.choice([-1, 1]) * span[1] * 0.6, 0),
            )
        )
    return joined(out) if out else None


def screw_mesh(rng: np.random.Generator, radius: float, pan: bool = True) -> tuple[Mesh, Mesh]:
    """A screw's head standing on z = 0 with its slot or cross, and the dark of the slot."""
    h = radius * (0.55 if pan else 0.3)
    head = tube_ring_stack(
        [
            (radius, -1.0),
            (radius, h * 0.4),
            (radius * 0.92, h * 0.75),
            (radius * 0.75, h),
            (radius * 0.4, h * 1.06),
        ],
        32,
    )
    angle = rng.uniform(0, np.pi)
    arms = [angle] if rng.random() < 0.5 else [angle, angle + np.pi / 2]
    slots = []
    for a in arms:
        turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1.0]])
        length = radius * (1.8 if len(arms) == 1 else 1.15)
        slots.append(box_mesh(length, radius * 0.3, 0.12, 0.02, 0.05).moved(turn, (0, 0, h * 1.0)))
    return head, joined(slots)


def screw_parts(
    rng: np.random.Generator, radius: float, at: F, metal: str, look: Look, matrix: F | None = None
) -> list[Part]:
    """A screw of brass or zinc with its slot, standing at a point."""
    turn = np.eye(3) if matrix is None else matrix
    head, slot = screw_mesh(rng, radius)
    dark = Look("matt", (46, 42, 36) if metal == "brass" else (42, 44, 46))
    return [
        Part(head.moved(turn, at), look, metal, f"screw-{metal}"),
        Part(slot.moved(turn, at), dark, metal, f"slot-{metal}"),
    ]


def box_parts(
    rng: np.random.Generator,
    spec: dict[str, Any],
    outline: F,
    notches: list[tuple[Entry, float, float]],
    wall: float,
) -> tuple[list[Part], Look]:
    """The tray with what belongs to it; returns its look too, for the lid."""
    height = float(spec["size"][2])
    colour = jittered(rng, spec["colour"])
    look = Look(
        "plastic",
        colour,
        tx.plastic(rng, colour, float(rng.uniform(0.02, 0.3))),
        float(rng.uniform(0.16, 0.42)),
    )
    meshes = [tray(outline, wall, height, notches)]
    for entry, half, drop in notches:
        if entry.kind == "moulded":
            meshes.append(bridge(entry, half, drop, height, wall))
    extra = fitments(rng, outline, height, wall)
    if extra is not None:
        meshes.append(extra)
    parts = [Part(joined(meshes), look, "enclosure", "enclosure")]
    if rng.random() < 0.4:
        zinc = Look("zinc", None, tx.oxide(rng), float(rng.uniform(0.15, 0.35)))
        span = outline.max(0)
        for sign in (-1, 1):
            at = np.array([sign * span[0] * 0.45, -sign * span[1] * 0.55, 2.6])
            parts += screw_parts(rng, float(rng.uniform(2.2, 3.2)), at, "zinc", zinc)
    if rng.random() < 0.35:
        parts.append(_sticker(rng, outline))
    return parts, look


def _sticker(rng: np.random.Generator, outline: F) -> Part:
    """A paper label without text: grey lines only."""
    tex = np.full((96, 160, 3), 0.9, np.float32)
    for row in range(12, 84, int(rng.integers(8, 14))):
        tex[row : row + 3, 10 : int(rng.integers(60, 150))] = 0.35
    span = outline.max(0)
    mesh = box_mesh(24, 14, 0.15, 0.05, 0.8)
    angle = rng.uniform(-0.2, 0.2)
    turn = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]]
    )
    x, y = mesh.v[:, 0] / 24 + 0.5, mesh.v[:, 1] / 14 + 0.5
    mesh = Mesh(mesh.v, mesh.f, np.stack([x, y], -1), mesh.n)
    return Part(
        mesh.moved(turn, (0, rng.choice([-1, 1]) * span[1] * 0.5, 2.1)),
        Look("matt", None, tex),
        "other",
        "sticker",
    )


def lid_parts(
    rng: np.random.Generator,
    outline: F,
    height: float,
    look: Look,
    on: bool,
    place: F | None = None,
) -> list[Part]:
    """The lid, on the box (closed) or lying beside it upside down."""
    plate = slab(inset(outline, -0.4), 0.0, 2.4, 0.8)
    if on:
        parts = [Part(plate.moved(np.eye(3), (0, 0, height)), look, "enclosure", "lid")]
        zinc = Look("zinc", None, tx.oxide(rng), 0.22)
        inner = inset(outline, 5)
        for k in (np.argmax(inner @ np.array([-1, -1])), np.argmax(inner @ np.array([1, 1]))):
            parts += screw_parts(rng, 2.8, np.array([*inner[k], height + 2.3]), "zinc", zinc)
        return parts
    skirt = loft(
        np.stack(
            [
                flat_ring(inset(outline, 2.6), 2.0),
                flat_ring(inset(outline, 2.6), 5.0),
                flat_ring(inset(outline, 4.0), 5.0),
                flat_ring(inset(outline, 4.0), 2.0),
            ]
        )
    )
    angle = rng.uniform(0, 2 * np.pi)
    turn = np.array(
        [[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]]
    )
    at = np.zeros(3) if place is None else place
    return [Part(joined([plate, skirt]).moved(turn, at), look, "enclosure", "lid")]
