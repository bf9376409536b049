"""Width of edges: how blurred a picture is at a place.

The idea is the edge spread function of ISO 12233: how far it takes, across an
edge, to rise from 10 % to 90 % of the step. A measured length in px, unlike a
variance of the Laplacian, it says what blur does to the place of an edge.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
_REACH_PX = 14.0
_STEP_PX = 0.25
_SMOOTH_PX = 0.75
"""Smoothing of slopes, so that noise does not end a rise early; the widths are not smoothed."""
_GOES_ON_PX = 6.0
_GOES_ON = 0.3
"""An edge that rises on, within so many px beyond, by this share of the step is not measured:
it is part of a wider one."""
MIN_STEP = 18.0
"""Smallest rise across an edge, in 8-bit code values, that is measured; see also `least_step`."""


def sample_profiles(
    gray: NDArray[np.uint8],
    points: Points,
    normals: Points,
    reach: float = _REACH_PX,
    beside: int = 0,
) -> tuple[Points, Points]:
    """Brightness along short lines across edges.

    Parameters
    ----------
    gray : numpy.ndarray
        (H, W), uint8.
    points : numpy.ndarray
        (n, 2), x and y in px, origin at the corner of the top left pixel.
    normals : numpy.ndarray
        (n, 2), unit vectors across the edge.
    reach : float
        Half length of the lines, px.
    beside : int
        So many lines on either side, a px apart, are averaged in: an edge is straight over a
        few px, noise is not.

    Returns
    -------
    values : numpy.ndarray
        (n, m), brightness, each line turned so that it rises.
    offsets : numpy.ndarray
        (m,), px from the point.
    """
    offsets = np.arange(-reach, reach + _STEP_PX / 2, _STEP_PX)
    along = np.stack([-normals[:, 1], normals[:, 0]], axis=-1)
    values = np.zeros((len(points), len(offsets)))
    for k in range(-beside, beside + 1):
        feet = points - 0.5 + k * along
        grid = feet[:, None, :] + offsets[None, :, None] * normals[:, None, :]
        values += cv2.remap(
            gray,
            grid[..., 0].astype(np.float32),
            grid[..., 1].astype(np.float32),
            cv2.INTER_CUBIC,
            borderMode=cv2.BORDER_REPLICATE,
        )
    values /= 2 * beside + 1
    half = values.shape[1] // 2
    falls = values[:, :half].mean(axis=1) > values[:, -half:].mean(axis=1)
    values[falls] = values[falls, ::-1]
    return values, offsets


def edge_widths_px(
    gray: NDArray[np.uint8],
    points: Points,
    normals: Points,
    beside: int = 0,
    least_step: float = MIN_STEP,
) -> Points:
    """10 % to 90 % rise distance of each of many edges.

    From the middle of the steepest rise outwards, each plateau is where the
    rise first ends (slope below a tenth of the steepest); texture beyond
    it does not count.

    Parameters
    ----------
    gray : numpy.ndarray
        (H, W), uint8.
    points, normals : numpy.ndarray
        (n, 2) each, as for `sample_profiles`.
    beside : int
        As for `sample_profiles`.
    least_step : float
        Smallest rise that is measured, 8-bit code values.

    Returns
    -------
    numpy.ndarray
        (n,), px; NaN where the edge is too weak or has no plateaus. An ideal edge
        gives about 0.8, one blurred by a Gaussian of standard deviation s about 2.56 s.
    """
    if len(points) == 0:
        return np.zeros(0)
    values, offsets = sample_profiles(
        gray, np.asarray(points, float), np.asarray(normals, float), beside=beside
    )
    slope = np.gradient(cv2.GaussianBlur(values, (17, 1), _SMOOTH_PX / _STEP_PX), axis=1)
    middle = len(offsets) // 2
    near = round(3.0 / _STEP_PX)
    window = slope[:, middle - near : middle + near + 1]
    peaks = window.argmax(axis=1) + middle - near
    return np.array(
        [_width(v, s, int(k), least_step) for v, s, k in zip(values, slope, peaks, strict=True)]
    )


def _width(values: Points, slope: Points, peak: int, least_step: float) -> float:
    """Rise distance of one rising profile, NaN when it can't be told."""
    weak = slope < 0.1 * slope[peak]
    below = np.flatnonzero(weak[:peak])
    above = np.flatnonzero(weak[peak:])
    if slope[peak] <= 0 or len(below) == 0 or len(above) == 0:
        return float("nan")
    first, last = int(below[-1]), peak + int(above[0])
    low, high = float(values[first]), float(values[last])
    if high - low < least_step:
        return float("nan")
    reach = round(_GOES_ON_PX / _STEP_PX)
    beyond = max(
        low - values[max(0, first - reach) : first + 1].min(),
        values[last : last + reach + 1].max() - high,
    )
    if beyond > _GOES_ON * (high - low):
        return float("nan")
    part = values[first : last + 1]
    p10 = _crossing(part, low + 0.1 * (high - low))
    p90 = _crossing(part, low + 0.9 * (high - low))
    return (p90 - p10) * _STEP_PX


def _crossing(values: Points, level: float) -> float:
    """Index, with a fraction, at which rising values first pass `level`."""
    k = int(np.argmax(values >= level))
    if k == 0:
        return 0.0
    return k - 1 + (level - float(values[k - 1])) / max(float(values[k] - values[k - 1]), 1e-9)


def edge_width_px(gray: NDArray[np.uint8], points: Points, normals: Points) -> float | None:
    """Blur across given edges: robust median of their 10 % to 90 % rise distances.

    Parameters
    ----------
    gray : numpy.ndarray
        (H, W), uint8.
    points, normals : numpy.ndarray
        (n, 2) each: px (origin at the corner of the top left pixel) and unit vectors across.

    Returns
    -------
    float or None
        px; None with fewer than three measurable edges.
    """
    widths = edge_widths_px(gray, points, normals)
    good = widths[np.isfinite(widths)]
    return float(np.median(good)) if len(good) >= 3 else None


def strong_edges(
    gray: NDArray[np.uint8], block: int = 16, threshold: float = 40.0
) -> tuple[Points, Points]:
    """The strongest edge of every small block.

    Parameters
    ----------
    gray : numpy.ndarray
        (H, W), uint8.
    block : int
        Side of the blocks, px.
    threshold : float
        Smallest Sobel 3 x 3 gradient that counts; 8 is a slope of one code value a px.

    Returns
    -------
    points, normals : numpy.ndarray
        (n, 2) each, as `edge_widths_px` takes them; edges too near the border are left out.
    """
    rows, cols = gray.shape[0] // block, gray.shape[1] // block
    if rows == 0 or cols == 0:
        return np.zeros((0, 2)), np.zeros((0, 2))
    part = gray[: rows * block, : cols * block]
    bands = [_strongest(part, a, min(a + _BAND, rows), block) for a in range(0, rows, _BAND)]
    x, y, dx, dy = (np.concatenate(told) for told in zip(*bands, strict=True))
    length = np.hypot(dx, dy)
    margin = 4
    keep = (length > threshold) & (x >= margin) & (y >= margin)
    keep &= (x < gray.shape[1] - margin) & (y < gray.shape[0] - margin)
    points = np.stack([x[keep], y[keep]], axis=-1) + 0.5
    normals = np.stack([dx[keep], dy[keep]], axis=-1) / length[keep, None]
    return points, normals


_BAND = 16
"""Rows of blocks whose slopes are held at a time: of a whole photo of 12 MP they take 120 MB."""


def _strongest(
    gray: NDArray[np.uint8], first: int, last: int, block: int
) -> tuple[NDArray[np.intp], NDArray[np.intp], Points, Points]:
    """Place of the steepest slope of each block in some rows of blocks, and the slope there."""
    lo, hi = max(0, first * block - 1), min(len(gray), last * block + 1)
    skip = first * block - lo
    gx, gy = (
        cv2.Sobel(gray[lo:hi], cv2.CV_16S, 1 - k, k)[skip : skip + (last - first) * block]
        for k in (0, 1)
    )
    size = cv2.add(cv2.absdiff(gx, 0), cv2.absdiff(gy, 0))
    rows, cols = last - first, gray.shape[1] // block
    blocks = size.reshape(rows, block, cols, block).transpose(0, 2, 1, 3).reshape(rows, cols, -1)
    at = blocks.argmax(axis=2)
    y = np.arange(rows)[:, None] * block + at // block
    x = np.arange(cols)[None, :] * block + at % block
    return x, y + first * block, gx[y, x].astype(np.float64), gy[y, x].astype(np.float64)
