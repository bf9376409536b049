"""A colour for each material, and a pattern where a colour alone would not do for every eye."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from audit.sight.types import Material

INK = {
    Material.OTHER: "#3a3a3a",
    Material.SHEATH: "#c9ccd1",
    Material.BROWN: "#7a4526",
    Material.BLUE: "#2357b8",
    Material.GREEN_YELLOW: "#e8dc3c",
    Material.RED: "#e0434a",
    Material.BLACK: "#000000",
    Material.GREY_CORE: "#7f8790",
    Material.COPPER: "#ff9d4d",
    Material.ENCLOSURE: "#e6d6ab",
    Material.GRIP: "#c79bf0",
    Material.TERMINAL: "#2bb5a5",
    Material.STEEL: "#a9c4d8",
    Material.CARD: "#ffffff",
    Material.BRASS: "#e0c341",
}
NAMES = {
    Material.OTHER: "anything else",
    Material.SHEATH: "sheath",
    Material.BROWN: "brown core",
    Material.BLUE: "blue core",
    Material.GREEN_YELLOW: "green-and-yellow",
    Material.RED: "red core",
    Material.BLACK: "black core",
    Material.GREY_CORE: "grey core",
    Material.COPPER: "bare copper",
    Material.ENCLOSURE: "enclosure",
    Material.GRIP: "grip",
    Material.TERMINAL: "terminal",
    Material.STEEL: "steel or zinc",
    Material.CARD: "site card",
    Material.BRASS: "brass",
}
PATTERN = {
    # How often it repeats along (x, y), px; how much of that the second colour takes; that colour.
    Material.GREEN_YELLOW: ((1, 1), 12, 6, "#1f7a35"),
    Material.RED: ((1, -1), 12, 4, "#ffffff"),
    Material.COPPER: ((1, -1), 6, 3, "#5a2500"),
    Material.BRASS: ((0, 1), 8, 2, "#5c4a00"),
    Material.STEEL: ((1, 0), 8, 2, "#37566d"),
    Material.BLACK: ((0, 1), 10, 2, "#9aa0a6"),
    Material.GREY_CORE: ((1, 1), 10, 3, "#2c3238"),
}


def rgb(ink: str) -> tuple[int, int, int]:
    """`#rrggbb` as three numbers, 0 to 255."""
    return (int(ink[1:3], 16), int(ink[3:5], 16), int(ink[5:7], 16))


def paint(ids: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Colours and patterns of a map of materials.

    Parameters
    ----------
    ids : (H, W) uint8

    Returns
    -------
    (H, W, 3) uint8
        sRGB.
    """
    out = np.array([rgb(INK[m]) for m in Material], np.uint8)[ids]
    y, x = np.indices(ids.shape)
    for material, ((ax, ay), every, second, ink) in PATTERN.items():
        out[(ids == material) & ((ax * x + ay * y) % every < second)] = rgb(ink)
    return out
