"""Light at a fitting: flash beside the lens, torch, window or lamp, and mixtures."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .camera import Camera

F = NDArray[np.float64]


def _rgb(tint: Any, power: float) -> dict[str, Any]:
    return {"type": "rgb", "value": [float(power * t) for t in tint]}


def _flash(
    rng: np.random.Generator, spec: dict[str, Any], cam: Camera, power: float
) -> dict[str, Any]:
    right, up, _ = cam.axes()
    a = rng.uniform(0, 2 * np.pi)
    at = cam.origin + float(spec.get("offset", 15)) * (np.cos(a) * right + np.sin(a) * up)
    # A small disc: the LED's window. Its radiance gives about ``power`` at the work.
    radius = 3.0
    dist = float(np.linalg.norm(cam.target - cam.origin))
    level = power * dist**2 / radius**2
    return {
        "type": "disk",
        "look_at": (at.tolist(), cam.target.tolist(), up.tolist()),
        "scale": radius,
        "em": {"type": "area", "radiance": _rgb(spec["tint"], level)},
    }


def _torch(
    rng: np.random.Generator, spec: dict[str, Any], cam: Camera, power: float
) -> dict[str, Any]:
    a, dist = rng.uniform(0, 2 * np.pi), rng.uniform(180, 420)
    at = cam.target + dist * np.array([0.6 * np.cos(a), 0.6 * np.sin(a), 0.8])
    aim = cam.target + np.append(rng.normal(0, 14, 2), 0)
    angle = float(spec.get("angle", 20))
    return {
        "type": "spot", "look_at": (at.tolist(), aim.tolist(), [0.1, 1, 0.05]), "cutoff_angle": angle * 1.6,
        "beam_width": angle * 0.5, "intensity": _rgb(spec["tint"], power * np.pi * dist**2),
    }  # fmt: skip


def _window(
    rng: np.random.Generator, spec: dict[str, Any], cam: Camera, power: float
) -> dict[str, Any]:
    a = np.radians(float(spec.get("azimuth", 0)) + rng.normal(0, 25))
    e = np.radians(rng.uniform(28, 60))
    dist, size = rng.uniform(700, 1500), rng.uniform(120, 420)
    at = cam.target + dist * np.array([np.cos(a) * np.cos(e), np.sin(a) * np.cos(e), np.sin(e)])
    level = power * dist**2 / (size**2 * 1.3)
    return {
        "type": "rectangle", "look_at": (at.tolist(), cam.target.tolist(), [0.02, 0.05, 1]), "scale": [size, size * rng.uniform(0.6, 1.4), 1],
        "em": {"type": "area", "radiance": _rgb(spec["tint"], level)},
    }  # fmt: skip


def lights(
    rng: np.random.Generator, spec: dict[str, Any], cam: Camera
) -> dict[str, dict[str, Any]]:
    """Emitters by name, for the engine: about 1/pi radiance from white at the work."""
    kind = spec["kind"]
    fill = float(spec["fill"]) * rng.uniform(0.8, 1.9)
    tint = np.clip(np.asarray(spec["tint"]) ** 0.6 * rng.uniform(0.92, 1.08, 3), 0.3, 1.3)
    out: dict[str, dict[str, Any]] = {
        "fill": {"type": "constant", "radiance": _rgb(tint, fill / np.pi)}
    }
    main = 1 - min(fill, 0.6)
    if kind == "flash":
        out["key"] = _flash(rng, spec, cam, main)
    elif kind == "torch":
        out["key"] = _torch(rng, spec, cam, main)
    elif kind == "window":
        out["key"] = _window(rng, spec, cam, main / np.pi * 2)
    else:
        out["key"] = _window(rng, spec, cam, main * 0.6)
        out["beside"] = _flash(
            rng, {"tint": (1.0, 0.98, 0.94), "offset": 16}, cam, main * rng.uniform(0.3, 0.7)
        )
    return out
