"""The ``fit`` family: many boxes, terminals, backgrounds and lights, drawn once from a fixed seed.

The material forests are fitted from its photos and never judged on them. What a handful of made-up
boxes would teach is their colour; a hundred teach that colour tells a box nothing.
"""

from __future__ import annotations

import colorsys
from typing import Any

import numpy as np

SEED = 50_000
MANY = 120


def _plastic(rng: np.random.Generator) -> tuple[int, int, int]:
    """Colour of a moulding: mostly a near-neutral from black to white, now and then a strong one."""
    kind = rng.random()
    if kind < 0.78:
        value = float(rng.choice([rng.uniform(0.10, 0.3), rng.uniform(0.3, 0.75), rng.uniform(0.75, 0.96)], p=[0.2, 0.35, 0.45]))  # fmt: skip
        hue, sat = float(rng.choice([0.10, 0.13, 0.6])), float(abs(rng.normal(0, 0.05)))
    elif kind < 0.9:
        hue, sat, value = float(rng.uniform(0.07, 0.15)), float(rng.uniform(0.12, 0.35)), float(rng.uniform(0.6, 0.92))  # fmt: skip
    else:
        hue, sat, value = float(rng.random()), float(rng.uniform(0.4, 0.85)), float(rng.uniform(0.35, 0.85))  # fmt: skip
    r, g, b = colorsys.hsv_to_rgb(hue, min(sat, 1), value)
    return round(255 * r), round(255 * g), round(255 * b)


def _box(rng: np.random.Generator) -> dict[str, Any]:
    if rng.random() < 0.25:
        d = int(rng.integers(82, 104))
        return {"shape": "round", "size": (d, d, int(rng.integers(22, 34))), "corner": d // 2, "colour": _plastic(rng)}  # fmt: skip
    size = (int(rng.integers(82, 114)), int(rng.integers(44, 90)), int(rng.integers(20, 36)))
    return {"shape": "rect", "size": size, "corner": int(rng.integers(2, min(size[:2]) // 2 - 4)), "colour": _plastic(rng)}  # fmt: skip


def _terminal(rng: np.random.Generator) -> dict[str, Any]:
    push = rng.random() < 0.42
    out: dict[str, Any] = {"kind": "push" if push else "strip", "colour": _plastic(rng)}
    if push:
        lever = colorsys.hsv_to_rgb(float(rng.random()), float(rng.uniform(0, 0.85)), float(rng.uniform(0.3, 0.9)))  # fmt: skip
        out |= {"lever": tuple(round(255 * v) for v in lever), "pitch": round(float(rng.uniform(5.6, 6.8)), 1)}  # fmt: skip
    else:
        out |= {"screw": str(rng.choice(["brass", "zinc"])), "pitch": round(float(rng.uniform(9.2, 11.2)), 1)}  # fmt: skip
    out |= {"length": int(rng.integers(17, 23)), "height": round(float(rng.uniform(8.5, 10) if push else rng.uniform(11.5, 14.2)), 1)}  # fmt: skip
    if rng.random() < 0.3:
        out |= {"clear": round(float(rng.uniform(0.16, 0.3)), 2), "colour": tuple(int(v) for v in rng.integers(205, 236, 3))}  # fmt: skip
    return out


def _background(rng: np.random.Generator) -> dict[str, Any]:
    kind = str(rng.choice(["paper", "wood", "wool", "cloth", "paint", "osb", "brick"], p=[0.2, 0.22, 0.14, 0.16, 0.14, 0.08, 0.06]))  # fmt: skip
    if kind in ("paper", "paint"):
        hue, sat, value = float(rng.random()), float(abs(rng.normal(0, 0.1))), float(rng.uniform(0.5, 0.95))  # fmt: skip
    elif kind == "cloth":
        hue, sat, value = float(rng.random()), float(abs(rng.normal(0, 0.25))), float(rng.uniform(0.2, 0.9))  # fmt: skip
    elif kind == "brick":
        hue, sat, value = float(rng.uniform(0.02, 0.1)), float(rng.uniform(0.15, 0.6)), float(rng.uniform(0.4, 0.75))  # fmt: skip
    else:
        hue, sat, value = float(rng.uniform(0.06, 0.14)), float(rng.uniform(0.1, 0.6)), float(rng.uniform(0.45, 0.88))  # fmt: skip
    rgb = np.array(colorsys.hsv_to_rgb(hue, min(sat, 0.9), value)) * 255
    out: dict[str, Any] = {"kind": kind, "colour": tuple(int(v) for v in rgb)}
    if kind == "wood":
        dark = rgb * rng.uniform(0.5, 0.85) * np.array([1, rng.uniform(0.9, 1), rng.uniform(0.8, 1)])  # fmt: skip
        out |= {"dark": tuple(int(v) for v in dark), "pitch": round(float(rng.uniform(4, 15)), 1)}
    if kind == "cloth":
        out["weave"] = round(float(rng.uniform(0.7, 2.2)), 2)
    return out


def _light(rng: np.random.Generator) -> dict[str, Any]:
    kind = str(rng.choice(["flash", "torch", "window", "mixed"]))
    warm = float(rng.normal(0, 0.16))
    green = float(rng.normal(0, 0.03))
    tint = np.array([1 + warm, 1 + green, 1 - warm * 1.4])
    tint = np.clip(tint / tint.max(), 0.35, 1)
    return {
        "kind": kind, "tint": tuple(round(float(v), 3) for v in tint), "fill": round(float(rng.uniform(0.08, 0.42)), 2),
        "offset": int(rng.integers(8, 24)), "angle": int(rng.integers(11, 28)), "azimuth": int(rng.integers(0, 360)),
    }  # fmt: skip


def wide_tables() -> tuple[dict[str, Any], dict[str, Any], dict[str, Any], dict[str, Any]]:
    """Boxes, terminals, backgrounds and lights of the ``fit`` family, the same at every call."""
    out = []
    for k, (word, draw) in enumerate(
        (("box", _box), ("terminal", _terminal), ("background", _background), ("light", _light))
    ):
        rng = np.random.default_rng([SEED, k])
        out.append({f"{word}-fit-{n:03d}": draw(rng) for n in range(MANY)})
    return out[0], out[1], out[2], out[3]
