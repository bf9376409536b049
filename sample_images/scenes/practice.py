"""Renders practice photos to order, with their truth. No EXIF: nothing in the file but the picture."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from .compose import Composed, Staged, staged
from .engine import Scene
from .orders import WIDTH, Order, built_as_ordered, tries
from .plan import FittingPlan, PhotoPlan
from .render import composed, developed_photo, truth_of
from .surroundings import card_parts

SIZE: Final = (WIDTH, WIDTH * 3 // 4)
SAMPLES: Final = 8
SIGHTED: Final = 60  # plans looked at through the camera, at most
BYTES: Final = 190_000  # a photo is saved at the best quality that keeps it below
MARGIN_PX: Final = 14
NEAR_PX: Final = 90  # an entry that a photo is about lies so far from the picture's edge

# For difficulty 1, 2, 3: least share of the fault in sight, and least length of it in px (of a photo `WIDTH` px wide).
_SEEN: Final = ((0.8, 16.0), (0.6, 9.0), (0.5, 6.0))


class OrderError(ValueError):
    """No photo was found that shows what was ordered."""


@dataclass(frozen=True)
class Practice:
    """One photo (JPEG), its truth (contract 4.2), and the plans it was made from."""

    jpeg: bytes
    truth: dict[str, Any]
    fitting: FittingPlan
    photo: PhotoPlan

    def truth_text(self) -> str:
        """The truth as it is written to ``NAME.truth.json``."""
        return json.dumps(self.truth, separators=(",", ":")) + "\n"


def planned(order: Order, size: tuple[int, int] = SIZE) -> tuple[FittingPlan, PhotoPlan]:
    """The first plans that show what was ordered.

    Raises
    ------
    OrderError
        When none of those tried do: the length does not fit this box, or is not to be seen.
    """
    fitting = looked = 0
    for fplan, photo in tries(order, size[0]):
        at = staged(fplan, photo, size)
        if not built_as_ordered(order, at.fit):
            continue
        fitting += 1
        if not _in_picture(order, at):
            continue
        looked += 1
        if looked > SIGHTED:
            break
        if order.poor or _shows(order, _quick_truth(at, fplan, photo)):
            return fplan, photo
    if not fitting:
        raise OrderError("no fitting with these lengths and cables could be built")
    raise OrderError("no photo was found in which the fault can be seen well enough")


def practice_photo(order: Order, file: str, size: tuple[int, int] = SIZE) -> Practice:
    """The photo of an order. Raises `OrderError` as `planned` does."""
    fplan, photo = planned(order, size)
    photo = replace(photo, file=file)
    comp = composed(fplan, photo, size)
    scene = Scene(comp.parts, comp.cam, comp.lights)
    index, _ = scene.seen()
    truth = truth_of(comp, fplan, photo, scene, index)
    picture, _ = developed_photo(comp, photo, scene.radiance(SAMPLES, photo.seed), size)
    return Practice(_saved(picture), truth, fplan, photo)


def _quick_truth(at: Staged, fplan: FittingPlan, photo: PhotoPlan) -> dict[str, Any]:
    """Truth of the fitting alone, without what lies round it but the card."""
    parts = list(at.fit.parts)
    if at.card is not None:
        parts += card_parts(*at.card, None, 0.3)
    comp = Composed(parts, at.cam, {}, at.fit, at.card, at.cam.target)
    scene = Scene(parts, at.cam, {})
    return truth_of(comp, fplan, photo, scene, scene.seen()[0])


def _in_picture(order: Order, at: Staged) -> bool:
    """True when what a person must see to judge lies in the picture: one entry, all ends, or all of both."""
    if order.poor == "out_of_frame":
        return True
    entries = [c.entry.point + c.entry.inward * d for c in at.fit.cables for d in (-8.0, 10.0)]
    ends = [k.path[-1] for c in at.fit.cables for k in c.cores]
    if order.view in ("entry", "closed"):
        return any(_within(at, entries[i : i + 2], NEAR_PX) for i in range(0, len(entries), 2))
    return _within(at, entries + ends if order.view == "inside" else ends, MARGIN_PX)


def _within(at: Staged, points: list[NDArray[np.float64]], margin: int) -> bool:
    """True when all points (mm) fall into the picture, `margin` px from its edges."""
    q = at.cam.project(np.array(points))
    low = margin * at.cam.width / WIDTH
    return bool(((q > low) & (q < np.array([at.cam.width, at.cam.height]) - low)).all())


def _shows(order: Order, truth: dict[str, Any]) -> bool:
    """True when every ordered fault is in sight as the difficulty asks; a sound entry, when it is in sight."""
    share, length = _SEEN[order.difficulty - 1]
    w, h = truth["size_px"]
    margin = MARGIN_PX * w / WIDTH
    scale = float(truth["scale"]["px_per_mm"]) * WIDTH / w
    faults = {i["check"]: i for i in truth["items"] if i["fault"]}
    for check in order.checks:
        item = faults.get(check)
        if item is None:
            return False
        if check == "core-colours":
            continue
        x, y = item["at_px"]
        if not (margin < x < w - margin and margin < y < h - margin):
            return False
        if item["visible"] < share or not _edge_in_picture(truth, item["of"], w, h):
            return False
        if item["size_mm"] is not None and item["size_mm"] * scale * item["visible"] < length:
            return False
    return bool(order.checks) or _judged(order, truth)


def _edge_in_picture(truth: dict[str, Any], of: str, w: int, h: int) -> bool:
    """True when the sheath edge of a faulty cable lies in the picture; ends have none to show."""
    margin = 3 * MARGIN_PX * w / WIDTH
    for cable in truth["cables"]:
        if cable["id"] == of:
            points = cable["sheath_edge_px"] or []
            return all(margin < x < w - margin and margin < y < h - margin for x, y in points)
    return True


def _judged(order: Order, truth: dict[str, Any]) -> bool:
    """True when a sound fitting can be seen to be sound where the photo looks."""
    if order.view == "terminals":
        ends = [i["visible"] for i in truth["items"] if i["check"] == "copper-beyond-terminal"]
        return bool(ends) and float(np.mean([v >= 0.5 for v in ends])) >= 0.8
    edges = [c["sheath_edge_visible"] for c in truth["cables"]]
    if order.view == "entry":
        return max(edges) >= 0.6
    return order.view == "closed" or min(edges) >= 0.6


def _saved(picture: NDArray[np.uint8]) -> bytes:
    """JPEG without any metadata."""
    image = Image.fromarray(np.ascontiguousarray(picture))
    for quality in (92, 88, 84, 80, 76, 72, 68):
        buf = io.BytesIO()
        image.save(buf, "JPEG", quality=quality, optimize=True, subsampling=2)
        if buf.tell() <= BYTES:
            break
    return buf.getvalue()
