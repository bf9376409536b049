"""Cable grips: clamp bar with two screws, push-down wedge, metal strap."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from . import textures as tx
from .mesh import Mesh, box_mesh, inset, joined, loft, rounded_rect
from .parts import Entry, Look, Part, jittered
from .parts_box import screw_parts

F = NDArray[np.float64]


def _arched(width: float, length: float, thick: float, arch: float, span: float) -> Mesh:
    """A bar ``width`` along x, ``length`` along y, raised by ``arch`` in the middle ``span``."""
    outline = rounded_rect(width, length, 1.2, 0.8)
    rings = []
    for by, z in ((0.0, 0.35), (0.0, thick - 0.6), (0.25, thick - 0.2), (0.8, thick)):
        ring = inset(outline, by)
        lift = arch * np.clip(1.3 - np.abs(ring[:, 1]) / (span / 2), 0, 0.3) / 0.3
        rings.append(np.column_stack([ring, z + lift]))
    return loft(np.stack(rings), True, True)


def grip_parts(
    rng: np.random.Generator,
    kind: str,
    entry: Entry,
    lateral: tuple[float, float],
    under: float,
    top: float,
    box_colour: tuple[int, int, int],
    box_look: Look,
) -> list[Part]:
    """The grip over one or more cables.

    ``lateral``: (low, high) y of the cables' outer edges; ``under`` / ``top``: z of the underside and
    upper side of what it bears on.
    """
    assert entry.grip_in is not None and entry.grip_out is not None
    width = entry.grip_in - entry.grip_out
    mid = entry.point + entry.inward * (entry.grip_out + entry.grip_in) / 2
    y = (lateral[0] + lateral[1]) / 2
    span = lateral[1] - lateral[0]
    at = np.array([mid[0], y, top])
    saddle = box_mesh(width, span + 13, max(under - 1.9, 0.3), 0.3, 0.8).moved(
        np.eye(3), (mid[0], y, 1.9)
    )
    parts = [Part(saddle, box_look, "enclosure", "enclosure")]
    if kind == "push-down":
        return parts + _push_down(rng, width, span, at, under, box_colour, box_look)
    metal = kind == "strap"
    boss_h = max(top - under - 0.2, 0.5)
    for sign in (-1, 1):
        post = box_mesh(width * 0.9, 6.0, boss_h, 0.3, 2.0)
        parts.append(
            Part(
                post.moved(np.eye(3), (mid[0], y + sign * (span / 2 + 3.6), under)),
                box_look,
                "enclosure",
                "enclosure",
            )
        )
    thick = 1.0 if metal else float(rng.uniform(2.4, 4.0))
    bar = _arched(width, span + 14, thick, float(rng.uniform(0, 1.2)), span)
    look = _bar_look(rng, metal, box_colour, box_look)
    parts.append(Part(bar.moved(np.eye(3), at), look, "grip", "grip"))
    screw_metal = "zinc" if rng.random() < 0.75 else "brass"
    screw_look = Look(screw_metal, None, tx.oxide(rng), float(rng.uniform(0.12, 0.35)))
    for sign in (-1, 1):
        place = at + np.array([0, sign * (span / 2 + 3.8), thick])
        parts += screw_parts(rng, min(2.6, width * 0.36), place, screw_metal, screw_look)
    return parts


def _bar_look(
    rng: np.random.Generator, metal: bool, box_colour: tuple[int, int, int], box_look: Look
) -> Look:
    if metal:
        return Look("zinc", None, tx.oxide(rng), 0.3)
    if rng.random() < 0.5:
        return box_look
    options = [(235, 235, 230), (60, 60, 62), (150, 152, 152), (226, 214, 186), (40, 40, 42)]
    colour = jittered(rng, options[int(rng.integers(len(options)))])
    return Look("plastic", colour, tx.plastic(rng, colour, 0.08), float(rng.uniform(0.15, 0.35)))


def _push_down(
    rng: np.random.Generator,
    width: float,
    span: float,
    at: F,
    under: float,
    box_colour: tuple[int, int, int],
    box_look: Look,
) -> list[Part]:
    look = _bar_look(rng, False, box_colour, box_look)
    block = [box_mesh(width, span + 3.0, float(rng.uniform(4, 7)), 0.6, 0.8)]
    h = float(block[0].v[:, 2].max())
    for k in range(3):
        x = (k - 1) * width / 3.2
        block.append(box_mesh(0.9, span + 1.5, 0.9, 0.25, 0.3).moved(np.eye(3), (x, 0, h - 0.1)))
    parts = [Part(joined(block).moved(np.eye(3), at), look, "grip", "grip")]
    for sign in (-1, 1):
        post = box_mesh(width + 2.0, 2.4, at[2] - under + h * 0.8, 0.4, 0.6)
        place = (at[0], at[1] + sign * (span / 2 + 3.2), under)
        parts.append(Part(post.moved(np.eye(3), place), box_look, "enclosure", "enclosure"))
    return parts
