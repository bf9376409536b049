"""Terminals: screw strips and push-in blocks, opaque or clear, with mouths on both sides."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import textures as tx
from .mesh import Mesh, box_mesh, circle, joined, loft, rot_axes, tube_ring_stack
from .parts import Look, Mouth, Part, jittered
from .parts_box import screw_parts

F = NDArray[np.float64]


def _square_like(n: int, w: float, h: float, radius: float) -> F:
    """A rounded rectangle with n points whose angles match those of a circle of n points."""
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    c, s = np.cos(a), np.sin(a)
    p = 7.0 if radius < 1.2 else 5.0
    r = (np.abs(c / (w / 2)) ** p + np.abs(s / (h / 2)) ** p) ** (-1 / p)
    return np.stack([r * c, r * s], -1)


def _pole(
    length: float, width: float, height: float, hole: float, depth: float, bore_z: float
) -> Mesh:
    """One pole along x, middle of its bore at z = 0: a body with a blind bore in both ends."""
    n = 64
    ring0 = _square_like(n, width, height, 1.0) + np.array([0, height / 2 - bore_z])
    # The outline is star-shaped about its middle, the bore about its own; both run anticlockwise.
    bore = circle(hole, n)
    rings = []

    def add(x: float, outline: F) -> None:
        rings.append(np.column_stack([np.full(n, x), outline]))

    half, b = length / 2, 0.5
    add(-half + depth, bore)
    add(-half + 0.5, bore)
    add(-half, bore * 1.14)
    add(-half, ring0 * np.array([0.93, 0.93]))
    add(-half + b, ring0)
    add(half - b, ring0)
    add(half, ring0 * np.array([0.93, 0.93]))
    add(half, bore * 1.14)
    add(half - 0.5, bore)
    add(half - depth, bore)
    return loft(np.stack(rings), True, True)


def _tower(radius: float, height: float) -> Mesh:
    inner = radius - 0.9
    return tube_ring_stack(
        [
            (radius + 0.2, -1.0),
            (radius, 0),
            (radius, height - 0.3),
            (radius - 0.3, height),
            (inner + 0.2, height),
            (inner, height - 0.3),
            (inner, -0.5),
        ],
        32,
    )


def _brass_tube(length: float, hole: float) -> Mesh:
    profile = [(hole, 0.0), (hole, length), (hole - 0.55, length + 0.01), (hole - 0.6, 0.0)]
    tube = tube_ring_stack(profile, 32)
    turn = rot_axes(np.array([0, 0, -1.0]), np.array([0, 1.0, 0]), np.array([1.0, 0, 0]))
    return tube.moved(turn, (-length / 2, 0, 0))


def mouths_of(spec: dict[str, Any], centre: F, turn: F, poles: int, hole: float) -> list[Mouth]:
    """Mouths of a terminal: sides -1 and +1 of each pole; push-in poles have two a side."""
    out = []
    push = spec["kind"] == "push"
    per = 2 if push else 1
    pitch = float(spec["pitch"])
    for pole in range(poles):
        for k in range(per):
            y = ((pole * per + k) - (poles * per - 1) / 2) * pitch
            for side in (-1, 1):
                point = centre + turn @ np.array([side * spec["length"] / 2, y, 0.0])
                out.append(Mouth(point, turn @ np.array([float(side), 0, 0]), pole, hole))
    return out


def terminal_parts(
    rng: np.random.Generator, spec: dict[str, Any], centre: F, turn: F, poles: int, hole: float
) -> list[Part]:
    """A terminal with ``poles`` poles about ``centre`` (middle of its bores)."""
    colour = jittered(rng, spec["colour"])
    clear = float(spec.get("clear", 1.0))
    look = Look(
        "plastic",
        colour,
        tx.plastic(rng, colour, float(rng.uniform(0, 0.12))) if clear == 1 else None,
        float(rng.uniform(0.12, 0.35)),
        clear,
    )
    build = _push if spec["kind"] == "push" else _strip
    return build(rng, spec, centre, turn, poles, hole, look)


def _place(mesh: Mesh, turn: F, centre: F, y: float) -> Mesh:
    return mesh.moved(np.eye(3), (0, y, 0)).moved(turn, centre)


def _strip(
    rng: np.random.Generator,
    spec: dict[str, Any],
    centre: F,
    turn: F,
    poles: int,
    hole: float,
    look: Look,
) -> list[Part]:
    length, height, pitch = float(spec["length"]), float(spec["height"]), float(spec["pitch"])
    bore_z = hole + 1.3
    body: list[Mesh] = []
    brass = Look("brass", None, tx.oxide(rng), float(rng.uniform(0.15, 0.35)))
    screw = Look(spec["screw"], None, tx.oxide(rng), float(rng.uniform(0.12, 0.3)))
    parts: list[Part] = []
    low = height * 0.68
    for p in range(poles):
        y = (p - (poles - 1) / 2) * pitch
        body.append(
            _place(_pole(length, pitch - 1.4, low, hole, length * 0.42, bore_z), turn, centre, y)
        )
        parts.append(
            Part(
                _place(_brass_tube(length * 0.62, hole - 0.05), turn, centre, y),
                brass,
                "brass",
                "tube-brass",
            )
        )
        for sx in (-1, 1):
            x = sx * length * 0.22
            top = low - bore_z
            radius = min(pitch / 2 - 1.0, 3.4)
            tower = _tower(radius, height - low).moved(np.eye(3), (x, y, top))
            body.append(tower.moved(turn, centre))
            sunk = centre + turn @ np.array([x, y, top + (height - low) * rng.uniform(-0.1, 0.5)])
            parts += screw_parts(rng, radius - 1.2, sunk, spec["screw"], screw, turn)
        if p:
            web = box_mesh(length * 0.5, 2.0, low * 0.6, 0.3, 0.3).moved(
                np.eye(3), (0, y - pitch / 2, -bore_z)
            )
            body.append(web.moved(turn, centre))
    what = "terminal"
    return [Part(joined(body), look, what, "terminal"), *parts]


def _push(
    rng: np.random.Generator,
    spec: dict[str, Any],
    centre: F,
    turn: F,
    poles: int,
    hole: float,
    look: Look,
) -> list[Part]:
    length, height, pitch = float(spec["length"]), float(spec["height"]), float(spec["pitch"])
    bore_z = height * 0.42
    body: list[Mesh] = []
    keys: list[Mesh] = []
    count = poles * 2
    for k in range(count):
        y = (k - (count - 1) / 2) * pitch
        body.append(
            _place(_pole(length, pitch + 0.02, height, hole, length * 0.4, bore_z), turn, centre, y)
        )
        for sx in (-1, 1):
            key = box_mesh(length * 0.2, pitch * 0.62, 1.5, 0.4, 0.5).moved(
                np.eye(3), (sx * length * 0.22, y, height - bore_z - 0.3)
            )
            keys.append(key.moved(turn, centre))
    for p in range(1, poles):
        y = (p * 2 - count / 2) * pitch
        wall = box_mesh(length * 0.9, 0.8, height + 0.6, 0.3, 0.2).moved(np.eye(3), (0, y, -bore_z))
        body.append(wall.moved(turn, centre))
    lever = jittered(rng, spec["lever"])
    metal = Look("zinc", None, tx.oxide(rng), 0.25)
    bars = [
        _place(
            box_mesh(length * 0.5, pitch * 1.5, 1.0, 0.2, 0.3),
            turn,
            centre,
            ((p + 0.5) * 2 - count / 2) * pitch,
        )
        for p in range(poles)
    ]
    return [
        Part(joined(body), look, "terminal", "terminal"),
        Part(joined(keys), Look("plastic", lever, None, 0.2), "terminal", "keys"),
        Part(joined(bars), metal, "zinc", "bar-zinc"),
    ]
