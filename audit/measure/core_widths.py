"""Widths of the cores to a fraction of a px, and what scale they tell.

The material map is made at a few px a millimetre, too coarse to measure on. A
strand's path leads to the core in the photo itself; across it, on either side,
the core ends where the colour changes most (the distance of CIELAB, which sees
a brown core on a grey box as well as a white one on a black).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.sight.types import CORES, F32, F64, Material, Strand, Strands

_ENDS = 0.1
"""Share of a strand left out at either end: there it is pinched by what covers it."""
_LEAST_LENGTH = 1.5
"""Shortest strand measured, in its own widths."""
_MOST_CUTS = 200
_STEP_PX = 0.5
_REACH = 1.1
_NEAR, _FAR, _PULL = 0.28, 0.95, 0.35
"""Where an edge is looked for, in the map's width from the middle line, and how strongly (standard
deviation) what lies near half of that width is preferred."""
_LEAST_SLOPE = 1.0
"""Smallest change of colour at an edge, CIELAB a sample."""
_LEAST_CUTS, _LEAST_SHARE = 6, 0.2
_SEEN = 0.99
"""Share of a core's width between the steepest changes of colour: its flanks are in shade. Median
over photos of flat cable of declared size of sample_images/bench/tune and a set for fitting."""
_SPREAD_FLOOR = 0.03
SIGMA_REL = 0.05
"""Standard deviation of one core's width from what its size and the scale give: shadows, blur, its
own depth. Medians over sample_images/bench/tune and a set for fitting: 0.03 to 0.05."""
_INDEPENDENT = 3.0
"""More cores than this tell no more: one light falls on all of them."""
_WORTH_POWER, _SCORE_POWER = 1.5, 3.5
"""Long, even, surely named strands are cores; most short, uneven and doubtful ones are none."""
_STRAY = 0.2
"""Share of strands that are no core of the cable: offcuts, sleeves, other things."""
_LOG_LOW, _LOG_HIGH, _GRID = float(np.log(0.3)), float(np.log(120.0)), 4000
_LOG_SPREAD = 0.8
"""Density of a stray's width in log width: anything over a factor of 3.5."""
_ROUGH_U95 = 0.5
_MAP_SIGMA_REL = 0.12
"""The same as `SIGMA_REL` for the map's own widths, taken where no edge could be followed."""


@dataclass(frozen=True)
class CoreWidth:
    """Width of one core, px of the full photo, and how much it counts."""

    px: float
    weight: float
    sigma_rel: float = SIGMA_REL


@dataclass(frozen=True)
class CardGuess:
    """One way a card may lie to the work, how likely it is, and the scale at the work it means.

    Parameters
    ----------
    share : float
        Those of all ways sum to 1.
    px_per_mm : float
    sigma_rel : float
        Standard deviation.
    """

    share: float
    px_per_mm: float
    sigma_rel: float


@dataclass(frozen=True)
class WidthScale:
    """Scale that widths, sizes and a card agree on.

    Parameters
    ----------
    px_per_mm : float
    u95_rel : float
    """

    px_per_mm: float
    u95_rel: float


def core_widths(rgb: NDArray[np.uint8], strands: Strands, full: float) -> tuple[CoreWidth, ...]:
    """Measure the line and neutral cores of a photo.

    Green-and-yellow is left out: on a flat cable it is sleeving, of whatever diameter was at hand.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
        Upright full-size photo.
    strands : Strands
    full : float
        px of the full photo for one px of the analysis picture.
    """
    cores = [
        s for s in strands.cores if s.material in CORES and s.material is not Material.GREEN_YELLOW
    ]
    found = [w for s in cores if (w := _measured(rgb, s, full)) is not None]
    if found:
        return tuple(found)
    return tuple(
        CoreWidth(
            float(np.median(s.width)) * full,
            s.length / float(np.median(s.width)),
            _MAP_SIGMA_REL,
        )
        for s in cores
        if s.length > _LEAST_LENGTH * float(np.median(s.width))
    )


def _measured(rgb: NDArray[np.uint8], strand: Strand, full: float) -> CoreWidth | None:
    cuts = _cuts(rgb, strand, full)
    if cuts is None:
        return None
    lab, offsets, width = cuts
    blur = max(1.2, 0.025 * width / _STEP_PX)
    smooth = cv2.GaussianBlur(lab, (0, 0), sigmaX=blur, sigmaY=2.0)
    slope = np.linalg.norm(np.gradient(smooth, axis=1), axis=2)
    left, strong_left = _edge(slope, offsets, width, -1)
    right, strong_right = _edge(slope, offsets, width, 1)
    good = (strong_left > _LEAST_SLOPE) & (strong_right > _LEAST_SLOPE)
    if good.sum() < max(_LEAST_CUTS, _LEAST_SHARE * len(good)):
        return None
    across = (right - left)[good]
    middle = float(np.median(across))
    spread = 1.4826 * float(np.median(np.abs(across - middle))) / middle
    length = strand.length * full / width
    worth = length * float(good.mean()) / (_SPREAD_FLOOR + spread)
    return CoreWidth(middle / _SEEN, worth**_WORTH_POWER * strand.score**_SCORE_POWER)


def _cuts(rgb: NDArray[np.uint8], strand: Strand, full: float) -> tuple[F32, F64, float] | None:
    """CIELAB across a strand (cuts, samples, 3), the samples' offsets and its width, px."""
    width = float(np.median(strand.width)) * full
    skip = max(1, int(_ENDS * len(strand.path)))
    path = strand.path[skip:-skip] * full
    if len(path) < 4:
        return None
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(path, axis=0).T))])
    if along[-1] < _LEAST_LENGTH * width:
        return None
    at = np.linspace(0.0, along[-1], int(np.clip(along[-1], 12, _MOST_CUTS)))
    feet = np.column_stack([np.interp(at, along, path[:, k]) for k in (0, 1)])
    reach = max(1, int(width / 3 / at[1]))
    padded = np.pad(feet, ((reach, reach), (0, 0)), mode="edge")
    tangent = padded[2 * reach :] - padded[: -2 * reach]
    tangent /= np.maximum(np.linalg.norm(tangent, axis=1, keepdims=True), 1e-9)
    normal = np.column_stack([-tangent[:, 1], tangent[:, 0]])
    half = _REACH * width + 3.0
    offsets = np.arange(-half, half + _STEP_PX / 2, _STEP_PX)
    grid = (feet[:, None] - 0.5 + offsets[None, :, None] * normal[:, None]).astype(np.float32)
    values = cv2.remap(
        rgb, grid[..., 0], grid[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
    )
    lab = cv2.cvtColor(values.astype(np.float32) / 255.0, cv2.COLOR_RGB2LAB)
    return np.asarray(lab, np.float32), offsets, width


def _edge(slope: F32, offsets: F64, width: float, side: int) -> tuple[F64, F64]:
    """Place of each cut's edge on one side, px, and its strength (0 where none peaks inside)."""
    out = offsets * side
    inside = np.flatnonzero((out > _NEAR * width) & (out < _FAR * width))
    pull = np.exp(-0.5 * ((out[inside] - 0.5 * width) / (_PULL * width)) ** 2)
    best = (slope[:, inside] * pull).argmax(axis=1)
    at = inside[best]
    rows = np.arange(len(slope))
    before, peak, after = slope[rows, at - 1], slope[rows, at], slope[rows, at + 1]
    curve = before - 2.0 * peak + after
    bent = np.abs(curve) > 1e-9
    shift = np.where(bent, 0.5 * (before - after) / np.where(bent, curve, 1.0), 0.0)
    strength = np.where((best > 0) & (best < len(inside) - 1), peak, 0.0)
    return offsets[at] + np.clip(shift, -1, 1) * _STEP_PX, strength.astype(np.float64)


def scale_of(
    widths: Sequence[CoreWidth],
    sizes: Sequence[tuple[float, float]],
    makers_u95_rel: float,
    card: Sequence[CardGuess] = (),
) -> WidthScale | None:
    """Scale from cores' widths, the diameters they may have, and a card's scale.

    Bayes' rule on a grid of log scales: each width comes from a core of one of the sizes, or from a
    stray; with one size it is the declared one, with many the widths that a card makes likely, and
    those of two cables side by side, tell which.

    Parameters
    ----------
    widths : sequence of CoreWidth
    sizes : sequence of (float, float)
        Diameters over the insulation that are possible, mm, and how likely each is; these sum to 1.
    makers_u95_rel : float
        Expanded relative spread of diameters of one size among makers: common to all cores of a
        photo, so that many cores do not make it less.
    card : sequence of CardGuess
        Without any, the scale is taken to be, within a factor of 1.6 or so, what the middle of the
        widths and of the sizes tells.

    Returns
    -------
    WidthScale or None
        Mean of the posterior (with a card its median, which does not fall between two ways that
        the card may lie), and twice the root mean square distance from it; None without widths.
    """
    if not widths:
        return None
    logs = _logs()
    log_mm, shares = np.log([mm for mm, _ in sizes]), np.array([share for _, share in sizes])
    weights = np.array([w.weight for w in widths])
    weights *= min(_INDEPENDENT, len(widths)) / weights.sum()
    likely = np.zeros(_GRID)
    for width, weight in zip(widths, weights, strict=True):
        off = (np.log(width.px) - logs[:, None] - log_mm[None]) / width.sigma_rel
        core = (np.exp(-0.5 * off**2) @ shares) / (width.sigma_rel * np.sqrt(2 * np.pi))
        likely += weight * np.log((1 - _STRAY) * core + _STRAY * _LOG_SPREAD)
    density = np.exp(likely - likely.max())
    density = _widened(density, logs[1] - logs[0], makers_u95_rel / 2)
    known = card or (CardGuess(1.0, _rough(widths, float(shares @ log_mm)), _ROUGH_U95 / 2),)
    return _settled(density * _card_density(known, logs), bool(card))


def card_alone(card: Sequence[CardGuess]) -> WidthScale | None:
    """Scale from the ways a card may lie, without cores: their median."""
    return _settled(_card_density(card, _logs()), True) if card else None


def _logs() -> F64:
    return np.linspace(_LOG_LOW, _LOG_HIGH, _GRID)


def _card_density(card: Sequence[CardGuess], logs: F64) -> F64:
    density = np.zeros(_GRID)
    for guess in card:
        off = (logs - np.log(guess.px_per_mm)) / guess.sigma_rel
        density += guess.share * np.exp(-0.5 * off**2) / guess.sigma_rel
    return density


def _settled(density: F64, median: bool) -> WidthScale | None:
    total = float(density.sum())
    if not total > 0:
        return None
    density, logs = density / total, _logs()
    middle = float(np.interp(0.5, np.cumsum(density), logs) if median else density @ logs)
    sigma = float(np.sqrt(density @ (logs - middle) ** 2))
    return WidthScale(float(np.exp(middle)), 2.0 * sigma)


def _rough(widths: Sequence[CoreWidth], log_mm: float) -> float:
    order = sorted(widths, key=lambda w: w.px)
    share = np.cumsum([w.weight for w in order])
    middle = order[int(np.searchsorted(share, 0.5 * share[-1]))].px
    return middle / float(np.exp(log_mm))


def _widened(density: F64, step: float, sigma: float) -> F64:
    if sigma <= 0:
        return density
    reach = np.arange(-int(4 * sigma / step), int(4 * sigma / step) + 1) * step
    kernel = np.exp(-0.5 * (reach / sigma) ** 2)
    return np.convolve(density, kernel / kernel.sum(), mode="same")
