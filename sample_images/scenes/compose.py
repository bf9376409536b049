"""Plans to a scene: fitting, surroundings, camera, lights."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from . import families as fam
from .camera import Camera, aim
from .layout import build_fitting
from .lights import lights
from .parts import Fitting, Part
from .plan import FittingPlan, PhotoPlan
from .surroundings import (
    background_parts,
    card_corners,
    card_parts,
    card_points,
    clutter_parts,
    finger_parts,
    place_card,
)

F = NDArray[np.float64]
MARKERS = np.array([[10, 10], [75.6, 10], [75.6, 44], [10, 44]])


@dataclass
class Composed:
    """A scene ready to be rendered, and what its truth is made from."""

    parts: list[Part]
    cam: Camera
    lights: dict[str, dict[str, Any]]
    fitting: Fitting | None
    card: tuple[F, F] | None = None
    work: F = field(default_factory=lambda: np.zeros(3))


def _target(rng: np.random.Generator, fit: Fitting, view: str) -> F:
    entries = np.mean(
        [c.entry.point + c.entry.inward * (c.entry.grip_in or 6) * 0.5 for c in fit.cables], axis=0
    )
    mouths = np.mean([c.path[-1] for k in fit.cables for c in k.cores] or [[0, 0, 8.0]], axis=0)
    if view == "entry" or view == "closed":
        one = fit.cables[int(rng.integers(len(fit.cables)))]
        near = one.entry.point + one.entry.inward * 6
        return near if rng.random() < 0.7 else entries
    if view == "terminals":
        return mouths
    middle = np.array([0.0, 0.0, 8.0])
    return 0.55 * middle + 0.3 * entries + 0.15 * mouths


def _tilt(rng: np.random.Generator, view: str, target: F) -> tuple[float, float]:
    azimuth = (
        float(np.degrees(np.arctan2(target[1], target[0])) + rng.normal(0, 50))
        if view in ("entry", "closed")
        else float(rng.uniform(0, 360))
    )
    tilt = float(np.clip(abs(rng.normal(0, 15)), 0, 35))
    if view == "closed":
        tilt = float(rng.uniform(25, 45))
    return tilt, azimuth


def _roll(rng: np.random.Generator) -> float:
    return float(rng.choice([0, 90, 180, 270], p=[0.5, 0.18, 0.14, 0.18]) + rng.normal(0, 9))


def _camera(
    rng: np.random.Generator,
    photo: PhotoPlan,
    fit: Fitting,
    size: tuple[int, int],
    card: tuple[F, F] | None,
) -> Camera:
    target = _target(rng, fit, photo.view)
    if card is not None and photo.view == "inside":
        # Whoever lays a card down wants it in the picture.
        target = target + np.append((card[0] - target)[:2] * rng.uniform(0.2, 0.45), 0)
    scale = (photo.px_per_mm or 8.0) * size[0] / 1600
    if photo.px_per_mm is not None and photo.px_per_mm > 11 and photo.view == "inside":
        target = _target(rng, fit, "entry" if rng.random() < 0.5 else "terminals")
    target = target + np.append(rng.normal(0, 50 / (photo.px_per_mm or 8.0), 2), 0)
    tilt, azimuth = _tilt(rng, photo.view, target)
    roll = _roll(rng)
    if photo.framed:
        target, scale = _framed(photo, fit, card, target, roll, size)
    if photo.poor == "far":
        scale = float(rng.uniform(1.2, 2.2)) * size[0] / 1600
    if photo.poor == "out_of_frame":
        a = rng.uniform(0, 2 * np.pi)
        target = target + np.append(
            np.array([np.cos(a), np.sin(a)]) * 1300 / (photo.px_per_mm or 8.0), 0
        )
    return aim(rng, target, scale, size[0], size[1], tilt, azimuth, roll)


def _framed(
    photo: PhotoPlan,
    fit: Fitting,
    card: tuple[F, F] | None,
    target: F,
    roll: float,
    size: tuple[int, int],
) -> tuple[F, float]:
    """Target and scale that keep box and card in the picture; the asked scale where that already does."""
    scale = photo.px_per_mm or 8.0
    if card is None:
        return target, scale
    points = np.vstack([fit.outline, card_corners(*card)[:, :2]])
    if photo.view != "inside":
        points = np.vstack([card_corners(*card)[:, :2], target[None, :2] - 8, target[None, :2] + 8])
    c, s = np.cos(np.radians(roll)), np.sin(np.radians(roll))
    turned = points @ np.array([[c, -s], [s, c]])
    low, high = turned.min(0), turned.max(0)
    middle = np.array([[c, -s], [s, c]]) @ ((low + high) / 2)
    return np.array([*middle, 8.0]), float(
        min(scale, 0.82 * size[0] / (high - low)[0], 0.82 * size[1] / (high - low)[1])
    )


def _free_side(fit: Fitting) -> int:
    """Side (-1, 1) of the box where no lid lies; 0 when both are free."""
    lid = [p.mesh.v[:, 1].mean() for p in fit.parts if p.tag == "lid"]
    return 0 if not lid or abs(lid[0]) < 20 else -int(np.sign(lid[0]))


@dataclass
class Staged:
    """A fitting before the camera, with nothing round it but the card's place.

    ``around`` draws what lies round it, ``photo`` the card's print, fingers and lights: in that order.
    """

    fit: Fitting
    ground: float
    card: tuple[F, F] | None
    cam: Camera
    around: np.random.Generator
    photo: np.random.Generator


def staged(fplan: FittingPlan, photo: PhotoPlan, size: tuple[int, int]) -> Staged:
    """Fitting, card's place and camera of a photo: quick, for who only wants to know what is in sight."""
    frng = np.random.default_rng([fplan.seed, 20])
    prng = np.random.default_rng([photo.seed, 21])
    ground = -float(frng.uniform(0, 8)) if frng.random() < 0.8 else -float(frng.uniform(10, 45))
    fit = build_fitting(fplan, ground, closed=photo.view in ("closed", "back"))
    card = (
        place_card(prng, _reach(fit), ground, fit.height, _free_side(fit) if photo.framed else 0)
        if photo.card
        else None
    )
    return Staged(fit, ground, card, _camera(prng, photo, fit, size, card), frng, prng)


def _reach(fit: Fitting) -> tuple[float, float]:
    return (float(fit.outline[:, 0].max()), float(fit.outline[:, 1].max()))


def open_scene(fplan: FittingPlan, photo: PhotoPlan, size: tuple[int, int]) -> Composed:
    """A fitting with its lid off (or on, in view ``closed``) and what lies round it."""
    at = staged(fplan, photo, size)
    bspec = fam.BACKGROUNDS[fplan.family][fplan.background]
    parts = [*at.fit.parts, *background_parts(at.around, bspec, at.ground)]
    parts += clutter_parts(at.around, _reach(at.fit), at.ground)
    if at.card is not None:
        parts += card_parts(*at.card, photo.card_label, float(at.photo.uniform(0.15, 0.5)))
    if photo.fingers:
        parts += _fingers(at.photo, _reach(at.fit), at.fit.height, at.cam)
    light = lights(at.photo, fam.LIGHTS[fplan.family][photo.light], at.cam)
    return Composed(parts, at.cam, light, at.fit, at.card, at.cam.target)


def _fingers(
    rng: np.random.Generator, reach: tuple[float, float], height: float, cam: Camera
) -> list[Part]:
    a = rng.uniform(0, 2 * np.pi)
    d = np.array([np.cos(a), np.sin(a), 0.1])
    edge = min(reach[0] / max(abs(d[0]), 1e-6), reach[1] / max(abs(d[1]), 1e-6))
    tip = d * (edge - rng.uniform(0, 8))
    tip[2] = height + 8
    return finger_parts(rng, tip, d, int(rng.integers(1, 4)))


def card_truth(comp: Composed, index: NDArray[np.int32], parts: list[Part]) -> dict[str, Any]:
    """The card's corners and the markers that are seen whole."""
    if comp.card is None:
        return {
            "present": False,
            "found": False,
            "corners_px": None,
            "markers_seen": [],
            "px_per_mm": None,
        }
    cam = comp.cam
    corners = cam.project(card_corners(*comp.card))
    card_ids = [i for i, p in enumerate(parts) if p.tag.startswith("card")]
    ok = np.isin(index, card_ids)
    h, w = ok.shape
    seen = []
    for m, (x, y) in enumerate(MARKERS):
        g = np.linspace(-7, 7, 15)
        mm = np.stack(np.meshgrid(x + g, y + g), -1).reshape(-1, 2)
        q = np.floor(cam.project(card_points(*comp.card, mm))).astype(int)
        inside = (q[:, 0] >= 0) & (q[:, 0] < w) & (q[:, 1] >= 0) & (q[:, 1] < h)
        if inside.all() and ok[q[:, 1], q[:, 0]].mean() > 0.99:
            seen.append(m)
    middle = comp.card[0]
    return {
        "present": True, "found": len(seen) >= 2, "corners_px": [[round(float(a), 1), round(float(b), 1)] for a, b in corners],
        "markers_seen": seen, "px_per_mm": round(float(cam.focal_px / cam.depth(middle[None])[0]), 4),
    }  # fmt: skip
