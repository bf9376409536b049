"""Colour arithmetic: sRGB and linear light, CIE Lab, colour difference.

Constants are those of IEC 61966-2-1 (sRGB). Colour differences are
CIEDE2000 (CIE 142-2001; Sharma, Wu, Dalal 2005) as scikit-image computes it.
"""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import ArrayLike, NDArray
from skimage.color import deltaE_ciede2000

SRGB_SLOPE = 12.92
SRGB_OFFSET = 0.055
SRGB_GAMMA = 2.4
SRGB_DECODE_THRESHOLD = 0.04045
SRGB_ENCODE_THRESHOLD = 0.0031308
D65_XYZ = np.array([0.95047, 1.0, 1.08883])
"""White of CIE standard illuminant D65, 2° observer, Y = 1."""
RGB_TO_XYZ = np.array(
    [
        [0.4124, 0.3576, 0.1805],
        [0.2126, 0.7152, 0.0722],
        [0.0193, 0.1192, 0.9505],
    ]
)
"""Linear sRGB to CIE XYZ (D65), IEC 61966-2-1."""

FloatArray = NDArray[np.float32]
_deltae: Any = deltaE_ciede2000  # scikit-image ships no types


def decode_srgb(value: ArrayLike) -> NDArray[np.float64]:
    """Decode sRGB values of any shape, 0..1, to linear light 0..1 (IEC 61966-2-1).

    Examples
    --------
    >>> round(float(decode_srgb(0.5)), 7)
    0.2140411
    """
    v = np.asarray(value, dtype=np.float64)
    low = v / SRGB_SLOPE
    high = ((np.maximum(v, 0.0) + SRGB_OFFSET) / (1 + SRGB_OFFSET)) ** SRGB_GAMMA
    return np.asarray(np.where(v <= SRGB_DECODE_THRESHOLD, low, high), dtype=np.float64)


def encode_srgb(value: ArrayLike) -> NDArray[np.float64]:
    """Encode linear light of any shape, 0..1, as sRGB 0..1 (IEC 61966-2-1); clips outside.

    Examples
    --------
    >>> round(float(encode_srgb(0.18)), 7)
    0.4613561
    """
    v = np.clip(np.asarray(value, dtype=np.float64), 0.0, 1.0)
    low = v * SRGB_SLOPE
    high = (1 + SRGB_OFFSET) * v ** (1 / SRGB_GAMMA) - SRGB_OFFSET
    return np.asarray(np.where(v <= SRGB_ENCODE_THRESHOLD, low, high), dtype=np.float64)


_DECODE_LUT = decode_srgb(np.arange(256) / 255.0).astype(np.float32)


def srgb_to_linear(rgb: NDArray[Any]) -> FloatArray:
    """Turn 8-bit sRGB into linear light.

    Parameters
    ----------
    rgb : numpy.ndarray
        uint8 of any shape.

    Returns
    -------
    numpy.ndarray
        float32 of the same shape, 0..1.
    """
    return np.take(_DECODE_LUT, rgb)


def linear_to_srgb(linear: ArrayLike) -> NDArray[np.uint8]:
    """Turn linear light 0..1 of any shape into 8-bit sRGB, rounded; values outside are clipped."""
    return np.asarray(np.rint(encode_srgb(linear) * 255.0), dtype=np.uint8)


def linear_rgb_to_xyz(linear: ArrayLike) -> NDArray[np.float64]:
    """Turn linear sRGB (..., 3), 0..1, into CIE XYZ (..., 3), D65, Y = 1 for white."""
    return np.asarray(np.asarray(linear, dtype=np.float64) @ RGB_TO_XYZ.T, dtype=np.float64)


def xyz_to_lab(xyz: ArrayLike) -> NDArray[np.float64]:
    """Turn CIE XYZ (..., 3), D65, into CIE 1976 L*a*b* (..., 3), L* 0..100 (CIE 015)."""
    t = np.asarray(xyz, dtype=np.float64) / D65_XYZ
    delta = 6.0 / 29.0
    f = np.where(t > delta**3, np.cbrt(t), t / (3 * delta**2) + 4.0 / 29.0)
    x, y, z = f[..., 0], f[..., 1], f[..., 2]
    return np.stack([116.0 * y - 16.0, 500.0 * (x - y), 200.0 * (y - z)], axis=-1)


def linear_to_lab(linear: ArrayLike) -> NDArray[np.float64]:
    """Turn linear sRGB (..., 3), 0..1, into CIE L*a*b* (..., 3), D65."""
    return xyz_to_lab(linear_rgb_to_xyz(linear))


def lab_image(rgb: NDArray[np.uint8] | FloatArray) -> FloatArray:
    """Turn a whole picture into CIE L*a*b* (D65) fast.

    Parameters
    ----------
    rgb : numpy.ndarray
        Shape (H, W, 3): uint8 sRGB, or float32 linear light 0..1.

    Returns
    -------
    numpy.ndarray
        Shape (H, W, 3), float32; L* 0..100.
    """
    linear = srgb_to_linear(rgb) if rgb.dtype == np.uint8 else rgb.astype(np.float32)
    return np.asarray(cv2.cvtColor(linear, cv2.COLOR_LRGB2Lab), dtype=np.float32)


def ciede2000(lab1: ArrayLike, lab2: ArrayLike) -> NDArray[np.float64]:
    """CIEDE2000 colour difference of L*a*b* arrays (..., 3); about 1 is just visible.

    Examples
    --------
    >>> round(float(ciede2000([50, 2.6772, -79.7751], [50, 0, -82.7485])), 4)
    2.0425
    """
    difference = _deltae(np.asarray(lab1, dtype=np.float64), np.asarray(lab2, dtype=np.float64))
    return np.asarray(difference, dtype=np.float64)
