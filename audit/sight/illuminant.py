"""White balance of a photo without a card.

Three estimators that fail for different reasons look at the picture; how far
they agree is told as a confidence. The estimate only removes the gross cast:
the material model is fitted with the remaining error in its data.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

F32 = NDArray[np.float32]


@dataclass(frozen=True)
class Illuminant:
    """Estimated colour of the light.

    Parameters
    ----------
    gains : tuple of 3 floats
        Factors for linear R, G, B that make a neutral surface neutral; G is 1.
    confidence : float
        1 when the estimators agree, towards 0 as they part (0.5 at an angular
        spread of 6 degrees).
    """

    gains: tuple[float, float, float]
    confidence: float


def _unit(v: NDArray[np.floating]) -> NDArray[np.float64]:
    v = np.maximum(np.asarray(v, np.float64), 1e-6)
    return v / np.linalg.norm(v)


def estimate_illuminant(linear: F32) -> Illuminant:
    """Estimate the light's colour from linear RGB.

    Parameters
    ----------
    linear : (H, W, 3) float32
        Linear sRGB, 0 to 1. A picture of about 400 px on its long side is enough.

    Returns
    -------
    Illuminant
        Gains bounded to 0.4 .. 2.5.

    Notes
    -----
    Shades of grey with a Minkowski norm of 6 (Finlayson and Trezzi, 2004),
    first-order grey edge (van de Weijer, Gevers and Gijsenij, 2007), and the
    mean of bright pixels that are not clipped (white patch, Land 1977). Clipped
    pixels carry no colour and are left out of all three.
    """
    small = cv2.GaussianBlur(linear, (0, 0), 1.0)
    flat = small.reshape(-1, 3).astype(np.float64)
    good = (flat.max(1) < 0.95) & (flat.max(1) > 0.005)
    if good.sum() < 50:
        return Illuminant((1.0, 1.0, 1.0), 0.0)
    inside = flat[good]
    shades = (inside**6).mean(0) ** (1 / 6)
    gx = cv2.Sobel(small, cv2.CV_32F, 1, 0, ksize=3)
    gy = cv2.Sobel(small, cv2.CV_32F, 0, 1, ksize=3)
    grad = np.hypot(gx, gy).reshape(-1, 3).astype(np.float64)[good]
    edge = (grad**4).mean(0) ** (1 / 4)
    luma = inside @ np.array([0.2126, 0.7152, 0.0722])
    bright = inside[luma >= np.quantile(luma, 0.95)].mean(0)
    est = np.stack([_unit(shades), _unit(edge), _unit(bright)])
    light = _unit(np.median(est, axis=0))
    spread = float(np.degrees(np.arccos(np.clip(est @ light, -1, 1))).max())
    gains = np.clip(light[1] / light, 0.4, 2.5)
    gains /= gains[1]
    r, g, b = (float(x) for x in gains)
    return Illuminant((r, g, b), 1.0 / (1.0 + (spread / 6.0) ** 2))
