"""What scenes are made of, by family. A name that stands in one family never stands in another.

Nothing is tuned on ``report``; ``third`` is kept back for later; ``demo`` is the demo job's; ``fit``
is drawn from a seed (`wide.py`), for fitting colour models only; ``practice`` is for photos to learn from
(`own_practice.py`). Colours are sRGB 0..255. Sizes in mm. Cable sizes follow ``CABLES``, the same in every family.
"""

from __future__ import annotations

from typing import Any, Final

from . import own_practice
from .wide import wide_tables

FAMILIES: Final = ("tune", "report", "third", "demo", "fit", "practice")

# Flat twin and earth: sheath (thickness, width), core diameter over insulation, conductor diameter,
# CPC diameter. From memory of BS 6004 table values as printed by makers; conductors are the usual
# solid wire of the area (1.0, 1.5, 2.5 mm2). Flex: sheath diameter, core, bunched conductor.
CABLES: Final[dict[str, dict[str, Any]]] = {
    "1.0": {"flat": True, "sheath": (4.25, 7.8), "core": 2.33, "conductor": 1.13, "cpc": 1.13},
    "1.5": {"flat": True, "sheath": (5.0, 8.2), "core": 2.78, "conductor": 1.38, "cpc": 1.13},
    "2.5": {"flat": True, "sheath": (6.0, 10.3), "core": 3.38, "conductor": 1.78, "cpc": 1.38},
    "flex-0.75": {"flat": False, "sheath": (6.6, 6.6), "core": 2.2, "conductor": 1.15, "cpc": 2.2},
    "flex-1.0": {"flat": False, "sheath": (7.0, 7.0), "core": 2.4, "conductor": 1.3, "cpc": 2.4},
}

# Ranges a core's colour is drawn from: the two ends of a line in sRGB.
CORE_COLOURS: Final[dict[str, tuple[tuple[int, int, int], tuple[int, int, int]]]] = {
    "brown": ((70, 40, 28), (128, 62, 42)),
    "blue": ((24, 62, 150), (52, 142, 208)),
    "red": ((150, 22, 24), (204, 44, 40)),
    "black": ((22, 22, 24), (44, 43, 44)),
    "grey": ((112, 114, 116), (156, 158, 158)),
    "green": ((28, 106, 46), (64, 142, 50)),
    "yellow": ((212, 186, 34), (236, 214, 62)),
}
SHEATH_COLOURS: Final[dict[str, tuple[tuple[int, int, int], tuple[int, int, int]]]] = {
    "grey": ((138, 141, 143), (176, 178, 178)),
    "white": ((222, 221, 214), (240, 240, 238)),
    "black": ((26, 26, 27), (46, 46, 47)),
}

BACKGROUNDS: Final[dict[str, dict[str, dict[str, Any]]]] = {
    "tune": {
        "plasterboard-a": {"kind": "paper", "colour": (214, 205, 188)},
        "joist-a": {
            "kind": "wood",
            "colour": (201, 160, 108),
            "dark": (150, 104, 62),
            "pitch": 9.0,
        },
        "wool-a": {"kind": "wool", "colour": (204, 176, 112)},
        "sheet-a": {"kind": "cloth", "colour": (205, 200, 190), "weave": 1.3},
        "wall-a": {"kind": "paint", "colour": (228, 226, 220)},
        "board-a": {"kind": "osb", "colour": (196, 158, 104)},
    },
    "report": {
        "plasterboard-b": {"kind": "paper", "colour": (196, 188, 178)},
        "joist-b": {"kind": "wood", "colour": (184, 134, 84), "dark": (112, 72, 42), "pitch": 6.0},
        "wool-b": {"kind": "wool", "colour": (176, 160, 134)},
        "sheet-b": {"kind": "cloth", "colour": (92, 110, 138), "weave": 0.9},
        "brick-b": {"kind": "brick", "colour": (146, 92, 74)},
        "plaster-b": {"kind": "paint", "colour": (206, 168, 148)},
    },
    "third": {
        "joist-c": {
            "kind": "wood",
            "colour": (214, 180, 132),
            "dark": (176, 132, 86),
            "pitch": 13.0,
        },
        "sheet-c": {"kind": "cloth", "colour": (150, 148, 142), "weave": 1.8},
        "wool-c": {"kind": "wool", "colour": (214, 206, 184)},
        "wall-c": {"kind": "paint", "colour": (176, 188, 186)},
    },
    "demo": {
        "plasterboard-d": {"kind": "paper", "colour": (206, 198, 184)},
        "joist-d": {"kind": "wood", "colour": (194, 148, 98), "dark": (132, 90, 54), "pitch": 7.5},
        "wool-d": {"kind": "wool", "colour": (196, 172, 126)},
        "sheet-d": {"kind": "cloth", "colour": (216, 210, 202), "weave": 1.1},
    },
}

BOXES: Final[dict[str, dict[str, dict[str, Any]]]] = {
    "tune": {
        "rect-white-a": {
            "shape": "rect",
            "size": (96, 62, 28),
            "corner": 7,
            "colour": (232, 232, 228),
        },
        "rect-grey-a": {
            "shape": "rect",
            "size": (110, 70, 32),
            "corner": 4,
            "colour": (150, 154, 156),
        },
        "round-white-a": {
            "shape": "round",
            "size": (92, 92, 26),
            "corner": 46,
            "colour": (226, 227, 224),
        },
        "square-cream-a": {
            "shape": "rect",
            "size": (84, 84, 30),
            "corner": 10,
            "colour": (222, 208, 178),
        },
        "slim-black-a": {
            "shape": "rect",
            "size": (88, 46, 22),
            "corner": 5,
            "colour": (40, 41, 42),
        },
    },
    "report": {
        "rect-white-b": {
            "shape": "rect",
            "size": (104, 56, 25),
            "corner": 12,
            "colour": (238, 237, 235),
        },
        "rect-grey-b": {
            "shape": "rect",
            "size": (92, 72, 34),
            "corner": 8,
            "colour": (128, 132, 136),
        },
        "round-black-b": {
            "shape": "round",
            "size": (98, 98, 28),
            "corner": 49,
            "colour": (34, 35, 37),
        },
        "square-grey-b": {
            "shape": "rect",
            "size": (88, 88, 24),
            "corner": 5,
            "colour": (172, 175, 174),
        },
        "slim-white-b": {
            "shape": "rect",
            "size": (100, 44, 20),
            "corner": 9,
            "colour": (228, 229, 230),
        },
        "oval-cream-b": {
            "shape": "rect",
            "size": (108, 64, 26),
            "corner": 30,
            "colour": (226, 216, 192),
        },
    },
    "third": {
        "rect-cream-c": {
            "shape": "rect",
            "size": (90, 58, 30),
            "corner": 3,
            "colour": (216, 204, 180),
        },
        "round-grey-c": {
            "shape": "round",
            "size": (86, 86, 24),
            "corner": 43,
            "colour": (160, 162, 162),
        },
        "slim-grey-c": {
            "shape": "rect",
            "size": (94, 48, 24),
            "corner": 14,
            "colour": (118, 120, 124),
        },
        "square-white-c": {
            "shape": "rect",
            "size": (80, 80, 34),
            "corner": 14,
            "colour": (236, 235, 230),
        },
    },
    "demo": {
        "rect-white-d": {
            "shape": "rect",
            "size": (98, 60, 27),
            "corner": 9,
            "colour": (234, 234, 231),
        },
        "rect-grey-d": {
            "shape": "rect",
            "size": (100, 66, 30),
            "corner": 6,
            "colour": (142, 146, 148),
        },
        "round-cream-d": {
            "shape": "round",
            "size": (94, 94, 27),
            "corner": 47,
            "colour": (224, 212, 188),
        },
        "square-black-d": {
            "shape": "rect",
            "size": (86, 86, 28),
            "corner": 8,
            "colour": (38, 38, 40),
        },
    },
}

TERMINALS: Final[dict[str, dict[str, dict[str, Any]]]] = {
    "tune": {
        "strip-white-a": {
            "kind": "strip",
            "colour": (226, 224, 214),
            "screw": "brass",
            "pitch": 10.5,
            "length": 20,
            "height": 13,
        },
        "strip-grey-a": {
            "kind": "strip",
            "colour": (120, 122, 124),
            "screw": "zinc",
            "pitch": 9.5,
            "length": 18,
            "height": 12,
        },
        "strip-clear-a": {
            "kind": "strip",
            "colour": (226, 230, 228),
            "clear": 0.2,
            "screw": "brass",
            "pitch": 10,
            "length": 19,
            "height": 12,
        },
        "push-grey-a": {
            "kind": "push",
            "colour": (168, 170, 170),
            "lever": (206, 112, 40),
            "pitch": 6.2,
            "length": 19,
            "height": 9,
        },
    },
    "report": {
        "strip-cream-b": {
            "kind": "strip",
            "colour": (222, 212, 186),
            "screw": "zinc",
            "pitch": 11,
            "length": 22,
            "height": 14,
        },
        "strip-black-b": {
            "kind": "strip",
            "colour": (44, 45, 47),
            "screw": "brass",
            "pitch": 10,
            "length": 19,
            "height": 12.5,
        },
        "strip-clear-b": {
            "kind": "strip",
            "colour": (216, 222, 226),
            "clear": 0.26,
            "screw": "zinc",
            "pitch": 9.5,
            "length": 20,
            "height": 12,
        },
        "push-clear-b": {
            "kind": "push",
            "colour": (206, 212, 214),
            "clear": 0.22,
            "lever": (60, 130, 90),
            "pitch": 5.8,
            "length": 18,
            "height": 8.5,
        },
        "push-white-b": {
            "kind": "push",
            "colour": (228, 228, 226),
            "lever": (150, 152, 154),
            "pitch": 6.6,
            "length": 20,
            "height": 10,
        },
    },
    "third": {
        "strip-white-c": {
            "kind": "strip",
            "colour": (236, 234, 230),
            "screw": "zinc",
            "pitch": 10,
            "length": 18,
            "height": 12,
        },
        "push-grey-c": {
            "kind": "push",
            "colour": (132, 134, 138),
            "lever": (40, 90, 150),
            "pitch": 6.0,
            "length": 18,
            "height": 9,
        },
        "strip-clear-c": {
            "kind": "strip",
            "colour": (230, 226, 214),
            "clear": 0.24,
            "screw": "brass",
            "pitch": 10.5,
            "length": 20,
            "height": 12.5,
        },
    },
    "demo": {
        "strip-white-d": {
            "kind": "strip",
            "colour": (230, 228, 222),
            "screw": "brass",
            "pitch": 10.2,
            "length": 19,
            "height": 12.5,
        },
        "strip-clear-d": {
            "kind": "strip",
            "colour": (222, 226, 226),
            "clear": 0.22,
            "screw": "brass",
            "pitch": 10,
            "length": 20,
            "height": 12,
        },
        "push-grey-d": {
            "kind": "push",
            "colour": (176, 178, 180),
            "lever": (90, 140, 60),
            "pitch": 6.4,
            "length": 19,
            "height": 9.5,
        },
    },
}

# warm: colour of the light, red:blue; size: radius of the source, mm; fill: even light as a share.
LIGHTS: Final[dict[str, dict[str, dict[str, Any]]]] = {
    "tune": {
        "flash-a": {"kind": "flash", "tint": (1.0, 0.97, 0.92), "offset": 14, "fill": 0.12},
        "torch-a": {"kind": "torch", "tint": (0.9, 0.97, 1.0), "angle": 16, "fill": 0.16},
        "window-a": {"kind": "window", "tint": (0.86, 0.95, 1.0), "azimuth": 40, "fill": 0.35},
        "mixed-a": {"kind": "mixed", "tint": (1.0, 0.86, 0.62), "azimuth": 200, "fill": 0.3},
    },
    "report": {
        "flash-b": {"kind": "flash", "tint": (0.97, 1.0, 0.96), "offset": 20, "fill": 0.2},
        "torch-b": {"kind": "torch", "tint": (1.0, 0.93, 0.8), "angle": 24, "fill": 0.1},
        "window-b": {"kind": "window", "tint": (0.92, 0.98, 1.0), "azimuth": 130, "fill": 0.25},
        "lamp-b": {"kind": "window", "tint": (1.0, 0.78, 0.5), "azimuth": 290, "fill": 0.3},
        "mixed-b": {"kind": "mixed", "tint": (0.8, 0.92, 1.0), "azimuth": 75, "fill": 0.22},
    },
    "third": {
        "flash-c": {"kind": "flash", "tint": (1.0, 0.95, 0.88), "offset": 10, "fill": 0.3},
        "window-c": {"kind": "window", "tint": (0.95, 1.0, 0.98), "azimuth": 240, "fill": 0.4},
        "torch-c": {"kind": "torch", "tint": (0.96, 1.0, 0.98), "angle": 12, "fill": 0.2},
    },
    "demo": {
        "flash-d": {"kind": "flash", "tint": (1.0, 0.98, 0.94), "offset": 16, "fill": 0.18},
        "torch-d": {"kind": "torch", "tint": (1.0, 0.97, 0.9), "angle": 20, "fill": 0.18},
        "window-d": {"kind": "window", "tint": (0.9, 0.97, 1.0), "azimuth": 330, "fill": 0.32},
        "mixed-d": {"kind": "mixed", "tint": (1.0, 0.9, 0.72), "azimuth": 100, "fill": 0.26},
    },
}

GRIPS: Final = ("clamp-bar", "push-down", "strap", "moulded", "none")
VIEWS: Final = ("entry", "terminals", "inside", "closed", "back", "face", "plate", "above")
POOR: Final = ("motion", "defocus", "dark", "bright", "glare", "far", "out_of_frame")

BOXES["fit"], TERMINALS["fit"], BACKGROUNDS["fit"], LIGHTS["fit"] = wide_tables()
for _all, _own in (
    (BOXES, own_practice.BOXES),
    (TERMINALS, own_practice.TERMINALS),
    (BACKGROUNDS, own_practice.BACKGROUNDS),
    (LIGHTS, own_practice.LIGHTS),
):
    _all["practice"] = _own
