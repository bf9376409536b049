"""A material map drawn by hand: exact geometry, no picture, no model."""

from __future__ import annotations

import cv2
import numpy as np

from audit.sight.types import AnalysisImage, Material, MaterialMap

STEP = 2.0
USUAL = {
    Material.OTHER: (0.80, 0.72, 0.60),
    Material.SHEATH: (0.62, 0.63, 0.64),
    Material.BROWN: (0.42, 0.25, 0.17),
    Material.BLUE: (0.15, 0.40, 0.70),
    Material.GREEN_YELLOW: (0.50, 0.65, 0.20),
    Material.COPPER: (0.80, 0.45, 0.30),
    Material.ENCLOSURE: (0.90, 0.90, 0.88),
    Material.GRIP: (0.85, 0.85, 0.83),
    Material.TERMINAL: (0.88, 0.86, 0.80),
}
"""sRGB, 0 to 1: common practice, no source."""


def bezier(points: list[tuple[float, float]]) -> np.ndarray:
    p = np.array(points, float)
    t = np.linspace(0, 1, 200)[:, None]
    return (
        (1 - t) ** 3 * p[0] + 3 * (1 - t) ** 2 * t * p[1] + 3 * (1 - t) * t**2 * p[2] + t**3 * p[3]
    )


class Drawing:
    """Materials painted over each other, 800 x 600 map pixels; 4 map px are 1 mm."""

    def __init__(self) -> None:
        self.ids = np.zeros((600, 800), np.uint8)

    def line(self, a: tuple[int, int], b: tuple[int, int], material: Material, width: int) -> None:
        cv2.line(self.ids, a, b, int(material), width)

    def box(self, a: tuple[int, int], b: tuple[int, int], material: Material) -> None:
        cv2.rectangle(self.ids, a, b, int(material), -1)

    def core(self, points: list[tuple[float, float]], material: Material, width: int = 11) -> None:
        pts = np.rint(bezier(points)).astype(np.int32)
        cv2.polylines(self.ids, [pts], False, int(material), width)

    def image(self) -> AnalysisImage:
        """The drawing in usual colours: readings look at the picture beside the map."""
        rgb = np.zeros((*self.ids.shape, 3), np.float32)
        for material, colour in USUAL.items():
            rgb[self.ids == int(material)] = colour
        size = (2 * self.ids.shape[1], 2 * self.ids.shape[0])
        rgb = cv2.resize(cv2.GaussianBlur(rgb, (0, 0), 1.0), size)
        rgb += np.random.default_rng(0).normal(0, 0.01, rgb.shape).astype(np.float32)
        rgb = np.clip(rgb, 0, 1)
        return AnalysisImage(rgb**2.2, 1.0, 1.0)

    def map(self) -> MaterialMap:
        prob = np.eye(15, dtype=np.float32)[self.ids] * 0.9 + 0.1 / 15
        return MaterialMap(cv2.GaussianBlur(prob, (0, 0), 0.8), STEP)


def grey_image() -> AnalysisImage:
    return AnalysisImage(np.full((1200, 1600, 3), 0.21, np.float32), 1.0, 1.0)


def fitting(
    *, sheath_end: int = 300, copper_mm: float = 0.0, grip: bool = True, cpc_end: int = 440
) -> Drawing:
    """One cable from the top: wall at y = 200, grip from 228 to 248, terminals at y = 450.

    `sheath_end` is the y at which the sheath stops; 4 map px are 1 mm.
    """
    d = Drawing()
    d.box((100, 200), (700, 590), Material.ENCLOSURE)
    y = float(sheath_end)
    copper = round(copper_mm * 4)
    for x0, x1, m, stop in (
        (382, 300, Material.BLUE, 450),
        (400, 400, Material.GREEN_YELLOW, cpc_end),
        (418, 500, Material.BROWN, 450 - copper),
    ):
        d.core([(x0, y - 8), (x0, y + 60), (x1, stop - 60), (x1, stop - 6)], m)
        # The brush has round ends: cut the end square.
        d.box((x1 - 8, stop + 1), (x1 + 8, stop + 8), Material.ENCLOSURE)
    d.box((384, 0), (416, sheath_end), Material.SHEATH)
    if copper:
        d.box((497, 450 - copper + 1), (503, 450), Material.COPPER)
    d.box((270, 450), (540, 500), Material.TERMINAL)
    if grip:
        d.box((350, 228), (450, 248), Material.GRIP)
    return d
