"""White balance and colour from the card's patches, in linear light."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray

from audit.card.geometry import Patch, load_card
from audit.card.types import CardSight
from audit.photo.colour import ciede2000, decode_srgb, linear_to_lab, srgb_to_linear
from audit.photo.types import Photo

Method = Literal["none", "gains", "linear", "root-polynomial"]
Array = NDArray[np.float64]

_INNER = 0.6
"""Share of a patch's width and height that is sampled, so that blurred borders stay out."""
_GRID = 14
_MAX_SPREAD = 0.18
"""Largest robust relative spread of luminance within a patch: more is an edge lying across it."""
_DARK, _LIGHT = 0.004, 0.96
"""Linear values outside are clipped or drowned in noise."""
_MAX_ODD = 0.10
"""How far a grey's colour ratios (log) may lie from the others' before it counts as covered."""
_TONE_SLOPES = (0.6, 1.7)
_PLAUSIBLE_DE = 20.0
"""Median CIEDE2000 of coloured patches after white balance; office printers stay below."""


@dataclass(frozen=True, eq=False)
class PatchSeen:
    """What one patch looks like in the photo.

    Parameters
    ----------
    patch : Patch
    linear : numpy.ndarray
        (3,), median, linear sRGB 0..1.
    spread : float
        Robust relative spread of luminance within the patch.
    why_not : str or None
        Why it is not used: ``outside``, ``glare``, ``clipped``, ``dark``, ``covered``.
    """

    patch: Patch
    linear: Array
    spread: float
    why_not: str | None


@dataclass(frozen=True, eq=False)
class ColourFit:
    """A colour correction in linear light.

    Parameters
    ----------
    method : str
        ``none`` (no card, or no patch to rely on), ``gains``, ``linear``, ``root-polynomial``.
    gains : numpy.ndarray
        (3,), white balance for red, green, blue, green being 1.
    exposure : float
        Factor that brings the greys to their nominal luminance.
    matrix : numpy.ndarray or None
        (3, 3) or (3, 6) of a full fit, exposure included.
    tone_slope : float or None
        Slope of log seen against log nominal luminance of the greys; 1 where the camera
        kept sRGB's own tone curve.
    tone_ok : bool
    delta_e : float or None
        Median CIEDE2000 of the coloured patches after the correction.
    plausible : bool
        Whether the coloured patches look like the card's.
    confidence : float
        0..1: how far the white balance may be relied on.
    patches : tuple of PatchSeen
    """

    method: Method
    gains: Array
    exposure: float
    matrix: Array | None
    tone_slope: float | None
    tone_ok: bool
    delta_e: float | None
    plausible: bool
    confidence: float
    patches: tuple[PatchSeen, ...]

    def apply(self, linear: ArrayLike) -> Array:
        """Correct linear sRGB (..., 3); shape kept, not clipped."""
        values = np.asarray(linear, dtype=np.float64)
        if self.matrix is None:
            return np.asarray(values * (self.gains * self.exposure))
        return _terms(values, self.matrix.shape[1]) @ self.matrix.T


def _terms(linear: Array, count: int) -> Array:
    """Linear or degree-2 root-polynomial terms (..., count) of linear RGB (Finlayson 2015)."""
    if count == 3:
        return linear
    v = np.maximum(linear, 0.0)
    r, g, b = v[..., 0], v[..., 1], v[..., 2]
    return np.stack([r, g, b, np.sqrt(r * g), np.sqrt(g * b), np.sqrt(r * b)], axis=-1)


def fit_colour(
    photo: Photo,
    sight: CardSight,
    measured: bool = False,
    patch_srgb: NDArray[np.uint8] | None = None,
) -> ColourFit:
    """Fit white balance and exposure to the greys, and more where the card was measured.

    Gains come from the greys alone, in linear light; patches that are covered, in glare, clipped
    or out of the picture are left out. The coloured patches of an office print are no reference:
    they serve a full fit only when `measured`, a root-polynomial one (Finlayson, Mackiewicz,
    Hurlbert, IEEE Trans. Image Process. 24 (2015) 1460-1470) with ten patches or more, a linear
    one with six or more.

    Parameters
    ----------
    photo : audit.photo.types.Photo
    sight : CardSight
    measured : bool
        Whether a person measured this card, or says that it is a measured one.
    patch_srgb : numpy.ndarray, optional
        (12, 3), uint8: measured colours, in the order of `CardGeometry.patches`.

    Returns
    -------
    ColourFit
        With `method` ``none`` when there is nothing to rely on; it then changes nothing.
    """
    card = load_card()
    nominal = np.array([p.srgb for p in card.patches] if patch_srgb is None else patch_srgb)
    wanted = decode_srgb(nominal / 255.0)
    if not sight.found or sight.mm_to_px is None:
        return _none(())
    seen = [_sample(photo, sight.mm_to_px, p) for p in card.patches]
    seen = _reject_odd(seen)
    used = np.array([s.why_not is None for s in seen])
    greys = used & np.array([p.neutral for p in card.patches])
    if greys.sum() < 2:
        return _none(tuple(seen))
    linear = np.array([s.linear for s in seen])
    gains = _gains(linear[greys])
    exposure, slope = _tone(linear[greys] * gains, wanted[greys])
    matrix = _full_fit(linear[used], wanted[used]) if measured else None
    fit = ColourFit(
        method=_method(matrix),
        gains=gains,
        exposure=exposure,
        matrix=matrix,
        tone_slope=slope,
        tone_ok=slope is not None and _TONE_SLOPES[0] <= slope <= _TONE_SLOPES[1],
        delta_e=None,
        plausible=False,
        confidence=0.0,
        patches=tuple(seen),
    )
    return _rated(fit, linear, wanted, used, greys)


def _none(seen: tuple[PatchSeen, ...]) -> ColourFit:
    return ColourFit("none", np.ones(3), 1.0, None, None, False, None, False, 0.0, seen)


def _method(matrix: Array | None) -> Method:
    if matrix is None:
        return "gains"
    return "linear" if matrix.shape[1] == 3 else "root-polynomial"


def _sample(photo: Photo, mm_to_px: Array, patch: Patch) -> PatchSeen:
    """Median colour of the inner part of one patch."""
    left, top, right, bottom = patch.box_mm
    mx, my = (right - left) * (1 - _INNER) / 2, (bottom - top) * (1 - _INNER) / 2
    xs = np.linspace(left + mx, right - mx, _GRID)
    ys = np.linspace(top + my, bottom - my, _GRID)
    mm = np.stack(np.meshgrid(xs, ys), axis=-1).reshape(1, -1, 2)
    px = np.floor(cv2.perspectiveTransform(mm, mm_to_px)[0]).astype(int)
    inside = ((px >= 0) & (px < [photo.width, photo.height])).all(axis=1)
    if inside.mean() < 0.5:
        return PatchSeen(patch, np.zeros(3), 0.0, "outside")
    values = photo.rgb[px[inside, 1], px[inside, 0]]
    linear = srgb_to_linear(values).astype(np.float64)
    middle = np.median(linear, axis=0)
    luminance = linear @ np.array([0.2126, 0.7152, 0.0722])
    typical = float(np.median(luminance))
    spread = float(np.median(np.abs(luminance - typical))) * 1.4826 / max(typical, 1e-4)
    return PatchSeen(patch, middle, spread, _why_not(values, middle, luminance, spread, patch))


def _why_not(
    values: NDArray[np.uint8], middle: Array, luminance: Array, spread: float, patch: Patch
) -> str | None:
    glare = float((values.min(axis=1) >= 250).mean())
    typical = float(np.median(luminance))
    if glare > 0.05 and typical < 0.8:
        return "glare"
    if middle.max() > _LIGHT:
        return "clipped"
    if typical < _DARK or (patch.neutral and middle.min() < _DARK / 4):
        return "dark"
    # Noise grows relative in the dark, so that the allowance does too.
    if spread > _MAX_SPREAD + 0.004 / max(typical, 0.004) * 0.3:
        return "covered"
    far = np.abs(luminance - typical) > 0.35 * typical + 0.01
    return "covered" if float(far.mean()) > 0.2 else None


def _reject_odd(seen: list[PatchSeen]) -> list[PatchSeen]:
    """Mark greys whose colour, or whose place in the order of brightness, does not fit the rest."""
    greys = [i for i, s in enumerate(seen) if s.patch.neutral and s.why_not is None]
    if len(greys) < 3:
        return seen
    values = np.array([seen[i].linear for i in greys])
    ratios = np.log(np.maximum(values[:, [0, 2]], 1e-5) / np.maximum(values[:, 1:2], 1e-5))
    noise = 0.02 / np.maximum(values.min(axis=1), 0.005) * 0.05  # dark greys tell less
    off = np.abs(ratios - np.median(ratios, axis=0)).max(axis=1)
    odd = {greys[k] for k in np.flatnonzero(off > _MAX_ODD + noise)}
    odd |= _out_of_order([i for i in greys if i not in odd], seen)
    return [
        PatchSeen(s.patch, s.linear, s.spread, "covered") if i in odd else s
        for i, s in enumerate(seen)
    ]


def _out_of_order(greys: list[int], seen: list[PatchSeen]) -> set[int]:
    """Greys, listed from light to dark, that break the order: fewest left out."""
    light = [float(seen[i].linear[1]) for i in greys]
    chains: list[list[int]] = []  # the longest falling run that ends at each grey
    for k, value in enumerate(light):
        longest: list[int] = []
        for chain in chains:
            if light[chain[-1]] > value and len(chain) > len(longest):
                longest = chain
        chains.append([*longest, k])
    keep = set(sorted(chains, key=len)[-1]) if chains else set()
    return {greys[k] for k in range(len(greys)) if k not in keep}


def _gains(greys: Array) -> Array:
    """Gains (3,) that make greys grey; brighter ones, being less noisy, count more."""
    logs = np.log(np.maximum(greys, 1e-6))
    weights = np.sqrt(greys[:, 1])
    ratio = logs[:, 1:2] - logs
    return np.asarray(np.exp((ratio * weights[:, None]).sum(axis=0) / weights.sum()))


def _tone(balanced: Array, wanted: Array) -> tuple[float, float | None]:
    """Exposure factor, and slope of the tone curve in logs (None with fewer than three greys)."""
    got = np.log(np.maximum(balanced[:, 1], 1e-6))
    want = np.log(wanted[:, 1])
    exposure = float(np.exp(np.median(want - got)))
    if len(got) < 3 or np.ptp(want) < 0.5:
        return exposure, None
    return exposure, float(np.polyfit(want, got, 1)[0])


def _full_fit(linear: Array, wanted: Array) -> Array | None:
    count = 6 if len(linear) >= 10 else 3
    if len(linear) < 6:
        return None
    solution, *_ = np.linalg.lstsq(_terms(linear, count), wanted, rcond=None)
    return np.asarray(solution.T)


def _rated(
    fit: ColourFit, linear: Array, wanted: Array, used: NDArray[np.bool_], greys: NDArray[np.bool_]
) -> ColourFit:
    """Add plausibility and confidence."""
    coloured = used & ~np.array([s.patch.neutral for s in fit.patches])
    delta: float | None = None
    if coloured.any():
        got = linear_to_lab(np.clip(fit.apply(linear[coloured]), 0.0, 1.0))
        delta = float(np.median(ciede2000(got, linear_to_lab(wanted[coloured]))))
    plausible = delta is not None and delta <= _PLAUSIBLE_DE
    balanced = linear[greys] * fit.gains
    # Median: the darkest greys are off by their rounding to 8 bit alone.
    cast = float(np.median(np.abs(np.log(balanced / balanced[:, 1:2])).max(axis=1)))
    confidence = min(1.0, greys.sum() / 4.0) * float(np.exp(-((cast / 0.15) ** 2)))
    if not fit.tone_ok:
        confidence *= 0.6
    if not plausible:
        confidence *= 0.5
    return ColourFit(
        fit.method, fit.gains, fit.exposure, fit.matrix, fit.tone_slope, fit.tone_ok,
        delta, plausible, confidence, fit.patches,
    )  # fmt: skip
