"""The same photo, harmed: blur, noise, other light, turned, cut; and where each point went.

Every harm is a pure function of the picture, its level, a seed and the place of
the work. It gives the harmed picture and the affine map from px of the unharmed
to px of the harmed one. As everywhere, the origin of px is the top left corner
of the top left pixel, so a pixel's centre lies at half px.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TypeAlias

import cv2
import numpy as np
from numpy.typing import NDArray

from audit.measure.contract import Point
from audit.photo.colour import linear_to_srgb, srgb_to_linear

Rgb: TypeAlias = NDArray[np.uint8]
Affine: TypeAlias = NDArray[np.float64]
AS_IT_WAS: Affine = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])


@dataclass(frozen=True, eq=False)
class Harmed:
    """A harmed picture (H, W, 3) uint8 sRGB, and the 2x3 map of px from the unharmed one."""

    rgb: Rgb
    affine: Affine


@dataclass(frozen=True)
class Work:
    """What a harm may know of the photo besides its pixels.

    Parameters
    ----------
    seed : int
        Of the noise.
    at : (float, float), optional
        Where the work lies, px; the picture's middle when not given.
    """

    seed: int = 0
    at: Point | None = None


Apply: TypeAlias = Callable[[Rgb, float, Work], Harmed]


@dataclass(frozen=True)
class Harm:
    """One harm with its levels, least first.

    `grows` says that each level harms more than the one before; `cuts`, that
    part of the picture is lost.
    """

    name: str
    unit: str
    levels: tuple[float, ...]
    apply: Apply
    grows: bool = False
    cuts: bool = False


def seed_of(name: str) -> int:
    """Seed from a photo's file name: the same in every process and on every machine."""
    return int.from_bytes(hashlib.sha256(name.encode("utf-8")).digest()[:4], "big")


def map_points(affine: Affine, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Map points (N, 2), px of the unharmed picture, to px of the harmed one."""
    return np.asarray(points @ affine[:, :2].T + affine[:, 2], np.float64)


def magnification(affine: Affine) -> float:
    """How many px of the harmed picture one px of the unharmed one becomes."""
    return math.sqrt(abs(float(np.linalg.det(affine[:, :2]))))


def blur(rgb: Rgb, sigma: float, _: Work) -> Harmed:
    """Blur with a Gaussian of `sigma` px, in linear light as a lens does."""
    soft = cv2.GaussianBlur(srgb_to_linear(rgb), (0, 0), sigma)
    return Harmed(linear_to_srgb(soft), AS_IT_WAS)


def noise(rgb: Rgb, sigma: float, work: Work) -> Harmed:
    """Add Gaussian noise of `sigma` 8-bit steps to the encoded values, each channel apart.

    Photon noise grows with the root of the light, and a root is near what sRGB
    encodes with; so it comes out about equal at every brightness (variance
    stabilising: Anscombe, Biometrika 35 (1948), 246-254).
    """
    grain = np.random.default_rng(work.seed).normal(0.0, sigma, rgb.shape)
    return Harmed(np.clip(np.rint(rgb + grain), 0, 255).astype(np.uint8), AS_IT_WAS)


def jpeg(rgb: Rgb, quality: float, _: Work) -> Harmed:
    """Write as JPEG of that quality (libjpeg's scale, 1 to 100) and read back."""
    bgr = cv2.cvtColor(rgb, cv2.COLOR_RGB2BGR)
    done, data = cv2.imencode(".jpg", bgr, [cv2.IMWRITE_JPEG_QUALITY, int(quality)])
    if not done:
        raise ValueError("the picture can't be written as JPEG")
    back = cv2.cvtColor(cv2.imdecode(data, cv2.IMREAD_COLOR), cv2.COLOR_BGR2RGB)
    return Harmed(np.asarray(back, np.uint8), AS_IT_WAS)


def expose(rgb: Rgb, stops: float, _: Work) -> Harmed:
    """Give 2^`stops` times the light; what goes beyond white is lost."""
    return _gains(rgb, 2.0**stops, 2.0**stops, 2.0**stops)


def darker(rgb: Rgb, stops: float, work: Work) -> Harmed:
    """Expose by so many stops less."""
    return expose(rgb, -stops, work)


def warm_cast(rgb: Rgb, stops: float, _: Work) -> Harmed:
    """Raise red over blue by so many stops, half of it each, green left alone."""
    return _gains(rgb, 2.0 ** (stops / 2), 1.0, 2.0 ** (-stops / 2))


def cool_cast(rgb: Rgb, stops: float, work: Work) -> Harmed:
    """Raise blue over red by so many stops."""
    return warm_cast(rgb, -stops, work)


def _gains(rgb: Rgb, red: float, green: float, blue: float) -> Harmed:
    lit = srgb_to_linear(rgb) * np.array([red, green, blue], np.float32)
    return Harmed(linear_to_srgb(lit), AS_IT_WAS)


def turned(rgb: Rgb, degrees: float, _: Work) -> Harmed:
    """Turn clockwise by 90, 180 or 270 degrees, pixel by pixel."""
    height, width = rgb.shape[:2]
    code, affine = {
        90: (cv2.ROTATE_90_CLOCKWISE, [[0, -1, height], [1, 0, 0]]),
        180: (cv2.ROTATE_180, [[-1, 0, width], [0, -1, height]]),
        270: (cv2.ROTATE_90_COUNTERCLOCKWISE, [[0, 1, 0], [-1, 0, width]]),
    }[round(degrees)]
    return Harmed(np.asarray(cv2.rotate(rgb, code), np.uint8), np.array(affine, np.float64))


def slanted(rgb: Rgb, degrees: float, _: Work) -> Harmed:
    """Turn clockwise by any angle and keep the largest upright rectangle without empty corners.

    Made-up pixels beyond the border would be a harm no camera does, so the
    border is cut instead.
    """
    height, width = rgb.shape[:2]
    wide, high = (int(v) for v in inner_rectangle(width, height, math.radians(degrees)))
    # OpenCV counts angles the other way round.
    affine = cv2.getRotationMatrix2D((width / 2, height / 2), -degrees, 1.0)
    affine[:, 2] += (wide - width) / 2, (high - height) / 2
    half = np.full(2, 0.5)
    centred = affine.copy()  # OpenCV's px have their origin at the first pixel's centre
    centred[:, 2] = affine[:, :2] @ half + affine[:, 2] - half
    out = cv2.warpAffine(
        rgb, centred, (wide, high), flags=cv2.INTER_CUBIC, borderMode=cv2.BORDER_REPLICATE
    )
    return Harmed(np.asarray(out, np.uint8), np.asarray(affine, np.float64))


def inner_rectangle(width: float, height: float, angle: float) -> tuple[float, float]:
    """Width and height of the largest upright rectangle in a rectangle turned by `angle` rad."""
    sin, cos = abs(math.sin(angle)), abs(math.cos(angle))
    long, short = max(width, height), min(width, height)
    if short <= 2 * sin * cos * long or math.isclose(sin, cos):
        # Two corners lie on the long sides, the others somewhere between them.
        half = short / 2
        return (half / sin, half / cos) if width >= height else (half / cos, half / sin)
    both = cos * cos - sin * sin
    return (width * cos - height * sin) / both, (height * cos - width * sin) / both


def mirror(rgb: Rgb, _level: float, _: Work) -> Harmed:
    """Swap left and right."""
    affine = np.array([[-1.0, 0.0, rgb.shape[1]], [0.0, 1.0, 0.0]])
    return Harmed(np.asarray(cv2.flip(rgb, 1), np.uint8), affine)


def smaller(rgb: Rgb, factor: float, _: Work) -> Harmed:
    """Shrink to `factor` of its width and height, as a messenger does (mean over the area)."""
    height, width = rgb.shape[:2]
    size = max(1, round(width * factor)), max(1, round(height * factor))
    out = cv2.resize(rgb, size, interpolation=cv2.INTER_AREA)
    affine = np.array([[size[0] / width, 0.0, 0.0], [0.0, size[1] / height, 0.0]])
    return Harmed(np.asarray(out, np.uint8), affine)


def crop(rgb: Rgb, share: float, work: Work) -> Harmed:
    """Keep `share` of the area, same shape, round the work as far as the border allows."""
    height, width = rgb.shape[:2]
    wide, high = (max(1, round(side * math.sqrt(share))) for side in (width, height))
    x, y = work.at or (width / 2, height / 2)
    left = int(np.clip(round(x - wide / 2), 0, width - wide))
    top = int(np.clip(round(y - high / 2), 0, height - high))
    kept = np.ascontiguousarray(rgb[top : top + high, left : left + wide])
    return Harmed(kept, np.array([[1.0, 0.0, -left], [0.0, 1.0, -top]]))


HARMS: tuple[Harm, ...] = (
    Harm("blur", "px sigma", (1.0, 2.0, 4.0), blur, grows=True),
    Harm("noise", "8-bit sigma", (5.0, 10.0, 20.0), noise, grows=True),
    Harm("jpeg", "quality", (70.0, 40.0, 15.0), jpeg, grows=True),
    Harm("darker", "stops", (1.0, 2.0, 3.0), darker, grows=True),
    Harm("brighter", "stops", (0.5, 1.0, 1.5), expose, grows=True),
    Harm("warm cast", "stops red over blue", (0.5, 1.0, 1.5), warm_cast, grows=True),
    Harm("cool cast", "stops blue over red", (0.5, 1.0, 1.5), cool_cast, grows=True),
    Harm("turned", "degrees", (90.0, 180.0, 270.0), turned),
    Harm("odd angle", "degrees", (7.0, 23.0), slanted, grows=True, cuts=True),
    Harm("mirror", "left for right", (1.0,), mirror),
    Harm("half size", "of the width", (0.5,), smaller),
    Harm("quarter crop", "of the area", (0.25,), crop, cuts=True),
)
"""What is tried, in the order told. Nothing about seeing was fitted to these levels."""
