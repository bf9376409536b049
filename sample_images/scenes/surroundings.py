"""What lies round a fitting: background, site card, fingers, clutter."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from . import families as fam
from . import textures as tx
from .curves import bspline, carried_frame, resampled
from .mesh import Mesh, box_mesh, circle, flat_ring, heightfield, joined, loft, rot_z, sweep
from .parts import Look, Part, jittered

F = NDArray[np.float64]
SIZE = 900.0
TILE = 320.0  # mm covered by one repeat (mirrored) of a background texture
PX = 2048
CARD = (85.6, 54.0)


def background_parts(rng: np.random.Generator, spec: dict[str, Any], ground: float) -> list[Part]:
    """The surface behind, its highest point at z = ``ground``."""
    kind, colour = spec["kind"], jittered(rng, spec["colour"], 6)
    z = np.zeros((160, 160))
    rough, parts = 0.6, []
    if kind == "paper":
        tex = tx.paper(rng, colour, PX, TILE)
    elif kind == "wood":
        tex = tx.wood(rng, colour, spec["dark"], spec["pitch"], PX, TILE)
        z = z - 0.8 * np.abs(tx.noise(rng, 160, 40, 3))
    elif kind == "osb":
        tex = tx.osb(rng, colour, PX, TILE)
    elif kind == "brick":
        tex, height = tx.bricks(rng, colour, PX, TILE)
        z = _mirrored(height, 700)
    elif kind == "cloth":
        tex = tx.cloth(rng, colour, spec["weave"], PX, TILE)
        z = _folds(rng)
    elif kind == "wool":
        tex = tx.tinted(colour, tx.noise(rng, PX, 60, 6, 0.8), 0.35)
        z = -14 * np.abs(tx.noise(rng, 500, 36, 5, 0.62)) * 1.6
        parts = [_fibres(rng, colour, ground)]
    else:
        tex = tx.tinted(colour, tx.noise(rng, PX, 12, 3) * 0.6 + tx.noise(rng, PX, 400, 3), 0.05)
        z = 0.5 * tx.noise(rng, 700, 4, 3).astype(float)
    z = z - z.max() + ground
    mesh = heightfield(SIZE, z, 1 / TILE)
    turn = rot_z(
        float(rng.uniform(0, 2 * np.pi)) if kind != "brick" else float(rng.normal(0, 0.05))
    )
    shift = np.append(rng.uniform(-60, 60, 2), 0)
    return [
        Part(mesh.moved(turn, shift), Look("matt", None, tex, rough), "other", "background"),
        *parts,
    ]


def _mirrored(height: NDArray[np.float32], k: int) -> F:
    """A tile of heights sampled with mirrored repeats over the whole background."""
    g = np.linspace(-SIZE / 2, SIZE / 2, k) / TILE
    m = np.abs((g + 1) % 2 - 1)
    i = np.clip((m * (len(height) - 1)).astype(int), 0, len(height) - 1)
    return height[np.ix_(i, i)].astype(float)


def _folds(rng: np.random.Generator) -> F:
    y, x = np.mgrid[0:300, 0:300] / 300 * SIZE
    z = 3.0 * tx.noise(rng, 300, 60, 2).astype(float)
    for _ in range(int(rng.integers(3, 9))):
        a = rng.uniform(0, np.pi)
        d = (x - rng.uniform(0, SIZE)) * np.sin(a) + (y - rng.uniform(0, SIZE)) * np.cos(a)
        d = d + 14 * tx.noise(rng, 300, 90, 2)
        z += rng.uniform(2, 7) * np.exp(-((d / rng.uniform(6, 18)) ** 2))
    return z


def _fibres(rng: np.random.Generator, colour: tuple[float, ...], ground: float) -> Part:
    tubes = []
    for _ in range(700):
        p = np.append(rng.uniform(-170, 170, 2), ground - rng.uniform(0.5, 6))
        steps = rng.normal(0, 1, (5, 3)) * np.array([5, 5, 1.2]) + rng.normal(0, 5, 3) * np.array(
            [1, 1, 0.1]
        )
        path = resampled(bspline(np.vstack([p, p + np.cumsum(steps, 0)]), 24), 2.0)
        _, side, up = carried_frame(path)
        tubes.append(sweep(path, side, up, circle(rng.uniform(0.06, 0.16), 5), (False, False)))
    tone = tuple(float(min(250, c * 1.12)) for c in colour)
    return Part(joined(tubes), Look("matt", (tone[0], tone[1], tone[2])), "other", "fibres")


def _card_words(img: NDArray[np.uint8], label: str | None, k: int) -> None:
    """Words, label box and code of the card, painted in place; ``k`` px a mm."""
    cv2.putText(
        img,
        "site card",
        (round(22 * k), round(14.4 * k)),
        cv2.FONT_HERSHEY_SIMPLEX,
        k * 0.1,
        (20, 20, 20),
        3,
        cv2.LINE_AA,
    )
    cv2.rectangle(
        img, (round(33 * k), round(38.5 * k)), (round(67 * k), round(49.5 * k)), (40, 40, 40), 3
    )
    if label:
        code = cv2.QRCodeEncoder.create().encode(label)
        code = cv2.resize(code, (12 * k, 12 * k), interpolation=cv2.INTER_NEAREST)
        img[38 * k : 50 * k, 19 * k : 31 * k] = code[..., None]
        cv2.putText(
            img,
            label,
            (round(35 * k), round(46.5 * k)),
            cv2.FONT_HERSHEY_SIMPLEX,
            k * 0.17,
            (30, 30, 60),
            5,
            cv2.LINE_AA,
        )


def card_texture(label: str | None, px_per_mm: int = 20) -> NDArray[np.float32]:
    """The printed face of the site card (sRGB 0..1), geometry as in card.md."""
    k = px_per_mm
    img = np.full((round(CARD[1] * k), round(CARD[0] * k), 3), 250, np.uint8)
    words = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    for i, (x, y) in enumerate([(10, 10), (75.6, 10), (75.6, 44), (10, 44)]):
        m = cv2.aruco.generateImageMarker(words, i, 12 * k)
        x0, y0 = round((x - 6) * k), round((y - 6) * k)
        img[y0 : y0 + 12 * k, x0 : x0 + 12 * k] = m[..., None]
    greys = [(v, v, v) for v in (243, 200, 160, 122, 85, 52)]
    colours = [
        (175, 54, 60),
        (70, 148, 73),
        (56, 61, 150),
        (231, 199, 31),
        (187, 86, 149),
        (115, 82, 68),
    ]
    for row, top in ((greys, 18.5), (colours, 28.0)):
        for i, c in enumerate(row):
            x0 = round((20.5 + 7.5 * i) * k)
            img[round(top * k) : round((top + 7.5) * k), x0 : x0 + round(6.5 * k)] = c
    for mm in range(46):
        x = round((20 + mm) * k)
        long = 4.0 if mm % 10 == 0 else 3.0 if mm % 5 == 0 else 2.0
        img[round(5 * k) : round((5 + long) * k), x - 1 : x + 2] = 20
    _card_words(img, label, k)
    return (img / 255).astype(np.float32)


def card_parts(centre: F, turn: F, label: str | None, rough: float) -> list[Part]:
    """The card with its middle at ``centre``; ``turn`` (3, 3) carries card x right, y up, z out."""
    w, h = CARD
    t = 0.76
    corners = np.array(
        [[-w / 2, h / 2, t], [w / 2, h / 2, t], [w / 2, -h / 2, t], [-w / 2, -h / 2, t]]
    )
    face = Mesh(
        corners,
        np.array([[0, 2, 1], [0, 3, 2]]),
        np.array([[0, 1.0], [1, 1], [1, 0], [0, 0]]),
        np.tile([0, 0, 1.0], (4, 1)),
    )
    body = box_mesh(w, h, t - 0.02, 0.1, 0.6)
    plain = Look("plastic", (238, 238, 236), None, 0.4)
    look = Look("plastic", None, card_texture(label), rough)
    return [
        Part(face.moved(turn, centre), look, "card", "card"),
        Part(body.moved(turn, centre), plain, "card", "card-body"),
    ]


def card_corners(centre: F, turn: F) -> F:
    """The card's corners (4, 3), clockwise from its top left."""
    w, h = CARD
    local = np.array(
        [[-w / 2, h / 2, 0.76], [w / 2, h / 2, 0.76], [w / 2, -h / 2, 0.76], [-w / 2, -h / 2, 0.76]]
    )
    return local @ turn.T + centre


def card_points(centre: F, turn: F, mm: F) -> F:
    """Points given in card millimetres (N, 2), x right, y down, in the scene (N, 3)."""
    w, h = CARD
    local = np.column_stack([mm[:, 0] - w / 2, h / 2 - mm[:, 1], np.full(len(mm), 0.76)])
    return local @ turn.T + centre


def _nail_part(path: F, s: F, u: F, r0: float, nail: Look) -> Part:
    """The nail of one finger."""
    cap = loft(
        np.stack(
            [
                flat_ring(circle(4.2, 24) * np.array([1.25, 1]), 0.0),
                flat_ring(circle(3.6, 24) * np.array([1.25, 1]), 0.7),
            ]
        ),
        False,
        True,
    )
    at = path[8] + u[8] * (r0 * 0.86)
    frame = np.stack([(path[9] - path[7]) / np.linalg.norm(path[9] - path[7]), s[8], u[8]], axis=1)
    return Part(cap.moved(frame, at), nail, "other", "nail")


def finger_parts(rng: np.random.Generator, tip: F, direction: F, count: int) -> list[Part]:
    """Fingers that end at ``tip`` and come from ``direction``."""
    tex = tx.skin(rng)
    nail = Look("plastic", (226, 178, 160), None, 0.2)
    d = direction / np.linalg.norm(direction)
    side = np.cross(d, [0, 0, 1.0])
    side /= np.linalg.norm(side) + 1e-9
    parts = []
    for k in range(count):
        base = tip + side * k * 17 + d * abs(rng.normal(0, 5))
        length = 130.0
        bend = np.array([0, 0, rng.uniform(6, 26)])
        ctrl = np.array(
            [
                base,
                base + d * 12 + bend * 0.3,
                base + d * 38 + bend,
                base + d * 80 + bend * 1.6,
                base + d * length + bend * 1.2,
            ]
        )
        path = resampled(bspline(ctrl, 120), 1.0)
        r0 = rng.uniform(7.0, 8.6)
        _, s, u = carried_frame(path)

        def shape(arc: F, a: F, r: float = r0) -> F:
            tip_round = np.sqrt(np.clip(1 - (1 - np.clip(arc / r, 0, 1)) ** 2, 0.003, 1))
            joint = (
                1
                + 0.06 * np.exp(-(((arc - 27) / 6) ** 2))
                + 0.08 * np.exp(-(((arc - 58) / 8) ** 2))
                + arc / 900
            )
            wrinkle = 0.012 * np.sin(arc * 3.1) * np.exp(-(((arc - 27) / 4) ** 2))
            return (tip_round * (joint + wrinkle))[:, None] * np.ones_like(a)[None]

        parts.append(
            Part(
                sweep(path, s, u, circle(r0, 36), shape=shape, uv_len=60),
                Look("plastic", None, tex, 0.45),
                "other",
                "finger",
            )
        )
        parts.append(_nail_part(path, s, u, r0, nail))
    return parts


def place_card(
    rng: np.random.Generator,
    reach: tuple[float, float],
    ground: float,
    height: float,
    side: int = 0,
) -> tuple[F, F]:
    """A place for the card beside the work, on a given side (-1, 1) or any: middle and axes."""
    angle = float(
        rng.choice([0, np.pi / 2, np.pi, -np.pi / 2], p=[0.55, 0.18, 0.09, 0.18])
        + rng.normal(0, 0.16)
    )
    sign = float(rng.choice([-1, 1]))
    sign = float(side) if side else sign
    lie = rng.random()
    z = ground + 0.3 if lie < 0.6 else float(rng.uniform(ground + 1, height))
    tilt = abs(rng.normal(0, 0.05)) if lie < 0.6 else float(rng.normal(0, 0.16))
    half = CARD[1] / 2 if abs(np.cos(angle)) > 0.7 else CARD[0] / 2
    centre = np.array(
        [
            rng.uniform(-28, 28),
            sign * (reach[1] + half + rng.uniform(1, 5)),
            z + half * abs(np.sin(tilt)),
        ]
    )
    c, s = np.cos(tilt), np.sin(tilt)
    return centre, np.array([[1, 0, 0], [0, c, -s], [0, s, c]]) @ rot_z(angle)


def clutter_parts(
    rng: np.random.Generator, reach: tuple[float, float], ground: float
) -> list[Part]:
    """Offcuts, screws and a can-like heatsink lying about, some or none."""
    parts: list[Part] = []
    for _ in range(int(rng.integers(0, 4))):
        a = rng.uniform(0, 2 * np.pi)
        p = np.array(
            [
                np.cos(a) * (reach[0] + rng.uniform(10, 60)),
                np.sin(a) * (reach[1] + rng.uniform(10, 50)),
                ground + 1.4,
            ]
        )
        h = rng.uniform(0, 2 * np.pi)
        path = resampled(
            bspline(
                np.array(
                    [
                        p
                        + rng.uniform(4, 9)
                        * k
                        * np.array([np.cos(h + 0.2 * k), np.sin(h + 0.2 * k), 0])
                        for k in range(5)
                    ]
                ),
                40,
            ),
            1.0,
        )
        _, s, u = carried_frame(path)
        name = str(rng.choice(["brown", "blue", "grey", "black"]))
        lo, hi = fam.CORE_COLOURS[name]
        colour = tuple(float((x + y) / 2) for x, y in zip(lo, hi, strict=True))
        parts.append(
            Part(
                sweep(path, s, u, circle(1.3, 18)),
                Look("plastic", (colour[0], colour[1], colour[2]), None, 0.2),
                name,
                "offcut",
            )
        )
    if rng.random() < 0.25:
        parts.append(_can(rng, reach, ground))
    return parts


def _can(rng: np.random.Generator, reach: tuple[float, float], ground: float) -> Part:
    a = rng.uniform(0, 2 * np.pi)
    radius = float(rng.uniform(28, 40))
    theta = np.linspace(0, 2 * np.pi, 240, endpoint=False)
    fins = radius * (1 - 0.10 * (np.sin(theta * 24) > 0.2))
    outline = np.stack([fins * np.cos(theta), fins * np.sin(theta)], -1)
    height = float(rng.uniform(15, 45))
    mesh = loft(
        np.stack(
            [
                flat_ring(outline, 0),
                flat_ring(outline, height - 1),
                flat_ring(outline * 0.97, height),
            ]
        ),
        True,
        True,
    )
    at = np.array(
        [np.cos(a) * (reach[0] + radius + 22), np.sin(a) * (reach[1] + radius + 22), ground]
    )
    colour = jittered(rng, (170, 172, 174) if rng.random() < 0.6 else (50, 50, 52))
    return Part(mesh.moved(np.eye(3), at), Look("plastic", colour, None, 0.4), "other", "can")
