"""The truth of a photo: exact lengths, what the camera can see of them, and the items to be judged."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .camera import Camera
from .curves import cut
from .parts import Cable, Core, Fitting, Part

F = NDArray[np.float64]
COPPER_FAULT_MM = 0.5
BARE_CPC_MM = 3.0  # a shorter stretch between sheath and sleeve is not counted as unsleeved


def px(points: F) -> list[list[float]]:
    """Rounded pixel pairs."""
    return [[round(float(x), 1), round(float(y), 1)] for x, y in np.atleast_2d(points)]


def box_of(points: F, pad: float, size: tuple[int, int]) -> list[float] | None:
    """Bounding box of pixel points, padded, cut to the picture; None when outside."""
    lo, hi = points.min(0) - pad, points.max(0) + pad
    lo, hi = np.maximum(lo, 0), np.minimum(hi, size)
    if (hi - lo).min() <= 0:
        return None
    return [round(float(v), 1) for v in (*lo, *hi)]


class Sight:
    """Which things the camera sees at a pixel."""

    def __init__(self, cam: Camera, parts: list[Part], index: NDArray[np.int32]) -> None:
        self.cam, self.index = cam, index
        self.tags = [p.tag for p in parts]

    def share(self, points: F, tags: tuple[str, ...]) -> float:
        """Share of points (N, 3) at which, within one pixel, something with one of the tags is seen."""
        wanted = {i for i, t in enumerate(self.tags) if t.startswith(tags)}
        ok = np.isin(self.index, list(wanted)) if wanted else np.zeros_like(self.index, bool)
        return self._share(points, ok)

    def _share(self, points: F, ok: NDArray[np.bool_]) -> float:
        h, w = ok.shape
        hits = 0
        proj = self.cam.project(points)
        front = self.cam.depth(points) > 1
        for (x, y), f in zip(proj, front, strict=True):
            i, j = int(np.floor(y)), int(np.floor(x))
            if not f or not (0 <= i < h and 0 <= j < w):
                continue
            hits += bool(ok[max(0, i - 1) : i + 2, max(0, j - 1) : j + 2].any())
        return round(hits / max(1, len(points)), 3)

    def flags(self, points: F, tags: tuple[str, ...]) -> NDArray[np.bool_]:
        """As ``share``, for each point."""
        return np.array([self.share(p[None], tags) > 0 for p in points])


def px_per_mm_at(cam: Camera, point: F) -> float:
    """Scale at a point, along the picture plane."""
    return float(cam.focal_px / max(cam.depth(point[None])[0], 1e-6))


def _line_across(cable: Cable, s: float, cam: Camera, lift: float) -> list[list[float]]:
    mid, side = cable.axis.at(s), cable.axis.side_at(s)
    ends = np.stack([mid - side * cable.half[0], mid + side * cable.half[0]]) + np.array(
        [0, 0, lift]
    )
    return px(cam.project(ends))


def _runs(cable: Cable) -> list[tuple[str, float, float]]:
    """What is met along the axis, outside to inside: (what, from, to)."""
    e, stop = cable.entry, cable.sheath_stop
    cuts = {float(cable.axis.s[0]), 0.0, e.wall_mm, stop}
    if e.grip_out is not None and e.grip_in is not None:
        cuts |= {e.grip_out, e.grip_in}
    order = sorted(c for c in cuts if c <= max(stop, e.grip_in or e.wall_mm) + 1e-9)
    out = []
    for a, b in pairwise(order):
        m = (a + b) / 2
        what = "sheath" if m < stop else "core"
        if e.grip_out is not None and e.grip_in is not None and e.grip_out < m < e.grip_in:
            what = "grip"
        elif 0 < m < e.wall_mm:
            what = "wall"
        if b - a > 1e-3:
            out.append((what, a, b))
    return out


def reading(cable: Cable, cam: Camera) -> list[dict[str, Any]]:
    """Segments along the cable, then along each core, with mm from the wall's outer face (cores: from the sheath edge)."""
    out = []
    for what, a, b in _runs(cable):
        path = cam.project(cable.axis.part(a, b, max(0.5, (b - a) / 40)))
        out.append(
            {
                "what": what,
                "colour": None,
                "path_px": px(path),
                "from_mm": round(a, 2),
                "to_mm": round(b, 2),
            }
        )
    for core in cable.cores:
        for what, a, b in core_segments(core):
            path = cam.project(cut(core.path, a, b, max(0.5, (b - a) / 30)))
            colour = core.colour if what in ("core", "sleeve") else None
            start = core.start
            out.append(
                {
                    "what": what,
                    "colour": colour,
                    "core": core.name,
                    "path_px": px(path),
                    "from_mm": round(a - start, 2),
                    "to_mm": round(b - start, 2),
                }
            )
    return out


def core_segments(core: Core) -> list[tuple[str, float, float]]:
    """(what, from, to) along one core, from the sheath edge to its end."""
    s0, end = core.start, core.end
    if core.bare:
        if core.sleeve is None:
            return [("copper", s0, end)]
        a, b = core.sleeve[0], min(core.sleeve[1], end)
        runs = [("copper", s0, a), ("sleeve", a, b), ("copper", b, end)]
    else:
        b = min(core.insulated, end)
        runs = [("core", s0, b), ("copper", b, end)]
        if (gone := core.laid_bare) is not None:
            runs[:1] = [
                ("core", s0, gone.start),
                ("copper", gone.start, gone.stop),
                ("core", gone.stop, b),
            ]
    return [r for r in runs if r[2] - r[1] > 0.02]


def end_of(core: Core, n: int, cam: Camera, size: tuple[int, int]) -> dict[str, Any]:
    """One core's end, as in the contract."""
    tip = cut(core.path, core.end - 0.05, core.end)[-1]
    at = cam.project(tip[None])[0]
    inside = 0 <= at[0] < size[0] and 0 <= at[1] < size[1]
    span = cut(core.path, min(_exposed_from(core), core.end - 1.0), core.end)
    pad = core.radius * px_per_mm_at(cam, tip)
    copper = core.copper_mm if core.ends_at == "terminal" and core.copper_mm is not None else None
    return {
        "id": f"e{n}", "cable": core.cable, "core": core.name, "colour": core.colour,
        "ends_at": core.ends_at if inside else "leaves_picture", "at_px": px(at)[0], "box_px": box_of(cam.project(span), pad, size),
        "copper_mm": None if copper is None else {"value": round(copper, 3), "u95": 0.0, "bound": "exact"},
    }  # fmt: skip


def _exposed_from(core: Core) -> float:
    if core.bare and core.sleeve is None:
        return core.start
    return min(core.sleeve[1] if core.sleeve else core.insulated, core.end)


def _item(
    check: str,
    of: str,
    fault: bool,
    size_mm: float | None,
    visible: float,
    points: F,
    cam: Camera,
    pad_mm: float,
    size: tuple[int, int],
) -> dict[str, Any]:
    proj = cam.project(points)
    pad = pad_mm * px_per_mm_at(cam, points[len(points) // 2])
    return {
        "check": check, "of": of, "fault": bool(fault), "size_mm": None if size_mm is None else round(float(size_mm), 3),
        "visible": visible, "box_px": box_of(proj, pad, size), "at_px": px(proj[len(proj) // 2])[0],
    }  # fmt: skip


def cable_items(
    cable: Cable, cam: Camera, sight: Sight, size: tuple[int, int]
) -> list[dict[str, Any]]:
    """Items of the two lines a cable crosses."""
    e, stop = cable.entry, cable.sheath_stop
    out = []
    lines = [("core-outside-enclosure", 0.0)]
    if e.grip_out is not None:
        lines.append(("core-outside-grip", e.grip_out))
    for check, line in lines:
        length = max(0.0, line - stop)
        points = (
            cable.axis.part(stop, line, 0.25)
            if length > 0
            else cable.axis.part(line - 3.0, line, 0.5)
        )
        top = points + np.array([0, 0, cable.half[1] * 0.6])
        if length > 0:
            seen = np.zeros(len(points), bool)
            for core in cable.cores:
                run = cut(core.path, core.start, core.start + length, 0.25)
                run = run + np.array([0, 0, core.radius * 0.7])
                flags = sight.flags(
                    run, (f"core:{core.cable}:{core.name}", f"copper:{core.cable}:{core.name}")
                )
                seen |= (
                    np.interp(np.linspace(0, 1, len(points)), np.linspace(0, 1, len(flags)), flags)
                    > 0.5
                )
            visible = round(float(seen.mean()), 3)
        else:
            visible = sight.share(top, (f"sheath:{cable.id}",))
        out.append(
            _item(check, cable.id, length > 0, length, visible, top, cam, cable.half[0], size)
        )
    return out


def end_item(
    core: Core, end: dict[str, Any], cam: Camera, sight: Sight, size: tuple[int, int]
) -> dict[str, Any] | None:
    """Item copper-beyond-terminal of one end; None for a bare CPC and for what ends in the open."""
    if core.ends_at != "terminal" or core.copper_mm is None:
        return None
    tag = f"{core.cable}:{core.name}"
    if core.copper_mm > 0:
        points = cut(core.path, core.end - core.copper_mm, core.end, 0.15)
        visible = sight.share(points, (f"copper:{tag}",))
    else:
        points = cut(core.path, core.end - 1.5, core.end, 0.25)
        visible = sight.share(points, (f"core:{tag}",))
    return _item(
        "copper-beyond-terminal",
        end["id"],
        core.copper_mm >= COPPER_FAULT_MM,
        core.copper_mm,
        visible,
        points,
        cam,
        core.radius,
        size,
    )


def laid_bare_item(
    core: Core, end: dict[str, Any], cam: Camera, sight: Sight, size: tuple[int, int]
) -> dict[str, Any] | None:
    """Item copper-beyond-terminal of a stretch without insulation, of the core's end; None without one."""
    gone = core.laid_bare
    if gone is None:
        return None
    # The side that is turned to the camera, which looks down on the work.
    points = cut(core.path, gone.start, gone.stop, 0.15) + np.array([0, 0, 0.35 * core.conductor])
    visible = sight.share(points, (f"copper:{core.cable}:{core.name}",))
    item = _item(
        "copper-beyond-terminal", end["id"], True, gone.stop - gone.start, visible, points, cam,
        core.radius, size,
    )  # fmt: skip
    return item | {"how": "laid-bare"}


def cpc_items(
    cable: Cable, cam: Camera, sight: Sight, size: tuple[int, int]
) -> list[dict[str, Any]]:
    """Items cpc-cut-short and cpc-unsleeved of one cable."""
    core = next((c for c in cable.cores if c.name == "cpc"), None)
    if core is None:
        edge = cable.axis.part(cable.sheath_stop - 1.5, cable.sheath_stop, 0.3) + np.array(
            [0, 0, cable.half[1] * 0.7]
        )
        visible = sight.share(edge, (f"sheath:{cable.id}",))
        return [
            _item("cpc-cut-short", cable.id, True, None, visible, edge, cam, cable.half[0], size)
        ]
    tag = f"{core.cable}:{core.name}"
    tags = (f"copper:{tag}", f"core:{tag}")
    run = cut(core.path, core.start, core.end, 0.4)
    cut_short = core.ends_at == "open"
    probe = run if cut_short else cut(core.path, max(core.start, core.end - 6), core.end, 0.4)
    out = [
        _item(
            "cpc-cut-short",
            cable.id,
            cut_short,
            None,
            sight.share(probe, tags),
            probe,
            cam,
            core.radius,
            size,
        )
    ]
    if not cut_short:
        bare = bare_length(core)
        fault = bare > BARE_CPC_MM
        points = cut(core.path, core.start, core.start + bare, 0.3) if fault else run
        visible = sight.share(points, (f"copper:{tag}",) if fault else tags)
        item = _item(
            "cpc-unsleeved", cable.id, fault, bare, visible, points, cam, core.radius, size
        )
        out.append(item | {"how": "late-sleeve"} if fault and core.sleeve else item)
    return out


def bare_length(core: Core) -> float:
    """Length of bare CPC from the sheath edge on, mm."""
    if not core.bare:
        return 0.0
    return core.end - core.start if core.sleeve is None else core.sleeve[0] - core.start


def cable_truth(cable: Cable, sheath: str, cam: Camera, sight: Sight) -> dict[str, Any]:
    """One cable, as in the contract."""
    e, stop = cable.entry, cable.sheath_stop
    top = cable.half[1]
    grip = None
    if e.grip_out is not None and e.grip_in is not None:
        a, b = _line_across(cable, e.grip_out, cam, top), _line_across(cable, e.grip_in, cam, top)
        grip = [a[0], a[1], b[1], b[0]]
    edge = cable.axis.part(stop - 0.8, stop, 0.2) + np.array([0, 0, top * 0.8])
    seen = sight.share(edge, (f"sheath:{cable.id}",))

    def length(value: float | None) -> dict[str, Any] | None:
        return None if value is None else {"value": round(value, 3), "u95": 0.0, "bound": "exact"}

    return {
        "id": cable.id, "sheath": sheath,
        "entry": {"kind": e.kind, "from": "truth", "wall_px": _line_across(cable, 0.0, cam, top), "grip_px": grip, "u95_mm": 0.0},
        "sheath_edge_px": _line_across(cable, stop, cam, top) if seen > 0.3 else None,
        "sheath_edge_visible": seen,
        "sheath_past_grip_mm": length(None if e.grip_in is None else stop - e.grip_in),
        "core_outside_grip_mm": length(None if e.grip_out is None else max(0.0, e.grip_out - stop)),
        "core_outside_enclosure_mm": length(max(0.0, -stop)),
        "reading": reading(cable, cam),
    }  # fmt: skip


def fitting_truth(fit: Fitting, sheaths: list[str], cam: Camera, sight: Sight) -> dict[str, Any]:
    """Cables, ends, cpc and items of a photo."""
    size = (cam.width, cam.height)
    cables, ends, cpc, items = [], [], [], []
    n = 0
    for cable, sheath in zip(fit.cables, sheaths, strict=True):
        cables.append(cable_truth(cable, sheath, cam, sight))
        items += cable_items(cable, cam, sight, size)
        for core in cable.cores:
            n += 1
            end = end_of(core, n, cam, size)
            ends.append(end)
            for of_end in (end_item, laid_bare_item):
                item = of_end(core, end, cam, sight, size)
                if item is not None:
                    items.append(item)
        found = cpc_items(cable, cam, sight, size)
        items += found
        seen = {"insulated": "sleeved"}.get(cable.cpc, cable.cpc)
        cpc.append({"cable": cable.id, "seen": seen, "box_px": found[-1]["box_px"]})
    return {"cables": cables, "ends": ends, "cpc": cpc, "items": items}
