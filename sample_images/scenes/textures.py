"""Procedural textures (H, W, 3), float32 sRGB 0..1, and heights. All from a generator of numpy."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

T = NDArray[np.float32]
RNG = np.random.Generator


def noise(rng: RNG, size: int, cell: float, octaves: int = 1, fall: float = 0.5) -> T:
    """Smooth value noise (size, size), mean 0, about -1..1, with cells of ``cell`` px."""
    out = np.zeros((size, size), np.float32)
    weight, total = 1.0, 0.0
    for _ in range(octaves):
        n = max(2, round(size / cell) + 3)
        grid = rng.uniform(-1, 1, (n, n)).astype(np.float32)
        out += weight * cv2.resize(grid, (size, size), interpolation=cv2.INTER_CUBIC)
        total += weight
        weight *= fall
        cell = max(1.0, cell / 2)
    return out / np.float32(total)


def tinted(colour: tuple[float, ...], field: T, amount: float) -> T:
    """A colour brightened and darkened by a field."""
    base = np.asarray(colour, np.float32)[None, None] / 255
    return np.clip(base * (1 + amount * field[..., None]), 0, 1).astype(np.float32)


def plastic(rng: RNG, colour: tuple[float, ...], dirt: float, size: int = 512) -> T:
    """Moulded plastic: slight blotches, dust, scratches."""
    tex = tinted(colour, noise(rng, size, size / 3, 4), 0.05)
    dust = np.clip(noise(rng, size, size / 5, 5, 0.7) * 1.6 - 0.2, 0, 1)[..., None] * dirt
    tone = np.array([0.62, 0.57, 0.5], np.float32) * (0.8 + 0.3 * rng.random())
    tex = tex * (1 - dust) + tone * dust
    specks = (rng.random((size, size)) < 0.0012 * (0.3 + dirt)).astype(np.float32)
    specks = cv2.GaussianBlur(specks, (0, 0), 0.8)[..., None] * 3
    tex = tex * (1 - np.clip(specks, 0, 1)) + np.clip(specks, 0, 1) * (
        0.3 if rng.random() < 0.5 else 0.85
    )
    lines = np.zeros((size, size), np.float32)
    for _ in range(int(30 * dirt + 4)):
        p = rng.integers(0, size, 2)
        q = p + rng.normal(0, size / 9, 2).astype(int)
        cv2.line(lines, p.tolist(), q.tolist(), float(rng.uniform(-0.16, 0.16)), 1, cv2.LINE_AA)
    return np.clip(tex * (1 + lines[..., None]), 0, 1).astype(np.float32)


def stripes(rng: RNG, green: tuple[float, ...], yellow: tuple[float, ...], size: int = 128) -> T:
    """Green and yellow along a core: u once round, halves of each, soft edges."""
    u = (np.arange(size) + 0.5) / size
    bands = int(rng.choice([1, 2]))
    share = rng.uniform(0.36, 0.6)
    phase = (u * bands + rng.random()) % 1.0
    edge = np.clip((np.abs(phase - 0.5) - share / 2) * 30 + 0.5, 0, 1)[None, :, None]
    g, y = (np.asarray(c, np.float32)[None, None] / 255 for c in (green, yellow))
    tex = g * (1 - edge) + y * edge
    return np.clip(
        np.repeat(tex, 64, 0) * (1 + 0.04 * noise(rng, size, 16)[:64, :, None]), 0, 1
    ).astype(np.float32)


def wood(
    rng: RNG, colour: tuple[float, ...], dark: tuple[float, ...], pitch: float, size: int, mm: float
) -> T:
    """Sawn timber: growth rings cut lengthwise, fibres, a knot, saw marks."""
    px = size / mm
    y, x = np.mgrid[0:size, 0:size].astype(np.float32)
    long = cv2.resize(
        noise(rng, size, 70 * px, 3)[:, : size // 6], (size, size), interpolation=cv2.INTER_CUBIC
    )
    warp = long * 12 * px + noise(rng, size, 30 * px, 2) * 0.4 * px
    for _ in range(rng.integers(0, 3)):
        cx, cy = rng.uniform(0, size, 2)
        r = np.hypot((x - cx) / 3, y - cy)
        warp += 9 * px * np.exp(-((r / (9 * px)) ** 2)) * np.sign(y - cy)
    phase = ((y + warp) / (pitch * px)) % 1.0
    late = (phase**3)[..., None]
    fibre = cv2.resize(
        rng.uniform(-1, 1, (size, max(4, size // 40))).astype(np.float32), (size, size)
    )
    c, d = (np.asarray(k, np.float32)[None, None] / 255 for k in (colour, dark))
    tex = (c * (1 - late) + d * late) * (
        1 + 0.10 * fibre[..., None] + 0.06 * noise(rng, size, 14 * px, 3)[..., None]
    )
    saw = np.sin(x / (2.6 * px) * 6.28 + noise(rng, size, 60 * px)) * 0.02
    return np.clip(tex * (1 + saw[..., None]), 0, 1).astype(np.float32)


def osb(rng: RNG, colour: tuple[float, ...], size: int, mm: float) -> T:
    """Strand board: overlapping flakes of several tones."""
    px = size / mm
    tex = tinted(colour, noise(rng, size, 20 * px, 3), 0.15)
    for _ in range(int((mm / 12) ** 2)):
        centre = rng.uniform(0, size, 2)
        dims = (rng.uniform(12, 60) * px, rng.uniform(4, 14) * px)
        rect = cv2.boxPoints((tuple(centre.tolist()), dims, float(rng.uniform(0, 180)))).astype(
            np.int32
        )
        tone = (
            np.asarray(colour)
            / 255
            * rng.uniform(0.72, 1.16)
            * np.array([1, rng.uniform(0.94, 1.02), rng.uniform(0.85, 1.05)])
        )
        cv2.fillConvexPoly(tex, rect, tone.tolist(), cv2.LINE_AA)
        cv2.polylines(tex, [rect], True, (tone * 0.7).tolist(), 1, cv2.LINE_AA)
    fibre = cv2.GaussianBlur(rng.normal(0, 1, (size, size)).astype(np.float32), (0, 0), 1.2)
    return np.clip(tex * (1 + 0.12 * fibre[..., None]), 0, 1).astype(np.float32)


def paper(rng: RNG, colour: tuple[float, ...], size: int, mm: float) -> T:
    """Face of plasterboard: fibrous paper, smears, pencil lines."""
    px = size / mm
    fine = rng.normal(0, 1, (size, size)).astype(np.float32)
    field = 0.5 * cv2.GaussianBlur(fine, (0, 0), 1.0) + 0.4 * noise(rng, size, 40 * px, 4)
    tex = tinted(colour, field, 0.05)
    for _ in range(rng.integers(0, 4)):
        p, q = rng.uniform(0, size, 2), rng.uniform(0, size, 2)
        cv2.line(
            tex,
            p.astype(int).tolist(),
            q.astype(int).tolist(),
            [0.36, 0.36, 0.38],
            max(1, int(0.5 * px)),
            cv2.LINE_AA,
        )
    white = np.clip(noise(rng, size, 50 * px, 4, 0.6) * 2 - 0.9, 0, 1)[..., None] * 0.5
    return np.clip(tex * (1 - white) + 0.92 * white, 0, 1).astype(np.float32)


def cloth(rng: RNG, colour: tuple[float, ...], weave: float, size: int, mm: float) -> T:
    """Woven dust sheet with paint spots."""
    px = size / mm
    y, x = np.mgrid[0:size, 0:size].astype(np.float32)
    w = weave * px
    pattern = np.sin(x / w * 6.28) * np.cos(np.floor(y / w) * 3.14) + np.sin(y / w * 6.28) * 0.6
    slub = noise(rng, size, 3 * px, 2)
    tex = tinted(colour, pattern * 0.5 + slub, 0.10)
    for _ in range(rng.integers(4, 40)):
        c = rng.uniform(0, size, 2).astype(int).tolist()
        tone = [float(k) for k in rng.choice([0.92, 0.86, 0.5], 3)]
        cv2.circle(tex, c, int(rng.uniform(0.3, 2.5) * px), tone, -1, cv2.LINE_AA)
    return np.clip(tex, 0, 1).astype(np.float32)


def bricks(rng: RNG, colour: tuple[float, ...], size: int, mm: float) -> tuple[T, T]:
    """Brickwork and its heights (mm, mortar below 0)."""
    px = size / mm
    tex = tinted((176, 170, 160), noise(rng, size, 3 * px, 3), 0.12)
    mask = np.zeros((size, size), np.float32)
    for row, y in enumerate(np.arange(-20, mm, 75.0)):
        for x in np.arange(-225 + (row % 2) * 112.5 - 112, mm + 225, 225.0):
            tone = np.asarray(colour) / 255 * rng.uniform(0.75, 1.15)
            p, q = (
                (np.array([x, y]) * px).astype(int),
                (np.array([x + 215, y + 65]) * px).astype(int),
            )
            cv2.rectangle(tex, p.tolist(), q.tolist(), tone.tolist(), -1)
            cv2.rectangle(mask, p.tolist(), q.tolist(), 1.0, -1)
    mask = cv2.GaussianBlur(mask, (0, 0), 1.2 * px)
    field = noise(rng, size, 8 * px, 5, 0.7)
    height = (mask - 1) * 5 + field * 0.8 * mask
    return np.clip(tex * (1 + 0.22 * field[..., None]), 0, 1).astype(np.float32), height.astype(
        np.float32
    )


def skin(rng: RNG, size: int = 256) -> T:
    """Skin of any of several tones, mottled."""
    tones = [(222, 172, 146), (198, 142, 112), (150, 100, 74), (96, 62, 46), (232, 190, 168)]
    tone = tones[int(rng.integers(len(tones)))]
    tex = tinted(tone, noise(rng, size, 30, 4), 0.12)
    red = noise(rng, size, 60, 2)[..., None] * np.array([0.05, -0.03, -0.03], np.float32)
    return np.clip(tex + red, 0, 1).astype(np.float32)


def oxide(rng: RNG, size: int = 128) -> T:
    """A factor on metal: tarnish in patches, 0.35..1, warmer where darker."""
    field = np.clip(0.5 + 0.9 * noise(rng, size, size / 4, 4, 0.6), 0, 1)[..., None]
    dull = rng.uniform(0.3, 0.9)
    warm = np.array([1.0, 0.86, 0.74], np.float32)
    return np.clip(1 - (1 - dull * warm) * field, 0, 1).astype(np.float32)
