"""The camera: a pinhole for the truth, the same with a lens opening for the picture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

F = NDArray[np.float64]


@dataclass(frozen=True)
class Camera:
    """Origin, target (mm), up, horizontal field of view (degrees), picture size, lens radius (mm), focus (mm)."""

    origin: F
    target: F
    up: F
    fov: float
    width: int
    height: int
    lens: float
    focus: float

    def axes(self) -> tuple[F, F, F]:
        """Right, up and forward unit vectors."""
        forward = self.target - self.origin
        forward = forward / np.linalg.norm(forward)
        right = np.cross(forward, self.up)
        right = right / np.linalg.norm(right)
        return right, np.cross(right, forward), forward

    @property
    def focal_px(self) -> float:
        """Focal length in px."""
        return float(self.width / 2 / np.tan(np.radians(self.fov) / 2))

    def project(self, points: F) -> F:
        """Points (..., 3) in mm to pixels (..., 2): x right, y down, origin at the top left corner of the top left pixel."""
        right, up, forward = self.axes()
        rel = np.asarray(points, float) - self.origin
        z = rel @ forward
        z = np.where(np.abs(z) < 1e-6, 1e-6, z)
        x = self.width / 2 + self.focal_px * (rel @ right) / z
        y = self.height / 2 - self.focal_px * (rel @ up) / z
        return np.stack([x, y], -1)

    def depth(self, points: F) -> F:
        """Distance (...) along the optical axis, mm."""
        return (np.asarray(points, float) - self.origin) @ self.axes()[2]

    def rays(self) -> tuple[F, F]:
        """Origins and unit directions (H * W, 3) through the pixel centres, row by row."""
        right, up, forward = self.axes()
        x = (np.arange(self.width) + 0.5 - self.width / 2) / self.focal_px
        y = (self.height / 2 - np.arange(self.height) - 0.5) / self.focal_px
        d = forward + x[None, :, None] * right + y[:, None, None] * up
        d = d / np.linalg.norm(d, axis=-1, keepdims=True)
        d = d.reshape(-1, 3)
        return np.broadcast_to(self.origin, d.shape), d


def aim(
    rng: np.random.Generator,
    target: F,
    px_per_mm: float,
    width: int,
    height: int,
    tilt: float,
    azimuth: float,
    roll: float,
    lens: float | None = None,
) -> Camera:
    """A camera that shows ``target`` at a scale, tilted from straight on by ``tilt`` degrees towards ``azimuth``."""
    fov = float(rng.uniform(36, 66))
    focal = width / 2 / np.tan(np.radians(fov) / 2)
    distance = focal / px_per_mm
    if distance < 85:
        distance = 85.0 + float(rng.uniform(0, 25))
        fov = float(2 * np.degrees(np.arctan(width / 2 / (px_per_mm * distance))))
    t, a = np.radians(tilt), np.radians(azimuth)
    offset = distance * np.array([np.sin(t) * np.cos(a), np.sin(t) * np.sin(a), np.cos(t)])
    r = np.radians(roll)
    up = np.array([-np.sin(r), np.cos(r), 0.0])
    radius = float(rng.uniform(0.35, 1.3)) if lens is None else lens
    focus = distance + float(rng.normal(0, 3))
    return Camera(target + offset, target, up, fov, width, height, radius, focus)
