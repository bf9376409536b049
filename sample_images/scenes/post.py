"""From linear radiance to a phone's JPEG, in the order it happens.

Exposure and white balance error, vignette, glare, motion blur, shot and read noise, tone curve,
sharpening, 8 bits. Truth and ids stay geometric.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from datetime import datetime

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

from .parts import linear_to_srgb

T = NDArray[np.float32]


@dataclass(frozen=True)
class Phone:
    """What a phone and the hand that holds it do to a picture.

    ``exposure`` factor after metering; ``balance`` RGB factors; ``blur_px`` length and ``blur_angle``
    (radians) of motion; ``full_well`` electrons at white, ``read`` electrons; ``contrast`` of the tone
    curve; ``sharpen`` amount; ``smooth`` px of the phone's own noise removal; ``glare`` (x, y, radius, level) or None.
    """

    exposure: float
    balance: tuple[float, float, float]
    vignette: float
    blur_px: float
    blur_angle: float
    defocus_px: float
    full_well: float
    read: float
    contrast: float
    saturation: float
    sharpen: float
    smooth: float
    quality: int
    glare: tuple[float, float, float, float] | None = None


def draw_phone(
    rng: np.random.Generator,
    poor: str = "",
    size: tuple[int, int] = (1600, 1200),
    place: tuple[float, float] | None = None,
) -> Phone:
    """A phone from a generator; ``poor`` makes the picture unusable in that way, at ``place`` px."""
    warm = rng.normal(0, 0.07)
    green = rng.normal(0, 0.025)
    exposure = float(np.exp(rng.normal(-0.03, 0.17)))
    blur = float(abs(rng.normal(0, 0.9)))
    defocus, glare = 0.0, None
    if poor == "motion":
        blur = float(rng.uniform(18, 45)) * size[0] / 1600
    elif poor == "defocus":
        defocus = float(rng.uniform(8, 16)) * size[0] / 1600
    elif poor == "dark":
        exposure = float(rng.uniform(0.008, 0.025))
    elif poor == "bright":
        exposure = float(rng.uniform(9, 20))
    elif poor == "glare":
        x, y = place or (size[0] / 2, size[1] / 2)
        glare = (
            float(x + rng.normal(0, 20)),
            float(y + rng.normal(0, 20)),
            float(rng.uniform(0.45, 0.65) * size[1]),
            float(rng.uniform(1.8, 4.0)),
        )
    return Phone(
        exposure, (float(1 + warm), float(1 + green), float(1 - warm)), float(rng.uniform(0.0, 0.35)), blur, float(rng.uniform(0, np.pi)), defocus,
        float(np.exp(rng.uniform(np.log(700), np.log(9000)))), float(rng.uniform(1.5, 5)), float(rng.uniform(0.1, 0.75)), float(rng.uniform(0.92, 1.22)),
        float(rng.uniform(0.2, 1.3)), float(rng.uniform(0.3, 0.8)), int(rng.integers(72, 95)), glare,
    )  # fmt: skip


def metered(linear: T, weight: T | None = None) -> T:
    """Exposed as a phone would: bright parts of the middle just below white."""
    h, w = linear.shape[:2]
    lum = linear @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    mid = lum[h // 5 : -h // 5, w // 5 : -w // 5]
    high = float(np.percentile(mid, 96)) + 1e-6
    mean = float(np.exp(np.mean(np.log(mid + 1e-4))))
    return linear * np.float32(min(0.85 / high, 0.26 / mean * 1.2))


def _motion_kernel(length: float, angle: float) -> T:
    n = int(np.ceil(length)) | 1
    k = np.zeros((n + 2, n + 2), np.float32)
    c = (n + 1) / 2
    dx, dy = np.cos(angle) * length / 2, np.sin(angle) * length / 2
    t = np.linspace(-1, 1, 8 * n + 1)
    for x, y in zip(c + t * dx, c + t * dy, strict=True):
        x0, y0 = int(x), int(y)
        fx, fy = x - x0, y - y0
        for ix, iy, w in (
            (0, 0, (1 - fx) * (1 - fy)),
            (1, 0, fx * (1 - fy)),
            (0, 1, (1 - fx) * fy),
            (1, 1, fx * fy),
        ):
            k[min(y0 + iy, n + 1), min(x0 + ix, n + 1)] += w
    return k / k.sum()


def _blurred(img: T, phone: Phone) -> T:
    if phone.defocus_px > 0.5:
        r = phone.defocus_px
        n = int(np.ceil(r)) * 2 + 1
        y, x = np.mgrid[0:n, 0:n] - n // 2
        disc = (np.hypot(x, y) <= r).astype(np.float32)
        img = cv2.filter2D(img, -1, disc / disc.sum(), borderType=cv2.BORDER_REFLECT)
    if phone.blur_px > 0.6:
        img = cv2.filter2D(
            img, -1, _motion_kernel(phone.blur_px, phone.blur_angle), borderType=cv2.BORDER_REFLECT
        )
    return img


def _veiled(img: T, phone: Phone) -> T:
    """Lens flare: bright things spread a little, and strongly where the flash mirrors."""
    spread = cv2.GaussianBlur(np.clip(img - 0.9, 0, 8), (0, 0), 14)
    img = img + 0.04 * spread
    if phone.glare is not None:
        x, y, r, level = phone.glare
        h, w = img.shape[:2]
        yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
        g = level * np.exp(-(((xx - x) ** 2 + (yy - y) ** 2) / (2 * (r / 2) ** 2)))
        img = img + g[..., None].astype(np.float32)
    return img


def _tone(img: T, phone: Phone) -> T:
    out = linear_to_srgb(img * (1.06 - 0.06 * np.clip(img, 0, 1))).astype(np.float32)
    s = 3 * out**2 - 2 * out**3
    out = out + phone.contrast * 0.45 * (s - out)
    grey = out.mean(2, keepdims=True)
    return np.clip(grey + phone.saturation * (out - grey), 0, 1)


def developed(
    linear: T, phone: Phone, rng: np.random.Generator, meter: bool = True
) -> NDArray[np.uint8]:
    """An 8-bit sRGB picture (H, W, 3) from linear radiance (H, W, 3)."""
    img = metered(linear) if meter else linear.astype(np.float32)
    img = img * np.float32(phone.exposure) * np.asarray(phone.balance, np.float32)
    h, w = img.shape[:2]
    yy, xx = np.mgrid[0:h, 0:w].astype(np.float32)
    r2 = ((xx - w / 2) ** 2 + (yy - h / 2) ** 2) / (w**2 + h**2) * 4
    img = img * (1 - phone.vignette * r2)[..., None]
    img = _blurred(_veiled(img, phone), phone)
    electrons = np.clip(img, 0, 1.3) * phone.full_well
    electrons = electrons + np.sqrt(electrons + phone.read**2) * rng.standard_normal(
        img.shape, np.float32
    )
    img = np.clip(electrons / phone.full_well, 0, 1).astype(np.float32)
    img = cv2.GaussianBlur(img, (0, 0), phone.smooth)
    out = _tone(img, phone)
    soft = cv2.GaussianBlur(out, (0, 0), 1.3)
    out = np.clip(out + phone.sharpen * (out - soft), 0, 1)
    return (out * 255 + 0.5).astype(np.uint8)


def jpeg(picture: NDArray[np.uint8], phone: Phone, time: str | None, orientation: int) -> bytes:
    """JPEG with EXIF. ``orientation`` is the tag; pixels are turned so that a viewer shows ``picture``."""
    turned = {
        1: picture,
        3: np.rot90(picture, 2),
        6: np.rot90(picture, 1),
        8: np.rot90(picture, -1),
    }[orientation]
    image = Image.fromarray(np.ascontiguousarray(turned))
    exif = Image.Exif()
    exif[0x010F] = "Sample"
    exif[0x0110] = "Phone"
    exif[0x0112] = orientation
    if time:
        stamp = datetime.fromisoformat(time).strftime("%Y:%m:%d %H:%M:%S")
        exif[0x0132] = stamp
        exif.get_ifd(0x8769)[0x9003] = stamp
    buf = io.BytesIO()
    image.save(
        buf, "JPEG", quality=phone.quality, exif=exif, subsampling=2 if phone.quality < 88 else 0
    )
    return buf.getvalue()
