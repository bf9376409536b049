"""Sheaths, cores, sleeves, bare copper."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from . import families as fam
from . import textures as tx
from .curves import carried_frame, cut, level_frame
from .mesh import Mesh, sweep
from .parts import Cable, Core, Look, Part, between

F = NDArray[np.float64]


def stadium(thick: float, width: float, n: int = 36) -> F:
    """Section (n, 2) of a flat cable: x across, y up, rounded ends."""
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    p = 3.2 if width > thick * 1.2 else 2.0
    c, s = np.cos(a), np.sin(a)
    x = np.sign(c) * np.abs(c) ** (2 / p) * width / 2
    y = np.sign(s) * np.abs(s) ** (2 / p) * thick / 2
    return np.stack([x, y], -1)


def sheath_parts(rng: np.random.Generator, cable: Cable, sheath: str) -> list[Part]:
    """The sheath from the far end to where it stops, its cut slightly ragged."""
    path = cable.axis.part(float(cable.axis.s[0]), cable.sheath_stop, 1.4)
    _, side, up = level_frame(path)
    section = stadium(2 * cable.half[1], 2 * cable.half[0])
    mesh = sweep(path, side, up, section, (True, True), uv_len=25.0)
    colour = between(rng, fam.SHEATH_COLOURS[sheath])
    texture = tx.plastic(rng, colour, float(rng.uniform(0.03, 0.35)), 256)
    look = Look("plastic", colour, texture, float(rng.uniform(0.2, 0.45)))
    return [Part(_ragged(rng, mesh, path, cable), look, "sheath", f"sheath:{cable.id}")]


def _ragged(rng: np.random.Generator, mesh: Mesh, path: F, cable: Cable) -> Mesh:
    """The last half millimetre before the cut, waved by up to 0.15 mm about its mean."""
    end, tangent = path[-1], path[-1] - path[-3]
    tangent = tangent / np.linalg.norm(tangent)
    v = mesh.v.copy()
    rel = v - end
    depth = rel @ tangent
    near = (depth > -0.5) & (np.linalg.norm(rel, axis=1) < 2.2 * cable.half[0])
    angle = np.arctan2(rel[:, 2], rel @ np.cross([0, 0, 1.0], tangent))
    phase = rng.uniform(0, 6.28, 3)
    wave = sum(np.sin(k * angle + p) for k, p in zip((2, 5, 9), phase, strict=True)) / 3
    v[near] += (0.15 * wave[near] * np.clip(1 + depth[near] / 0.5, 0, 1))[:, None] * tangent
    return Mesh(v, mesh.f, mesh.uv, mesh.n)


def _tube(
    path: F,
    radius: float,
    caps: tuple[bool, bool] = (True, True),
    twist: float = 0.0,
    n: int = 22,
    shape: Callable[[F, F], F] | None = None,
) -> Mesh:
    _, side, up = carried_frame(path)
    a = np.linspace(0, 2 * np.pi, n, endpoint=False)
    section = radius * np.stack([np.cos(a), np.sin(a)], -1)
    return sweep(path, side, up, section, caps, uv_len=12.0, twist=twist, shape=shape)


def _strands(path: F, radius: float, rng: np.random.Generator) -> Mesh:
    """Bunched wires: a section of lobes that turns along the path."""
    lobes = int(rng.integers(7, 10))
    turn = rng.uniform(0.35, 0.7)

    def shape(s: F, a: F) -> F:
        return 0.9 + 0.14 * np.abs(np.cos(lobes / 2 * (a[None] + turn * s[:, None])))

    _, side, up = carried_frame(path)
    a = np.linspace(0, 2 * np.pi, 64, endpoint=False)
    section = radius * np.stack([np.cos(a), np.sin(a)], -1)
    return sweep(path, side, up, section, uv_len=12.0, shape=shape)


def copper_look(rng: np.random.Generator) -> Look:
    """Copper, bright to tarnished."""
    return Look("copper", None, tx.oxide(rng), float(rng.uniform(0.1, 0.32)))


def _stripe_look(rng: np.random.Generator) -> Look:
    green = between(rng, fam.CORE_COLOURS["green"])
    yellow = between(rng, fam.CORE_COLOURS["yellow"])
    return Look(
        "plastic",
        None,
        np.tile(tx.stripes(rng, green, yellow), (1, 3, 1)),
        float(rng.uniform(0.12, 0.3)),
        thrice=True,
    )


def core_parts(rng: np.random.Generator, core: Core, copper: Look, stranded: bool) -> list[Part]:
    """Insulation (or sleeve) and copper of one core."""
    parts: list[Part] = []
    tag = f"{core.cable}:{core.name}"
    total_end = core.end + (4.0 if core.ends_at == "terminal" else 0.0)
    if core.bare:
        parts.append(
            Part(
                _tube(cut(core.path, 0.0, total_end), core.conductor / 2, n=16),
                copper,
                "copper",
                f"copper:{tag}",
            )
        )
        if core.sleeve is not None:
            path = cut(core.path, core.sleeve[0], core.sleeve[1])
            mesh = _tube(path, core.radius, twist=float(rng.uniform(-0.08, 0.08)))
            parts.append(Part(mesh, _stripe_look(rng), "green-and-yellow", f"core:{tag}"))
        return parts
    if core.colour == "green-and-yellow":
        look = _stripe_look(rng)
    else:
        colour = between(rng, fam.CORE_COLOURS[core.colour])
        look = Look(
            "plastic",
            colour,
            tx.plastic(rng, colour, float(rng.uniform(0, 0.12)), 128),
            float(rng.uniform(0.12, 0.34)),
        )
    twist = float(rng.uniform(-0.1, 0.1))
    parts += [Part(m, look, core.colour, f"core:{tag}") for m in _insulation(core, twist)]
    if core.laid_bare is not None:
        inner = cut(core.path, core.laid_bare.start - 0.5, core.laid_bare.stop + 0.5)
        parts.append(
            Part(_conductor(inner, core, stranded, rng), copper, "copper", f"copper:{tag}")
        )
    if total_end > core.insulated + 0.05 or core.ends_at == "terminal":
        inner = cut(core.path, core.insulated - 1.5, max(total_end, core.insulated + 0.3))
        parts.append(
            Part(_conductor(inner, core, stranded, rng), copper, "copper", f"copper:{tag}")
        )
    return parts


def _conductor(path: F, core: Core, stranded: bool, rng: np.random.Generator) -> Mesh:
    radius = core.conductor / 2
    return _strands(path, radius, rng) if stranded else _tube(path, radius, n=18)


def _insulation(core: Core, twist: float) -> list[Mesh]:
    """The tube of insulation, less what is missing of it."""
    gone = core.laid_bare
    if gone is None:
        return [_tube(cut(core.path, 0.0, core.insulated, 0.7), core.radius, twist=twist)]
    if gone.facing is None:
        runs = ((0.0, gone.start), (gone.stop, core.insulated))
        return [_tube(cut(core.path, a, b, 0.7), core.radius, twist=twist) for a, b in runs]
    facing = gone.facing

    def shape(s: F, a: F) -> F:
        there = (s > gone.start) & (s < gone.stop)
        off = np.abs((a - facing + np.pi) % (2 * np.pi) - np.pi)
        return 1 - 0.85 * there[:, None] * (off < np.pi / 3)[None]

    return [_tube(cut(core.path, 0.0, core.insulated, 0.25), core.radius, twist=twist, shape=shape)]
