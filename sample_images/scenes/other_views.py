"""Scenes without an opened enclosure: face, rating plate, the void above. Simple, with no items to judge."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw, ImageFont

from . import families as fam
from . import textures as tx
from .camera import aim
from .compose import Composed
from .lights import lights
from .mesh import Mesh, box_mesh, rot_axes, rot_z, tube_ring_stack
from .parts import Look, Part, jittered
from .plan import FittingPlan, PhotoPlan
from .surroundings import background_parts, clutter_parts

F = NDArray[np.float64]


def bezel_parts(rng: np.random.Generator) -> list[Part]:
    """A downlight's bezel and lens, seen from below: centre at the origin, ceiling at z = 0."""
    outer = float(rng.uniform(40, 46))
    inner = outer - float(rng.uniform(9, 14))
    profile = [
        (outer, -1.0),
        (outer, 1.2),
        (outer - 0.8, 2.4),
        (inner + 1.5, 3.4),
        (inner, 2.6),
        (inner - 1.5, 0.3),
        (inner - 2.5, 0.2),
    ]
    metal = rng.random() < 0.4
    colour = jittered(rng, (238, 238, 236))
    look = (
        Look("zinc", None, tx.oxide(rng), 0.25)
        if metal
        else Look("plastic", colour, tx.plastic(rng, colour, 0.05), 0.25)
    )
    lens = tube_ring_stack(
        [(inner - 1.0, -1.0), (inner - 1.0, 0.5), (inner - 3.0, 0.9), (3.0, 1.5)], 64
    )
    return [
        Part(tube_ring_stack(profile, 96), look, "other", "bezel"),
        Part(lens, Look("plastic", (232, 230, 220), None, 0.3), "other", "lens"),
    ]


def plate_texture(lines: tuple[str, ...], rng: np.random.Generator) -> NDArray[np.float32]:
    """A rating plate (H, W, 3) with lines of text and a frame, 16 px per mm, 60 x 30 mm."""
    w, h = 960, 480
    dark = rng.random() < 0.25
    image = Image.new("RGB", (w, h), (60, 62, 64) if dark else (226, 227, 226))
    ink = (232, 232, 230) if dark else (26, 26, 28)
    draw = ImageDraw.Draw(image)
    draw.rounded_rectangle((14, 14, w - 14, h - 14), 24, outline=ink, width=4)
    step = (h - 60) / max(3, len(lines))
    for i, line in enumerate(lines):
        size = int(step * (0.78 if i == 0 else 0.62))
        room = (w - 92) / draw.textlength(line, font=ImageFont.load_default(size))
        font = ImageFont.load_default(int(size * min(1.0, room)))
        draw.text((46, 32 + i * step), line, fill=ink, font=font)
    return np.asarray(image, np.float32) / 255


def _plate_scene(rng: np.random.Generator, fplan: FittingPlan) -> tuple[list[Part], F]:
    height = float(rng.uniform(20, 30))
    colour = jittered(rng, fam.BOXES[fplan.family][fplan.box]["colour"])
    body = box_mesh(118, 46, height, 1.0, 4.0)
    look = Look("plastic", colour, tx.plastic(rng, colour, 0.12), 0.3)
    z = height + 0.05
    corners = np.array([[-30, 15, z], [30, 15, z], [30, -15, z], [-30, -15, z]])
    uv = np.array([[0, 1.0], [1, 1], [1, 0], [0, 0]])
    label = Mesh(corners, np.array([[0, 2, 1], [0, 3, 2]]), uv, np.tile([0, 0, 1.0], (4, 1)))
    parts = [
        Part(body, look, "enclosure", "body"),
        Part(label, Look("plastic", None, plate_texture(fplan.plate, rng), 0.35), "other", "plate"),
    ]
    return parts, np.array([0.0, 0.0, height])


def _above_scene(rng: np.random.Generator, fplan: FittingPlan) -> tuple[list[Part], F]:
    wood = next(
        (b for b in fam.BACKGROUNDS[fplan.family].values() if b["kind"] == "wood"),
        {"colour": (196, 150, 100), "dark": (134, 92, 56), "pitch": 8.0},
    )
    wool = next(
        (b for b in fam.BACKGROUNDS[fplan.family].values() if b["kind"] == "wool"),
        {"colour": (196, 172, 126)},
    )
    parts: list[Part] = []
    texture = tx.wood(rng, wood["colour"], wood["dark"], wood["pitch"], 1024, 400)
    for sign in (-1, 1):
        joist = box_mesh(860, 47, 95, 1.0, 1.5).moved(np.eye(3), (0, sign * 190, -2))
        joist = Mesh(joist.v, joist.f, joist.uv * 0.25, joist.n)
        parts.append(Part(joist, Look("matt", None, texture), "other", "joist"))
        blanket = background_parts(rng, {"kind": "wool", "colour": wool["colour"]}, 60.0)
        parts += [
            Part(p.mesh.moved(rot_z(0), (0, sign * 664, 0)), p.look, p.what, p.tag)
            for p in blanket[:1]
        ]
    radius = float(rng.uniform(32, 42))
    can = tube_ring_stack(
        [(radius, 0), (radius, 62), (radius - 3, 66), (8, 66.5), (8, 70), (3, 70.5)], 72
    )
    grey = jittered(rng, (196, 198, 200))
    parts.append(Part(can, Look("plastic", grey, tx.plastic(rng, grey, 0.2), 0.35), "other", "can"))
    colour = jittered(rng, fam.BOXES[fplan.family][fplan.box]["colour"])
    turn = rot_z(float(rng.normal(0, 0.3)))
    box = box_mesh(90, 44, 24, 1.0, 5.0).moved(turn, (110, rng.normal(0, 20), 1))
    parts.append(
        Part(box, Look("plastic", colour, tx.plastic(rng, colour, 0.2), 0.3), "enclosure", "box")
    )
    return parts, np.array([40.0, 0.0, 20.0])


def other_scene(fplan: FittingPlan, photo: PhotoPlan, size: tuple[int, int]) -> Composed:
    """The scene of a view ``face``, ``plate`` or ``above``."""
    frng = np.random.default_rng([fplan.seed, 25, len(photo.view)])
    prng = np.random.default_rng([photo.seed, 26])
    scale = {"face": 9.0, "plate": 14.0, "above": 3.4}[photo.view] * size[0] / 1600
    tilt = float(abs(prng.normal(0, 10)))
    background = fam.BACKGROUNDS[fplan.family][fplan.background]
    if photo.view == "face":
        parts, target = bezel_parts(frng), np.zeros(3)
        background = {"kind": "paint", "colour": (232, 231, 227)}
    elif photo.view == "plate":
        parts, target = _plate_scene(frng, fplan)
        parts += clutter_parts(frng, (62.0, 26.0), 0.0)
    else:
        parts, target = _above_scene(frng, fplan)
        background = {"kind": "paper", "colour": (186, 180, 168)}
        tilt = float(prng.uniform(10, 35))
    parts = [*parts, *background_parts(frng, background, 0.0)]
    if photo.view == "face":
        parts = [*parts, _speck(frng)]
    target = target + np.append(prng.normal(0, 3, 2), 0)
    cam = aim(
        prng,
        target,
        scale,
        size[0],
        size[1],
        tilt,
        float(prng.uniform(0, 360)),
        float(prng.normal(0, 7)),
    )
    return Composed(
        parts, cam, lights(prng, fam.LIGHTS[fplan.family][photo.light], cam), None, None, target
    )


def _speck(rng: np.random.Generator) -> Part:
    """The edge of a spring clip's scratch on the ceiling: a faint dark mark."""
    mesh = box_mesh(float(rng.uniform(6, 16)), 0.5, 0.08, 0.02, 0.1)
    turn = rot_axes(np.array([0.8, 0.6, 0]), np.array([-0.6, 0.8, 0]), np.array([0, 0, 1.0]))
    return Part(
        mesh.moved(turn, (rng.uniform(48, 60), rng.uniform(-30, 30), 0.02)),
        Look("matt", (150, 146, 140)),
        "other",
        "mark",
    )
