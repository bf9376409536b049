"""Features of a pixel from which its material is told.

All are local filters of a white-balanced picture at several scales: lightness,
shading-invariant log-ratios of the channels, edges, ridges (a strand is a
ridge), texture, and the colour of the highlight beside the colour of the body.
The last tells metal from plastic: a dielectric's highlight has the light's
colour, a metal's has the metal's own (dichromatic reflection, Shafer 1985).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.sight.stencil import Star, direction
from audit.sight.types import F32, AnalysisImage

SIGMAS = (1.0, 2.5, 6.0, 14.0)
LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)


def _blur(img: F32, sigma: float) -> F32:
    """Gaussian blur; wide ones on a reduced copy, which is the same to the eye and far faster."""
    if img.ndim == 3 and img.shape[2] > 4:
        # OpenCV's resize takes four channels at most.
        parts = [_blur(img[..., i : i + 4], sigma) for i in range(0, img.shape[2], 4)]
        return np.concatenate([p.reshape(*img.shape[:2], -1) for p in parts], -1)
    if sigma <= 3:
        return np.asarray(cv2.GaussianBlur(np.ascontiguousarray(img), (0, 0), sigma), np.float32)
    k = int(sigma // 1.5)
    h, w = img.shape[:2]
    img = np.ascontiguousarray(img)
    small = cv2.resize(img, (max(1, w // k), max(1, h // k)), interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma / k)
    return np.asarray(cv2.resize(small, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)


def _hessian(img: F32, sigma: float) -> tuple[F32, F32]:
    """Eigenvalues of the scale-normalised Hessian, larger and smaller, each (h, w)."""
    s = _blur(img, sigma)
    n = sigma * sigma
    xx = cv2.Sobel(s, cv2.CV_32F, 2, 0, ksize=3) * (n / 4)
    yy = cv2.Sobel(s, cv2.CV_32F, 0, 2, ksize=3) * (n / 4)
    xy = cv2.Sobel(s, cv2.CV_32F, 1, 1, ksize=3) * (n / 4)
    mean = (xx + yy) / 2
    dev = np.sqrt(((xx - yy) / 2) ** 2 + xy * xy)
    return np.asarray(mean + dev, np.float32), np.asarray(mean - dev, np.float32)


def _coherence(img: F32, sigma: float, rho: float) -> tuple[F32, F32]:
    """Structure tensor: coherence 0..1 and root energy, each (h, w)."""
    s = _blur(img, sigma)
    gx = cv2.Sobel(s, cv2.CV_32F, 1, 0, ksize=3)
    gy = cv2.Sobel(s, cv2.CV_32F, 0, 1, ksize=3)
    jxx, jyy, jxy = _blur(gx * gx, rho), _blur(gy * gy, rho), _blur(gx * gy, rho)
    tr = jxx + jyy
    det = np.sqrt((jxx - jyy) ** 2 + 4 * jxy * jxy)
    return np.asarray(det / (tr + 1e-5), np.float32), np.asarray(np.sqrt(tr), np.float32)


def _weighted(chroma: F32, weight: F32, sigma: float) -> F32:
    total = _blur(weight, sigma)[..., None] + 1e-6
    return np.asarray(_blur(chroma * weight[..., None], sigma) / total, np.float32)


def channels(image: AnalysisImage, size: tuple[int, int]) -> tuple[F32, F32]:
    """Lightness (h, w) and two log-ratios (h, w, 2) of the picture reduced to `size` (w, h)."""
    lin = np.asarray(cv2.resize(image.linear, size, interpolation=cv2.INTER_AREA), np.float32)
    light = np.sqrt(np.clip(lin @ LUMA, 0, 1.5))
    floor = np.float32(0.02)
    g = lin[..., 1] + floor
    ratios = np.stack([np.log((lin[..., 0] + floor) / g), np.log((lin[..., 2] + floor) / g)], -1)
    return np.asarray(light, np.float32), np.asarray(ratios, np.float32)


def pixel_features(image: AnalysisImage, step: float) -> F32:
    """Feature stack of the whole picture.

    Parameters
    ----------
    image : AnalysisImage
    step : float
        px of the analysis picture for one px of the stack.

    Returns
    -------
    (h, w, F) float32
    """
    return features_of(*channels(image, map_size(image, step)))


def map_size(image: AnalysisImage, step: float) -> tuple[int, int]:
    """Width and height of the map of a picture, px."""
    h, w = image.shape
    return max(8, round(w / step)), max(8, round(h / step))


def features_of(light: F32, ratio: F32, rows: slice = slice(None)) -> F32:
    """Feature stack, some rows of it, of lightness (h, w) and log-ratios (h, w, 2) from `channels`."""
    return planes_of(light, ratio, rows).features()


@dataclass(frozen=True)
class Planes:
    """What the features of some rows of pixels are made of; samples some way off are taken when asked for.

    Parameters
    ----------
    own : sequence of (r, w) or (r, w, c) float32
        What is told of each pixel at its own place.
    star : Star
    rows : slice
        The rows, r of them, in what the star samples.
    less : sequence of (r, w) float32
        Each channel's own value, which is taken from its samples; empty: samples are told as they are.
    """

    own: Sequence[F32]
    star: Star
    rows: slice
    less: Sequence[F32] = ()

    def features(self, here: slice = slice(None), some: NDArray[np.bool_] | None = None) -> F32:
        """Features of some of the rows, (r, w, F), or of some pixels (r, w) of them, (n, F)."""
        start, stop, _ = here.indices(self.own[0].shape[0])
        first = self.rows.indices(self.star.height)[0]
        told = self.star.at(slice(first + start, first + stop), some)
        if self.less:
            own = [p[here] if some is None else p[here][some] for p in self.less]
            told = [t - own[i % len(own)] for i, t in enumerate(told)]
        asked = [p[here] if some is None else p[here][some] for p in self.own]
        return beside([*asked, *told], lists=some is not None)


def planes_of(light: F32, ratio: F32, rows: slice = slice(None)) -> Planes:
    """What a feature stack is made of, for some of its rows."""
    stack = _smoothed(light, ratio, SIGMAS)
    stack += [light - stack[6], stack[3] - stack[9], stack[1] - stack[10], stack[2] - stack[11]]
    stack += _ridges(light, ratio, (0, 1))
    for sigma, rho in ((1.0, 3.0), (2.0, 8.0)):
        stack += _coherence(light, sigma, rho)
    for sigma in (1.5, 4.0):
        var = _blur(light * light, sigma) - _blur(light, sigma) ** 2
        stack.append(np.sqrt(np.maximum(var, 0)))
    var = _blur(ratio * ratio, 2.5) - _blur(ratio, 2.5) ** 2
    stack += list(np.moveaxis(np.sqrt(np.maximum(var, 0)), -1, 0))
    shiny = _weighted(ratio, np.exp(12 * (light - 1.2)), 2.5)
    dark = _weighted(ratio, np.exp(-12 * light), 2.5)
    for part in (shiny, dark):
        stack += [part[..., 0], part[..., 1]]
    # Copies: a view would keep the rows that are not asked for.
    return _section(light, ratio, [np.array(p[rows]) for p in stack], rows)


def _smoothed(light: F32, ratio: F32, sigmas: Sequence[float]) -> list[F32]:
    stack: list[F32] = []
    for sigma in sigmas:
        stack.append(_blur(light, sigma))
        c = _blur(ratio, sigma)
        stack += [c[..., 0], c[..., 1]]
    return stack


def _ridges(light: F32, ratio: F32, ratios: Sequence[int]) -> list[F32]:
    stack: list[F32] = []
    for sigma in (1.5, 3.0, 6.0):
        stack += _hessian(light, sigma)
    for k in ratios:
        stack += _hessian(np.ascontiguousarray(ratio[..., k]), 3.5)
    return stack


ACROSS = (3.0, 6.0, 10.0, 16.0, 26.0)
ALONG = (6.0, 14.0, 28.0)


def _section(light: F32, ratio: F32, stack: list[F32], rows: slice) -> Planes:
    """With the strand's section and course: samples across and along, as differences to the pixel."""
    planes = np.concatenate([light[..., None], ratio], -1)
    near, mid, far = (_blur(planes, s) for s in (1.0, 2.5, 5.0))
    own = [near[rows, :, k] for k in range(3)]
    where = [near if d <= 6 else mid if d <= 14 else far for d in (*ALONG, *ACROSS)]
    return Planes(stack, Star(where, ALONG, ACROSS, direction(planes)), rows, own)


CONTEXT_SIGMAS = (2.0, 6.0, 16.0, 40.0)
CONTEXT_ALONG = (8.0, 18.0, 36.0, 64.0)
CONTEXT_ACROSS = (8.0, 18.0, 36.0)
KINDS = ((1,), (2, 3, 4, 5, 6, 7), (8,), (11, 12, 14), (9,), (10,), (0,))
"""Materials as the star of the later passes sees them: sheath, cores, copper, terminal and screw,
enclosure, grip, other."""


MARGIN = 130
"""px of the map beyond which nothing has weight in any feature of a pixel."""


KEPT = 14
"""Planes of a feature stack that the later passes ask for again."""


def kept(pixel: F32) -> F32:
    """Those planes of a feature stack that the later passes ask for again, (h, w, 14)."""
    return np.concatenate([pixel[..., :6], pixel[..., 16:24]], -1)


def kept_of(light: F32, ratio: F32) -> F32:
    """`kept` of `features_of`, without the rest of the stack, (h, w, 14)."""
    return np.stack([*_smoothed(light, ratio, SIGMAS[:2]), *_ridges(light, ratio, (0,))], -1)


def context_features(
    pixel: F32,
    prob: F32,
    rows: slice = slice(None),
    some: NDArray[np.bool_] | None = None,
) -> F32:
    """Features of a later pass: what the pass before saw around each pixel.

    Auto-context (Tu and Bai, 2010): a core is where cores are beside a sheath,
    copper is what lies between a core and a terminal.

    Parameters
    ----------
    pixel : (h, w, 14) float32
        From `kept`.
    prob : (h, w, K) float32
        Probabilities of the pass before.
    rows : slice
        Rows of pixels that are asked for; they are told from the whole.
    some : (r, w) bool, optional
        Which pixels of those rows are asked for; all by default.

    Returns
    -------
    (r, w, 14 + 5 K + 98) or (n, 14 + 5 K + 98) float32
    """
    return context_planes(pixel, prob, rows).features(some=some)


def context_planes(pixel: F32, prob: F32, rows: slice = slice(None)) -> Planes:
    """What `context_features` are made of, for some rows."""
    asked = [pixel[rows], prob[rows]]
    asked += [_blurred_rows(prob, s, rows) for s in CONTEXT_SIGMAS]
    kinds = np.stack([prob[..., list(k)].sum(-1) for k in KINDS], -1)
    kinds = np.asarray(kinds, np.float32)
    near, far = _blur(kinds, 2.0), _blur(kinds, 6.0)
    way = direction(_blur(np.concatenate([pixel[..., :3], kinds[..., :2]], -1), 1.0), 2.0, 6.0)
    where = [near if d <= 18 else far for d in (*CONTEXT_ALONG, *CONTEXT_ACROSS)]
    return Planes(asked, Star(where, CONTEXT_ALONG, CONTEXT_ACROSS, way), rows)


def _blurred_rows(stack: F32, sigma: float, rows: slice) -> F32:
    """Some rows of a blurred stack (h, w, c); of the others four channels at most are held at a time."""
    out = np.empty((*stack[rows].shape[:2], stack.shape[2]), np.float32)
    for i in range(0, stack.shape[2], 4):
        part = _blur(stack[..., i : i + 4], sigma)[rows]
        out[..., i : i + 4] = part.reshape(*part.shape[:2], -1)
    return out


_ROWS = 4
"""Rows that are laid side by side together: about what a processor's cache holds."""


def beside(parts: Sequence[F32], *, lists: bool = False) -> F32:
    """Planes (h, w) and stacks (h, w, c) side by side, (h, w, F).

    With `lists`: of pixels (n,) and (n, c), (n, F).

    `np.concatenate` takes five times as long.
    """
    one = 1 if lists else 2
    wide = [p[..., None] if p.ndim == one else p for p in parts]
    ends = np.cumsum([0, *(p.shape[-1] for p in wide)])
    out = np.empty((*wide[0].shape[:-1], int(ends[-1])), np.float32)
    step = 2048 if lists else _ROWS
    for a in range(0, len(out), step):
        some = slice(a, a + step)
        for p, at, to in zip(wide, ends[:-1], ends[1:], strict=True):
            out[some, ..., at:to] = p[some]
    return out
