"""What a photo, or a place in it, is worth: blur, clipping, light, noise, glare. All measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.photo.colour import srgb_to_linear
from audit.photo.edges import MIN_STEP, edge_widths_px, strong_edges
from audit.photo.flare import flare_share
from audit.photo.types import Photo

Box = tuple[float, float, float, float]
Floats = NDArray[np.float64]
DARK_CODE, LIGHT_CODE = 3, 252
"""At or beyond these 8-bit values a channel is clipped: detail is gone for good."""
_TILES = (6, 8)
_MAX_EDGES = 1600
_ENOUGH_EDGES = 12
_MAX_HALVINGS = 3
_WIDE_PX = 9.0
"""Wider edges are measured again on a copy of half the size, where a profile holds them whole."""
_TILE_MIN_EDGES = 4
_SEARCH_SIGMA_PX, _SEARCH_SLOPE = 1.0, 40.0
"""Edges are looked for on a copy smoothed so much, and are at least so steep (Sobel)."""
_SLOPE_NOISE, _STEP_NOISE = 12.0, 6.0
"""Least slope and step of an edge in standard deviations of noise: grain has edges as sharp as can
be, and would make a blurred photo look sharp."""
_BESIDE = 1
_DIRECTIONS = 6
_DIRECTION_EDGES = 12
"""Fewest edges that tell the blur of one direction."""
_LUMA = np.array([0.2126, 0.7152, 0.0722], dtype=np.float32)


@dataclass(frozen=True, eq=False)
class Quality:
    """Measured quality of a photo or of a place in it.

    Parameters
    ----------
    box_px : tuple of float
        x0, y0, x1, y1 of what was measured.
    clipped_dark, clipped_light : float
        Share of pixels with all channels at the bottom, or with all at the top of the range, 0..1.
    median_luminance : float
        Relative luminance Y, linear, 0..1.
    noise : float
        Standard deviation of noise, 8-bit code values.
    edge_px : float or None
        Width (10 % to 90 % rise, px) of the sharper quarter of the strong edges; None where
        there are too few to tell.
    blur_px : float or None
        The same of the edges that lie in one direction, for the direction in which it is widest:
        a moving hand blurs across one direction and leaves edges along it sharp. None where no
        direction has enough edges.
    edges : int
        How many strong edges were measured.
    tile_edge_px : numpy.ndarray
        (rows, columns): `edge_px` tile by tile, NaN where there are too few edges.
    glare : float
        Share of pixels that are blown out to white.
    flare : float
        Share covered by one blown-out spot whose rim is soft, see `audit.photo.flare`.
    glare_boxes_px : tuple of tuple
        Boxes of the largest blown-out spots, largest first, five at most.
    """

    box_px: Box
    clipped_dark: float
    clipped_light: float
    median_luminance: float
    noise: float
    edge_px: float | None
    blur_px: float | None
    edges: int
    tile_edge_px: NDArray[np.float64]
    glare: float
    flare: float
    glare_boxes_px: tuple[Box, ...]

    def sharpest_tile(self) -> tuple[Box, float] | None:
        """Box and edge width of the sharpest tile; None when no tile could be measured."""
        if not np.isfinite(self.tile_edge_px).any():
            return None
        rows, cols = self.tile_edge_px.shape
        r, c = np.unravel_index(int(np.nanargmin(self.tile_edge_px)), (rows, cols))
        x0, y0, x1, y1 = self.box_px
        w, h = (x1 - x0) / cols, (y1 - y0) / rows
        box = (x0 + c * w, y0 + r * h, x0 + (c + 1) * w, y0 + (r + 1) * h)
        return box, float(self.tile_edge_px[r, c])


def measure_quality(photo: Photo) -> Quality:
    """Measure a whole photo.

    Parameters
    ----------
    photo : audit.photo.types.Photo

    Returns
    -------
    Quality

    Notes
    -----
    Edge width: see `audit.photo.edges`. Noise: median absolute deviation of the
    diagonal detail of the Haar wavelet, over 0.6745 (Donoho and Johnstone,
    Biometrika 81 (1994) 425-455); texture is finer than most edges but not than noise, so it
    errs upwards on rough ground. Light and clipping are counted on every fourth row and column.
    """
    return _measure(photo.rgb, (0.0, 0.0, float(photo.width), float(photo.height)), _TILES)


def quality_at(photo: Photo, box: Box) -> Quality:
    """Measure one place that matters.

    Parameters
    ----------
    photo : audit.photo.types.Photo
    box : tuple of float
        x0, y0, x1, y1 in px; what lies outside the photo is cut off.

    Returns
    -------
    Quality
        With one tile.

    Raises
    ------
    ValueError
        When the box and the photo share no pixel.
    """
    x0, y0 = max(0, int(np.floor(box[0]))), max(0, int(np.floor(box[1])))
    x1, y1 = min(photo.width, int(np.ceil(box[2]))), min(photo.height, int(np.ceil(box[3])))
    if x1 <= x0 or y1 <= y0:
        raise ValueError("the box lies outside the photo")
    return _measure(photo.rgb[y0:y1, x0:x1], (float(x0), float(y0), float(x1), float(y1)), (1, 1))


def _measure(rgb: NDArray[np.uint8], box: Box, tiles: tuple[int, int]) -> Quality:
    gray = np.asarray(cv2.cvtColor(np.ascontiguousarray(rgb), cv2.COLOR_RGB2GRAY))
    step = 4 if gray.size > 1_000_000 else 1
    thin = rgb[::step, ::step]
    low, high = thin.max(axis=2), thin.min(axis=2)
    luminance = srgb_to_linear(thin) @ _LUMA
    noise = _noise(gray)
    edges = _Edges(gray, noise)
    widths, points = edges.all()
    sharp = _sharper_quarter(widths, 3)
    directions = edges.directions()
    return Quality(
        box_px=box,
        clipped_dark=float((low <= DARK_CODE).mean()),
        clipped_light=float((high >= LIGHT_CODE).mean()),
        median_luminance=float(np.median(luminance)),
        noise=noise,
        edge_px=None if np.isnan(sharp) else float(sharp),
        blur_px=max(directions.values()) if directions else None,
        edges=len(widths),
        tile_edge_px=_tiles(widths, points, gray.shape, tiles),
        glare=float((high >= 250).mean()),
        flare=flare_share(high),
        glare_boxes_px=_glare_boxes(np.asarray(high >= 250), step, box),
    )


class _Edges:
    """Measurable strong edges of a picture and of its halved copies, each copy looked at once."""

    def __init__(
        self, gray: NDArray[np.uint8], noise: float, where: NDArray[np.uint8] | None = None
    ) -> None:
        self._copies = [(gray, noise, where)]
        self._levels: list[tuple[Floats, Floats, Floats]] = []

    def at(self, halvings: int) -> tuple[Floats, Floats, Floats]:
        """Widths (n,), places (n, 2), both in px of the copy, and normals (n, 2)."""
        while len(self._levels) <= halvings:
            if self._levels:
                self._copies.append(_halved(*self._copies[-1]))
            self._levels.append(_level(*self._copies[-1]))
        return self._levels[halvings]

    def last(self, halvings: int) -> bool:
        """Whether this copy is the smallest worth looking at."""
        return halvings >= _MAX_HALVINGS or min(self._copies[halvings][0].shape) < 64

    def all(self) -> tuple[Floats, Floats]:
        """Widths and places, px, of the edges of the first copy whose profiles hold them whole."""
        for k in range(_MAX_HALVINGS + 1):
            widths, points, _ = self.at(k)
            wide = len(widths) > 0 and float(np.median(widths)) > _WIDE_PX
            if (len(widths) >= _ENOUGH_EDGES and not wide) or self.last(k):
                break
        return widths * 2.0**k, points * 2.0**k

    def directions(self) -> dict[float, float]:
        """Direction to width, px: what is too soft to be an edge at full size is one on a copy."""
        found: dict[float, float] = {}
        for k in range(_MAX_HALVINGS):
            widths, _, normals = self.at(k)
            last = self.last(k) or k == _MAX_HALVINGS - 1
            for angle, width in _by_direction(widths, normals).items():
                if angle not in found and (width <= _WIDE_PX or last):
                    found[angle] = width * 2.0**k
            if last or len(found) == _DIRECTIONS:
                break
        return found


def _halved(
    gray: NDArray[np.uint8], noise: float, where: NDArray[np.uint8] | None
) -> tuple[NDArray[np.uint8], float, NDArray[np.uint8] | None]:
    small = np.asarray(cv2.resize(gray, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA))
    if where is not None:
        size = (small.shape[1], small.shape[0])
        where = np.asarray(cv2.resize(where, size, interpolation=cv2.INTER_NEAREST))
    return small, _noise(small), where


def _level(
    gray: NDArray[np.uint8], noise: float, where: NDArray[np.uint8] | None
) -> tuple[Floats, Floats, Floats]:
    smooth = np.asarray(cv2.GaussianBlur(gray, (0, 0), _SEARCH_SIGMA_PX))
    points, normals = strong_edges(smooth, threshold=max(_SEARCH_SLOPE, _SLOPE_NOISE * noise))
    if where is not None:
        inside = where[points[:, 1].astype(int), points[:, 0].astype(int)] > 0
        points, normals = points[inside], normals[inside]
    if len(points) > _MAX_EDGES:  # evenly thinned: blocks come row by row
        keep = np.linspace(0, len(points) - 1, _MAX_EDGES).astype(int)
        points, normals = points[keep], normals[keep]
    widths = edge_widths_px(gray, points, normals, _BESIDE, max(MIN_STEP, _STEP_NOISE * noise))
    good = np.isfinite(widths)
    return widths[good], points[good], normals[good]


def blur_along(
    photo: Photo, paths: Sequence[NDArray[np.float64]], reach_px: Sequence[float]
) -> float | None:
    """Blur of the edges along given lines, in the direction where it is widest.

    What lies behind may be out of focus, and mostly is; what matters are the strands' own edges.

    Parameters
    ----------
    photo : audit.photo.types.Photo
    paths : sequence of numpy.ndarray
        (n, 2) each, px of the photo.
    reach_px : sequence of float
        How far from each line an edge still counts, px.

    Returns
    -------
    float or None
        10 % to 90 % rise, px; None where no direction has enough edges.
    """
    where = np.zeros((photo.height, photo.width), np.uint8)
    for path, reach in zip(paths, reach_px, strict=True):
        line = np.rint(path).astype(np.int32).reshape(-1, 1, 2)
        cv2.polylines(where, [line], False, 255, max(1, round(2 * reach)))
    x, y, w, h = cv2.boundingRect(where)
    if w < 16 or h < 16:
        return None
    part = np.ascontiguousarray(photo.rgb[y : y + h, x : x + w])
    gray = np.asarray(cv2.cvtColor(part, cv2.COLOR_RGB2GRAY))
    found = _Edges(gray, _noise(gray), where[y : y + h, x : x + w]).directions()
    return max(found.values()) if found else None


def _by_direction(widths: NDArray[np.float64], normals: NDArray[np.float64]) -> dict[float, float]:
    """The sharper quarter of the edges across each direction; neighbours overlap a little."""
    angle = np.arctan2(normals[:, 1], normals[:, 0]) if len(normals) else np.zeros(0)
    found = {}
    for k in range(_DIRECTIONS):
        across = k * np.pi / _DIRECTIONS
        off = np.abs((angle - across + np.pi / 2) % np.pi - np.pi / 2)
        width = _sharper_quarter(widths[off < np.pi / 9], _DIRECTION_EDGES)
        if np.isfinite(width):
            found[across] = width
    return found


def blur_by_direction(gray: NDArray[np.uint8]) -> dict[float, float]:
    """How wide edges are in each direction of blur.

    Parameters
    ----------
    gray : numpy.ndarray
        (H, W), uint8.

    Returns
    -------
    dict of float to float
        Direction (radians, x right, y down, 0 to pi) to the 10 % to 90 % rise, px, of the sharper
        quarter of the edges that blur in that direction widens; those with enough edges only.
    """
    return _Edges(gray, _noise(gray)).directions()


def _sharper_quarter(widths: NDArray[np.float64], at_least: int) -> float:
    # Shadows and rounded things are wide edges in a sharp photo: the sharper ones tell the blur.
    return float(np.quantile(widths, 0.25)) if len(widths) >= at_least else float("nan")


def _tiles(
    widths: NDArray[np.float64],
    points: NDArray[np.float64],
    shape: tuple[int, ...],
    tiles: tuple[int, int],
) -> NDArray[np.float64]:
    rows, cols = tiles
    r = np.minimum((points[:, 1] / shape[0] * rows).astype(int), rows - 1)
    c = np.minimum((points[:, 0] / shape[1] * cols).astype(int), cols - 1)
    out = np.full(tiles, np.nan)
    for i in range(rows):
        for j in range(cols):
            out[i, j] = _sharper_quarter(widths[(r == i) & (c == j)], _TILE_MIN_EDGES)
    return out


def _noise(gray: NDArray[np.uint8]) -> float:
    height, width = gray.shape[0] // 2 * 2, gray.shape[1] // 2 * 2
    step = 2 * max(1, int(np.sqrt(gray.size / 2_000_000)))
    g = gray[:height, :width]
    a, b = g[0::step, 0::step].astype(np.int16), g[0::step, 1::step].astype(np.int16)
    c, d = g[1::step, 0::step].astype(np.int16), g[1::step, 1::step].astype(np.int16)
    detail = np.abs(a - b - c + d) / 2.0
    # Clipped pixels hold no noise and would hide the rest's.
    alive = (a > DARK_CODE) & (a < LIGHT_CODE)
    if not alive.any():
        return 0.0
    # Values are whole: the mean within the lower part resolves what the median can't.
    part = detail[alive]
    middle = float(np.median(part))
    if middle >= 2.0:
        return middle / 0.6745
    return float(np.sqrt(np.mean(np.minimum(part, 3.0 * max(middle, 0.5)) ** 2)))


def _glare_boxes(white: NDArray[np.bool_], step: int, box: Box) -> tuple[Box, ...]:
    count, _, stats, _ = cv2.connectedComponentsWithStats(white.astype(np.uint8), connectivity=8)
    order = np.argsort(-stats[1:count, cv2.CC_STAT_AREA], kind="stable")[:5] + 1
    out = []
    for k in order:
        x, y, w, h, area = (int(v) for v in stats[k])
        if area * step * step < 64:
            continue
        x0, y0 = box[0] + x * step, box[1] + y * step
        out.append((x0, y0, min(x0 + w * step, box[2]), min(y0 + h * step, box[3])))
    return tuple(out)
