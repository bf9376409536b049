"""The cable outside the cores' heads, where its sheath's mask is broken or gone: a band laid on the picture.

Cores that start side by side come out of one cable, and that cable goes on
behind them: a band of one width that bends little, with an edge along both
sides, sheath within and none beside. Bands of several widths, directions and
bends are laid on the map and the picture, and the best is taken (template
matching with a shape that can bend, as Yuille, Hallinan and Cohen 1992 do for features of faces).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from audit.sight.types import F32, F64, Material, MaterialMap

HIDERS = (Material.GRIP, Material.TERMINAL, Material.STEEL, Material.BRASS)
_LENGTH = 5.5
"""How far the band goes, widths as guessed."""
_TURNS = np.radians((-24.0, -12.0, 0.0, 12.0, 24.0))
_BENDS = np.array([-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3])
"""Width over radius."""
_ASIDE = np.array([-0.3, -0.15, 0.0, 0.15, 0.3])
_WIDTHS = np.array([0.65, 0.8, 1.0, 1.25, 1.5])
_ACROSS = np.array(
    [-0.85, -0.75, -0.62, -0.5, -0.38, -0.25, -0.1, 0.1, 0.25, 0.38, 0.5, 0.62, 0.75, 0.85]
)
_IN, _OUT = np.abs(_ACROSS) < 0.45, np.abs(_ACROSS) > 0.6
_STEPS = 23
_EDGE = 0.12
"""A step of lightness (0 to 1, square root of luminance) that counts as a full edge."""
_EDGES, _BESIDE, _HELD, _STRAIGHT = 0.6, 0.8, 0.25, 0.15
"""Weights against sheath within: edges on both sides, sheath beside, a place under a grip, bending."""


@dataclass(frozen=True)
class Band:
    """A cable laid on the picture.

    Parameters
    ----------
    path : (n, 2) float64
        From the cores' heads outward, px of the analysis picture.
    width : float
        px of the analysis picture.
    sheath : float
        Mean probability of sheath within, where no grip hides it.
    score : float
        How well it fits.
    """

    path: F64
    width: float
    sheath: float
    score: float


def _bands(start: F64, direction: F64, width: float) -> tuple[F64, F64, F64]:
    """Paths (k, n, 2), their normals (k, n, 2), and turn, bend, aside, width of each (k, 4)."""
    grid = np.stack(np.meshgrid(_TURNS, _BENDS, _ASIDE, _WIDTHS, indexing="ij"), -1).reshape(-1, 4)
    s = np.linspace(0.0, _LENGTH * width, _STEPS)
    angle = np.arctan2(direction[1], direction[0]) + grid[:, :1] + grid[:, 1:2] / width * s[None]
    ways = np.stack([np.cos(angle), np.sin(angle)], -1)
    normal = np.stack([-ways[..., 1], ways[..., 0]], -1)
    middle = (ways[:, 1:] + ways[:, :-1]) / 2 * (s[1] - s[0])
    path = np.concatenate([np.zeros((len(grid), 1, 2)), np.cumsum(middle, 1)], 1)
    return start + path + normal[:, :1] * (grid[:, 2] * width)[:, None, None], normal, grid


_TRIES, _WORSE = 3, 0.1
"""How often a width is tried about again, and how much worse the next try may fit to be taken."""


def lay_band(
    materials: MaterialMap, light: F32, start: F64, direction: F64, width: float
) -> Band | None:
    """The best band from a start outward; None where all of them leave the picture at once.

    A width at the end of what was tried is tried about again: bands are as long as they are wide.

    Parameters
    ----------
    materials : MaterialMap
    light : (h, w) float32
        Square root of linear luminance, at the scale of the map.
    start : (2,) float64
        Where the cores' heads lie, px of the analysis picture.
    direction : (2,) float64
        Unit vector out of them.
    width : float
        The cable's width as guessed, px of the analysis picture.

    Returns
    -------
    Band or None
    """
    best: Band | None = None
    for _ in range(_TRIES):
        band = _best_band(materials, light, start, direction, width)
        if band is None or (best is not None and band.score < best.score - _WORSE):
            break
        best, before = band, width
        width = band.width
        if _WIDTHS[0] * before * 1.01 < width < _WIDTHS[-1] * before * 0.99:
            break
    return best


def _best_band(
    materials: MaterialMap, light: F32, start: F64, direction: F64, width: float
) -> Band | None:
    k = materials.step
    paths, normal, grid = _bands((start + 0.5) / k - 0.5, direction, width / k)
    wide = grid[:, 3] * width / k
    at = paths[:, :, None] + normal[:, :, None] * (wide[:, None] * _ACROSS)[:, None, :, None]
    h, w = light.shape
    inside = np.asarray(((paths >= 0) & (paths <= (w - 1, h - 1))).all(-1), np.bool_)

    planes = np.dstack(
        [
            materials.prob[..., Material.SHEATH],
            materials.prob[..., [int(m) for m in HIDERS]].sum(-1),
            light,
        ]
    )
    x, y = (np.ascontiguousarray(at[..., i].reshape(len(at), -1), np.float32) for i in (0, 1))
    laid = cv2.remap(
        planes.astype(np.float32), x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    sheath, hider, shade = np.moveaxis(laid.reshape(*at.shape[:3], 3), -1, 0)
    within, beside = sheath[..., _IN].mean(-1), sheath[..., _OUT].mean(-1)
    held = hider[..., _IN].mean(-1)
    # A side's edge is what lightness does between just within and just beside.
    left = np.abs(shade[..., 2] - shade[..., 4])
    right = np.abs(shade[..., -3] - shade[..., -5])
    edge = np.minimum(np.minimum(left, right) / _EDGE, 1.0)
    seen = within - _BESIDE * beside + _EDGES * edge
    place = np.where(held > np.maximum(within, 0.4), _HELD, seen)
    weight = np.exp(-np.linspace(0, _LENGTH, _STEPS) / 4.0) * inside
    total = weight.sum(1)
    score = (place * weight).sum(1) / np.maximum(total, 1e-9)
    score -= _STRAIGHT * (np.abs(grid[:, 0]) / 0.42 + np.abs(grid[:, 1]) / 0.3) / 2
    score[total < 0.3 * weight.sum(1).max()] = -np.inf
    best = int(score.argmax())
    if not np.isfinite(score[best]) or inside[best].sum() < 4:
        return None
    open_ = weight[best] * (held[best] <= np.maximum(within[best], 0.4))
    told = float((within[best] * open_).sum() / max(float(open_.sum()), 1e-9))
    last = int(np.flatnonzero(inside[best])[-1]) + 1
    path = (paths[best, :last] + 0.5) * k - 0.5
    return Band(path, float(wide[best] * k), told, float(score[best]))
