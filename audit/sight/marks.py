"""Marks of a person put in the place of what was found.

A mark beats the detected feature; everything downstream is computed from it
as it would be from a found one, with the uncertainty of a hand-placed line.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import PurePosixPath
from typing import Any

import numpy as np

from audit.sight.profile import arc_length
from audit.sight.skeleton import resample
from audit.sight.spans import spans_of
from audit.sight.types import F64, CableReading, Line, Readings, Tip

MARK_SD_PX = 1.5
"""Standard uncertainty of a line a person drags on the zoomed photo, px of the full photo."""


@dataclass(frozen=True)
class SightMark:
    """One mark on this photo.

    Parameters
    ----------
    kind : str
        `grip`, `wall`, `sheath_edge`, `terminal_face` or `length`.
    of : str or None
        Cable (`c1`) or end (`e1`); None takes the nearest.
    points : (n, 2) float64
        px of the full photo.
    """

    kind: str
    of: str | None
    points: F64


def sight_marks(marks: Iterable[Any], photo: str, sha256: str) -> list[SightMark]:
    """Those of a job's marks that belong to this photo, later ones replacing earlier."""
    latest: dict[tuple[str, str | None], SightMark] = {}
    for m in marks:
        if m.sha256 is not None and m.sha256 != sha256:
            continue
        if m.sha256 is None and PurePosixPath(m.photo.replace("\\", "/")).name != photo:
            continue
        points = np.asarray(m.points_px, np.float64).reshape(-1, 2)
        latest[(m.kind, m.of)] = SightMark(m.kind, m.of, points)
    return list(latest.values())


def apply_marks(readings: Readings, marks: Sequence[SightMark], full: float) -> Readings:
    """Put marks in the place of found features.

    Parameters
    ----------
    readings : Readings
    marks : sequence of SightMark
    full : float
        px of the full photo for one px of the analysis picture.

    Returns
    -------
    Readings
        A cable that was not found is built from its marks alone when its
        sheath edge and its grip or wall are marked.
    """
    if not marks:
        return readings
    cables = list(readings.cables)
    tips = list(readings.tips)
    for m in marks:
        pts = m.points / full - 0.5
        if m.kind in ("grip", "wall", "sheath_edge"):
            k = _which_cable(cables, m.of, pts)
            if k is None:
                cables.append(_from_marks(marks, m.of or f"c{len(cables) + 1}", full))
            else:
                cables[k] = _mark_cable(cables[k], m.kind, pts, full)
        else:
            j = _which_tip(tips, m.of, pts)
            if j is not None:
                tips[j] = _mark_tip(tips[j], m.kind, pts, full)
    return Readings(tuple(cables), tuple(tips), readings.again)


def _which_cable(cables: list[CableReading], of: str | None, pts: F64) -> int | None:
    for k, c in enumerate(cables):
        if c.id == of:
            return k
    if of is not None or not cables:
        return None
    mid = pts.mean(0)
    return int(np.argmin([np.hypot(*(c.axis - mid).T).min() for c in cables]))


def _which_tip(tips: list[Tip], of: str | None, pts: F64) -> int | None:
    for k, _ in enumerate(tips):
        if f"e{k + 1}" == of:
            return k
    if not tips:
        return None
    mid = pts.mean(0)
    near = [float(np.hypot(*(t.copper_path - mid).T).min()) for t in tips]
    return int(np.argmin(near))


def _line(cable: CableReading, pts: F64, full: float) -> Line:
    """Where a marked line crosses the cable's axis."""
    mid = pts.mean(0)
    d = pts[-1] - pts[0]
    normal = np.array([-d[1], d[0]]) / max(float(np.hypot(*d)), 1e-9)
    side = (cable.axis - pts[0]) @ normal
    cross = np.flatnonzero(np.diff(np.sign(side)) != 0)
    near = int(np.argmin(np.hypot(*(cable.axis - mid).T)))
    if len(cross):
        i = int(cross[np.argmin(np.abs(cross - near))])
        f = side[i] / (side[i] - side[i + 1]) if side[i] != side[i + 1] else 0.5
        at = float(cable.s[i] + f * (cable.s[i + 1] - cable.s[i]))
    else:
        # The axis stops short of the line: its end is carried on straight.
        i = 0 if near < len(cable.axis) / 2 else len(cable.axis) - 1
        at = float(cable.s[i] + (-1 if i == 0 else 1) * abs(side[i]))
    return Line(pts[[0, -1]], at, MARK_SD_PX / full, "mark")


def _mark_cable(cable: CableReading, kind: str, pts: F64, full: float) -> CableReading:
    if kind == "grip" and len(pts) >= 4:
        one, two = _line(cable, pts[:2], full), _line(cable, pts[2:4], full)
        out, inner = sorted((one, two), key=lambda ln: ln.at)
        return _respan(replace(cable, grip_out=out, grip_in=inner, kind="clamp"))
    line = _line(cable, pts, full)
    if kind == "grip":
        inner = cable.grip_in if cable.grip_in and cable.grip_in.at > line.at else line
        return _respan(replace(cable, grip_out=line, grip_in=inner, kind="clamp"))
    if kind == "wall":
        known = cable.kind if cable.kind != "unknown" else "moulded"
        return _respan(replace(cable, wall=line, kind=known))
    return _respan(replace(cable, edge=line, edge_seen=True, has_sheath=True))


def _respan(cable: CableReading) -> CableReading:
    """Runs along the axis after a line was moved."""
    grip = None
    if cable.grip_out is not None and cable.grip_in is not None:
        grip = (cable.grip_out, cable.grip_in)
    spans = spans_of(float(cable.s[-1]), cable.edge, cable.wall, grip, 0.3 * cable.width)
    return replace(cable, spans=spans, evidence=None)


def _from_marks(marks: Sequence[SightMark], name: str, full: float) -> CableReading:
    """A cable that only a person saw: a straight axis through the middles of its marks."""
    own = [m for m in marks if m.of in (name, None) and m.kind in ("grip", "wall", "sheath_edge")]
    mids = [(m.kind, (m.points / full - 0.5).mean(0)) for m in own]
    width = float(np.median([np.hypot(*(m.points[1] - m.points[0])) for m in own])) / full
    edge = next((p for k, p in mids if k == "sheath_edge"), None)
    other = next((p for k, p in mids if k != "sheath_edge"), None)
    if edge is None or other is None:
        d = (own[0].points[1] - own[0].points[0]) / full
        u = np.array([-d[1], d[0]]) / max(float(np.hypot(*d)), 1e-9)
        a = mids[0][1]
    else:
        # Which way is in can't be told from two lines alone: the sheath is taken
        # to come from the far side of its edge, so core lies between the two.
        u = (other - edge) / max(float(np.hypot(*(other - edge))), 1e-9)
        a = edge
    axis = resample(np.stack([a - 4 * width * u, a + 8 * width * u]), 2.0)
    cable = CableReading(
        id=name,
        sheath_colour="unknown",
        axis=axis,
        s=arc_length(axis),
        width=width,
        edge=None,
        edge_seen=False,
        wall=None,
        grip_out=None,
        grip_in=None,
        kind="unknown",
        spans=(),
        cores=(),
        has_sheath=edge is not None,
    )
    for m in own:
        cable = _mark_cable(cable, m.kind, m.points / full - 0.5, full)
    return cable


def _mark_tip(tip: Tip, kind: str, pts: F64, full: float) -> Tip:
    """A marked terminal face or length in place of the found run of copper."""
    sd = MARK_SD_PX / full * float(np.sqrt(2))
    if kind == "length":
        px = float(np.hypot(*np.diff(pts, axis=0).T).sum())
        return replace(
            tip,
            copper_path=pts,
            copper_px=px,
            copper_sd=sd,
            ends_at="terminal",
            mouth_seen=True,
            evidence=None,
        )
    start = tip.path[-1]
    d = pts[-1] - pts[0]
    normal = np.array([-d[1], d[0]]) / max(float(np.hypot(*d)), 1e-9)
    px = abs(float((start - pts[0]) @ normal))
    path = np.stack([start, pts.mean(0)])
    return replace(
        tip,
        copper_path=path,
        copper_px=px,
        copper_sd=sd,
        ends_at="terminal",
        mouth_seen=True,
        evidence=None,
    )
