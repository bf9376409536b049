"""One photo: scene, picture, truth, ids map."""

from __future__ import annotations

import json
import time as clock
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from . import families as fam
from .compose import Composed, card_truth, open_scene
from .engine import Scene
from .plan import FittingPlan, PhotoPlan
from .post import Phone, developed, draw_phone, jpeg
from .truth import Sight, fitting_truth, px_per_mm_at

SIZE = (1600, 1200)
OPEN_VIEWS = ("entry", "terminals", "inside", "closed", "back")


def _tags(fplan: FittingPlan, photo: PhotoPlan, scale: float) -> dict[str, Any]:
    return {
        "family": fplan.family, "background": fplan.background, "box": fplan.box, "terminal": fplan.terminal, "light": photo.light,
        "grip": fplan.grip, "card": photo.card, "px_per_mm": round(scale, 3), "view": photo.view, "fingers": photo.fingers,
        "cable_sizes": [c.size for c in fplan.cables], "poor": photo.poor or None,
    }  # fmt: skip


def _declared(fplan: FittingPlan, photo: PhotoPlan) -> dict[str, Any]:
    """What a person would have declared: terminals are the ends that should be in terminals."""
    sizes, sheaths = [c.size for c in fplan.cables], {c.sheath for c in fplan.cables}
    return {
        "cable_size": sizes[0] if len(set(sizes)) == 1 else None, "cables": len(sizes), "terminals": 3 * len(sizes), "factory_lead": False,
        "sheath": sheaths.pop() if len(sheaths) == 1 else None, "view": photo.view, "cpc_expected": True,
    }  # fmt: skip


def _colours_item(fplan: FittingPlan) -> dict[str, Any]:
    """Old and new colours together in one enclosure."""
    pairs = {c.colours == ("red", "black") for c in fplan.cables}
    return {
        "check": "core-colours",
        "of": "photo",
        "fault": len(pairs) == 2,
        "size_mm": None,
        "visible": 1.0,
        "box_px": None,
        "at_px": None,
    }


def scale_at_work(comp: Composed) -> float:
    """px per mm where the work is: mean over entries and terminal ends in the picture."""
    if comp.fitting is None:
        return px_per_mm_at(comp.cam, comp.work)
    points = [c.entry.point for c in comp.fitting.cables]
    points += [k.path[-1] for c in comp.fitting.cables for k in c.cores]
    all_points = np.array(points)
    q = comp.cam.project(all_points)
    inside = (
        (q[:, 0] > 0) & (q[:, 0] < comp.cam.width) & (q[:, 1] > 0) & (q[:, 1] < comp.cam.height)
    )
    chosen = all_points[inside] if inside.any() else all_points
    return float(np.mean([px_per_mm_at(comp.cam, p) for p in chosen]))


def truth_of(
    comp: Composed, fplan: FittingPlan, photo: PhotoPlan, scene: Scene, index: NDArray[np.int32]
) -> dict[str, Any]:
    """Truth of a photo, contract 4.2."""
    scale = scale_at_work(comp)
    truth: dict[str, Any] = {
        "schema": "lidoff.truth/1", "photo": photo.file, "size_px": [comp.cam.width, comp.cam.height],
        "usable": not photo.poor, "unusable_because": photo.poor or None, "view": photo.view,
        "card": card_truth(comp, index, scene.parts), "scale": {"px_per_mm": round(scale, 4), "from": "truth"},
        "cables": [], "ends": [], "cpc": [], "items": [], "tags": _tags(fplan, photo, scale),
    }  # fmt: skip
    if comp.fitting is not None:
        sight = Sight(comp.cam, scene.parts, index)
        truth |= fitting_truth(comp.fitting, [c.sheath for c in fplan.cables], comp.cam, sight)
        if photo.view not in ("closed", "back"):
            truth["items"].append(_colours_item(fplan))
    truth["declared"] = _declared(fplan, photo)
    truth["seeds"] = {"fitting": fplan.seed, "photo": photo.seed}
    return truth


def composed(fplan: FittingPlan, photo: PhotoPlan, size: tuple[int, int]) -> Composed:
    """The scene of a photo."""
    if photo.view in OPEN_VIEWS:
        return open_scene(fplan, photo, size)
    from .other_views import other_scene

    return other_scene(fplan, photo, size)


def developed_photo(
    comp: Composed, photo: PhotoPlan, linear: NDArray[np.float32], size: tuple[int, int]
) -> tuple[NDArray[np.uint8], Phone]:
    """The 8-bit picture that the photo's phone makes of linear radiance, and that phone."""
    rng = np.random.default_rng([photo.seed, 30])
    place = comp.cam.project(comp.work[None])[0]
    phone = draw_phone(rng, photo.poor, size, (float(place[0]), float(place[1])))
    return developed(linear, phone, rng), phone


def render_photo(
    fplan: FittingPlan,
    photo: PhotoPlan,
    out: Path,
    size: tuple[int, int] = SIZE,
    spp: int = 5,
    ids: bool = True,
    denoise: bool = True,
) -> dict[str, Any]:
    """Renders one photo to ``out`` with its truth (and ids map); returns the truth.

    Deterministic for the same plans, size and samples on one machine and version of the renderer.
    """
    started = clock.perf_counter()
    comp = composed(fplan, photo, size)
    scene = Scene(comp.parts, comp.cam, comp.lights)
    built = clock.perf_counter()
    index, _ = scene.seen()
    truth = truth_of(comp, fplan, photo, scene, index)
    looked = clock.perf_counter()
    linear = scene.radiance(spp, photo.seed % (2**31), denoise)
    lit = clock.perf_counter()
    picture, phone = developed_photo(comp, photo, linear, size)
    stem = out / Path(photo.file).stem
    out.mkdir(parents=True, exist_ok=True)
    if ids:
        cv2.imwrite(str(stem) + ".ids.png", scene.ids(index), [cv2.IMWRITE_PNG_COMPRESSION, 9])
    Path(str(stem) + ".truth.json").write_text(
        json.dumps(truth, separators=(",", ":")) + "\n", encoding="utf-8"
    )
    (out / photo.file).write_bytes(jpeg(picture, phone, photo.time, photo.orientation))
    truth["seconds"] = [
        round(b - a, 2)
        for a, b in ((started, built), (built, looked), (looked, lit), (lit, clock.perf_counter()))
    ]
    return truth


def set_plans(family: str, count: int, first: int = 0) -> list[tuple[FittingPlan, PhotoPlan]]:
    """Plans of a benchmark set: names, seeds, every eighth or so too poor to judge."""
    from .plan import draw_fitting, draw_photo

    base = 10_000 * (fam.FAMILIES.index(family) + 1)
    out = []
    for n in range(first, first + count):
        rng = np.random.default_rng([base + n, 40])
        poor = fam.POOR[int(rng.integers(len(fam.POOR)))] if n % 8 == 5 else ""
        fplan = draw_fitting(base + n, family)
        out.append((fplan, draw_photo(base + n, family, f"{family}-{n + 1:03d}.jpg", poor)))
    return out
