"""The analysis picture: one reduced, white-balanced copy that all seeing works on."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.sight.illuminant import estimate_illuminant
from audit.sight.types import F32, AnalysisImage

LONG_SIDE = 1600
"""Long side of the analysis picture, px. At the usual framing a 1.5 mm² core is 12 to 40 px wide."""


def _decode_lut() -> F32:
    v = np.arange(256, dtype=np.float64) / 255
    # IEC 61966-2-1, as in audit.photo.colour; a table because each pixel is one byte.
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)


_LUT = _decode_lut()


def encode(linear: F32) -> F32:
    """Linear RGB (clipped to 0..1) to sRGB-encoded 0 to 1, same shape, float32."""
    v = np.clip(linear, 0.0, 1.0)
    out = 1.055 * np.power(v, 1 / 2.4, dtype=np.float32) - 0.055
    low = v <= 0.0031308
    out[low] = v[low] * 12.92
    return np.asarray(out, np.float32)


def analysis_image(
    rgb: NDArray[np.uint8], gains: tuple[float, float, float] | None = None
) -> AnalysisImage:
    """Reduce, balance and expose a photo for analysis.

    Parameters
    ----------
    rgb : (H, W, 3) uint8
        Upright photo, sRGB.
    gains : 3 floats, optional
        Linear R, G, B gains measured on the site card; estimated when absent.

    Returns
    -------
    AnalysisImage

    Notes
    -----
    Exposure is set so that the 97th percentile of linear luminance lands at
    0.7, within a factor of 4 either way: the material model then sees a dim
    loft and a flash photo alike.
    """
    h, w = rgb.shape[:2]
    scale = max(1.0, max(h, w) / LONG_SIDE)
    if scale > 1.0:
        size = (max(1, round(w / scale)), max(1, round(h / scale)))
        rgb = np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), np.uint8)
        scale = w / size[0]
    linear = _LUT[rgb]
    balance = 1.0
    if gains is None:
        k = max(1, max(linear.shape[:2]) // 400)
        light = estimate_illuminant(np.ascontiguousarray(linear[::k, ::k]))
        gains, balance = light.gains, light.confidence
    linear *= np.asarray(gains, np.float32)
    luma = linear[::4, ::4] @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    gain = float(np.clip(0.7 / max(float(np.quantile(luma, 0.97)), 1e-3), 0.25, 4.0))
    linear *= np.float32(gain)
    np.clip(linear, 0, 1.5, out=linear)
    return AnalysisImage(linear, scale, balance)
