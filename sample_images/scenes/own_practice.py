"""The ``practice`` family: what practice photos are made of. Nothing is tuned or measured on it."""

from __future__ import annotations

from typing import Any, Final

BACKGROUNDS: Final[dict[str, dict[str, Any]]] = {
    "plasterboard-p": {"kind": "paper", "colour": (209, 199, 181)},
    "joist-p": {"kind": "wood", "colour": (190, 150, 104), "dark": (138, 98, 60), "pitch": 15.0},
    "sheet-p": {"kind": "cloth", "colour": (176, 184, 188), "weave": 1.2},
    "board-p": {"kind": "osb", "colour": (176, 148, 112)},
    "wall-p": {"kind": "paint", "colour": (216, 214, 206)},
    "wool-p": {"kind": "wool", "colour": (190, 168, 120)},
}

BOXES: Final[dict[str, dict[str, Any]]] = {
    "rect-white-p": {
        "shape": "rect",
        "size": (100, 64, 27),
        "corner": 8,
        "colour": (233, 233, 229),
    },
    "rect-grey-p": {"shape": "rect", "size": (96, 68, 29), "corner": 5, "colour": (146, 150, 152)},
    "round-white-p": {
        "shape": "round",
        "size": (96, 96, 26),
        "corner": 48,
        "colour": (229, 229, 226),
    },
    "square-cream-p": {
        "shape": "rect",
        "size": (86, 86, 27),
        "corner": 9,
        "colour": (223, 211, 184),
    },
    "long-grey-p": {
        "shape": "rect",
        "size": (106, 60, 25),
        "corner": 11,
        "colour": (170, 173, 172),
    },
    "rect-black-p": {"shape": "rect", "size": (98, 70, 27), "corner": 7, "colour": (44, 45, 47)},
}

TERMINALS: Final[dict[str, dict[str, Any]]] = {
    "strip-white-p": {
        "kind": "strip",
        "colour": (232, 230, 222),
        "screw": "brass",
        "pitch": 10.3,
        "length": 19,
        "height": 12.5,
    },
    "strip-grey-p": {
        "kind": "strip",
        "colour": (152, 154, 155),
        "screw": "zinc",
        "pitch": 10,
        "length": 19,
        "height": 12,
    },
    "strip-clear-p": {
        "kind": "strip",
        "colour": (224, 227, 224),
        "clear": 0.23,
        "screw": "brass",
        "pitch": 10.2,
        "length": 20,
        "height": 12,
    },
    "push-grey-p": {
        "kind": "push",
        "colour": (180, 182, 183),
        "lever": (84, 116, 96),
        "pitch": 6.3,
        "length": 19,
        "height": 9.3,
    },
    "push-white-p": {
        "kind": "push",
        "colour": (230, 230, 226),
        "lever": (92, 124, 158),
        "pitch": 6.5,
        "length": 19,
        "height": 9.6,
    },
}

LIGHTS: Final[dict[str, dict[str, Any]]] = {
    "flash-p": {"kind": "flash", "tint": (1.0, 0.98, 0.95), "offset": 15, "fill": 0.22},
    "torch-p": {"kind": "torch", "tint": (1.0, 0.96, 0.88), "angle": 21, "fill": 0.2},
    "window-p": {"kind": "window", "tint": (0.92, 0.97, 1.0), "azimuth": 310, "fill": 0.34},
    "mixed-p": {"kind": "mixed", "tint": (1.0, 0.91, 0.75), "azimuth": 120, "fill": 0.28},
}
