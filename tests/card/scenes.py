"""Photos of the site card for tests: a printed face seen by a pinhole camera, with its truth.

Drawn here from models/card.toml and OpenCV's own marker generator, not by the code under test.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
import segno
from numpy.typing import NDArray

from audit.card.geometry import load_card
from audit.photo.types import Photo

CARD = load_card()
PPM = 16
Face = NDArray[np.uint8]


def face(label: str | None = None, markers: tuple[int, ...] = (0, 1, 2, 3)) -> Face:
    """The card's face at 16 px a mm."""
    book = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    image = np.full((round(CARD.height_mm * PPM), round(CARD.width_mm * PPM), 3), 250, np.uint8)
    for marker in markers:
        x, y = np.rint(CARD.marker_corners_mm[marker][0] * PPM).astype(int)
        side = 12 * PPM
        drawn = cv2.aruco.generateImageMarker(book, marker, side)
        image[y : y + side, x : x + side] = np.asarray(drawn)[..., None]
    for patch in CARD.patches:
        x0, y0, x1, y1 = (round(v * PPM) for v in patch.box_mm)
        image[y0:y1, x0:x1] = patch.srgb
    if label:
        code = np.array([list(row) for row in segno.make_qr(label).matrix], np.uint8)
        x0, y0, x1, y1 = (round(v * PPM) for v in CARD.qr_box_mm)
        image[y0:y1, x0:x1] = cv2.resize(
            (1 - code) * 255, (x1 - x0, y1 - y0), interpolation=cv2.INTER_NEAREST
        )[..., None]
    return image


@dataclass(frozen=True, eq=False)
class Shot:
    photo: Photo
    mm_to_px: NDArray[np.float64]
    corners: NDArray[np.float64]
    focal_px: float
    distance_mm: float
    tilt_deg: float
    pose: NDArray[np.float64]

    def facing(self, at_mm: tuple[float, float]) -> float:
        """Scale, px per mm, of what faces the camera at a card point: focal length over depth."""
        return self.focal_px / float(self.pose[2] @ [*at_mm, 1.0])


def _turn(a: float) -> NDArray[np.float64]:
    return np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])


def shoot(
    seed: int,
    drawn: Face,
    tilt: tuple[float, float] = (0, 55),
    distance: tuple[float, float] = (200, 450),
    size: tuple[int, int] = (1200, 900),
    blur: float = 0.8,
    light: tuple[float, float, float] = (0.8, 0.8, 0.8),
    noise: float = 1.5,
    f35: float = 27.0,
    after: Callable[[NDArray[np.float64]], None] | None = None,
) -> Shot:
    """Photograph a face on a textured ground, whole in the picture, at a seeded pose."""
    rng = np.random.default_rng(seed)
    width, height = size
    focal = f35 / 43.2666 * float(np.hypot(width, height))
    while True:
        lean = np.radians(rng.uniform(*tilt))
        lean_about = np.array(
            [[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]]
        )
        R = _turn(rng.uniform(0, 2 * np.pi)) @ lean_about @ _turn(rng.uniform(0, 2 * np.pi))
        z = rng.uniform(*distance)
        middle = np.array([*(rng.uniform(-0.25, 0.25, 2) * [width, height] / focal * z), z])
        t = middle - R[:, :2] @ np.array([CARD.width_mm / 2, CARD.height_mm / 2])
        K = np.array([[focal, 0, width / 2], [0, focal, height / 2], [0, 0, 1.0]])
        H = K @ np.column_stack([R[:, 0], R[:, 1], t])
        corners = cv2.perspectiveTransform(CARD.outline_mm[None], H)[0]
        if (corners > 4).all() and (corners < [width - 4, height - 4]).all():
            break
    ground = rng.integers(30, 220, (height // 12, width // 12, 3), dtype=np.uint8)
    picture = np.asarray(cv2.resize(ground, size, interpolation=cv2.INTER_CUBIC))
    picture = picture.astype(int) + rng.integers(-20, 20, (height, width, 1))
    picture = np.clip(picture, 0, 255).astype(np.uint8)
    half = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]])
    whole = half @ H @ np.diag([1 / PPM, 1 / PPM, 1]) @ np.linalg.inv(half)
    shrink = np.sqrt(cv2.contourArea(corners.astype(np.float32)) / drawn.size * 3)
    soft = cv2.GaussianBlur(drawn, (0, 0), 0.35 / shrink) if shrink < 0.6 else drawn
    cv2.warpPerspective(soft, whole, size, picture, cv2.INTER_LINEAR, cv2.BORDER_TRANSPARENT)
    image = picture * np.array(light)
    if after is not None:
        after(image)
    image = cv2.GaussianBlur(image, (0, 0), blur) + rng.normal(0, noise, image.shape)
    rgb = np.clip(image, 0, 255).round().astype(np.uint8)
    facing = abs(float(R[:, 2] @ middle)) / float(np.linalg.norm(middle))
    angle = float(np.degrees(np.arccos(facing)))
    away = float(np.linalg.norm(middle))
    pose = np.column_stack([R[:, 0], R[:, 1], t])
    return Shot(Photo.from_array(rgb), H, np.asarray(corners), focal, away, angle, pose)


def stretch(H: NDArray[np.float64], at_mm: tuple[float, float]) -> float:
    """Mean principal stretch of a homography at a card point, by finite differences."""
    x, y = at_mm
    step = 1e-3
    mm = np.array([[[x - step, y], [x + step, y], [x, y - step], [x, y + step]]])
    a, b, c, d = cv2.perspectiveTransform(mm, H)[0]
    J = np.column_stack([b - a, d - c]) / (2 * step)
    return float(np.linalg.svd(J, compute_uv=False).mean())
