"""Where the tool puts wall and grip, and what scale it reads, against the truth."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linear_sum_assignment

from audit.bench.truth import Truth, TruthEntry
from audit.measure.contract import EntryRecord, LookRecord

REACH_MM = 25.0
"""A line further from the truth than this belongs to something else: counted as not given."""

Segment = NDArray[np.float64]
"""Two points, shape (2, 2), px."""


@dataclass(frozen=True)
class LineErrors:
    """Errors of one photo's wall and grip lines in mm, and how many lines there were to find."""

    wall_mm: tuple[float, ...] = ()
    grip_mm: tuple[float, ...] = ()
    walls: int = 0
    grips: int = 0


def line_errors(truth: Truth, look: LookRecord) -> LineErrors:
    """Distance of each found wall line and outer grip edge from its true one.

    The error of a line is the mean distance, in mm at the true scale, of the
    two ends and the middle of the true line from the found line drawn on
    without end: lines cross the cable, so this is how far along the cable the
    found one is off. Lines are paired one to one so that the summed error is
    least.
    """
    scale = truth.scale.px_per_mm
    entries = [c.entry for c in look.cables] if look.outcome == "read" else []
    walls = [w for w in (_wall(c.entry) for c in truth.cables) if w is not None]
    grips = [g for g in (_grip(c.entry) for c in truth.cables) if g is not None]
    found_walls = [w for w in (_wall(e) for e in entries) if w is not None]
    found_grips = [np.asarray(e.grip_px, float) for e in entries if e.grip_px is not None]
    wall_mm = _pair_up(walls, found_walls, scale)
    outer = [edge for edge, _ in grips]
    found_outer = [_outer_edge(quad, grips) for quad in found_grips]
    grip_mm = _pair_up(outer, [edge for edge in found_outer if edge is not None], scale)
    return LineErrors(wall_mm, grip_mm, len(walls), len(grips))


def line_distance(true_line: Segment, found_line: Segment) -> float:
    """Mean distance of the ends and middle of `true_line` from the endless `found_line`.

    Examples
    --------
    >>> line_distance(np.array([[0.0, 0.0], [0.0, 4.0]]), np.array([[3.0, 1.0], [3.0, 2.0]]))
    3.0
    """
    along = found_line[1] - found_line[0]
    length = float(np.hypot(*along))
    points = np.vstack([true_line, true_line.mean(axis=0)]) - found_line[0]
    if length == 0:
        return float(np.hypot(points[:, 0], points[:, 1]).mean())
    return float(np.abs(points[:, 0] * along[1] - points[:, 1] * along[0]).mean() / length)


def scale_error(truth: Truth, look: LookRecord) -> float | None:
    """Relative error of the scale read, signed; None where no scale was read."""
    if look.scale is None or look.scale.px_per_mm is None:
        return None
    return look.scale.px_per_mm / truth.scale.px_per_mm - 1.0


def card_error(truth: Truth, look: LookRecord) -> float | None:
    """Relative error of the card's own size in the picture, signed; None where no card was found.

    The root of the area within its corners, found over true: what the card's scale is
    off in the card's own plane. The work lies nearer or farther, which no card tells.
    """
    true = None if truth.card is None else truth.card.corners_px
    found = look.card.corners_px if look.card is not None and look.card.found else None
    if true is None or found is None:
        return None
    areas = [cv2.contourArea(np.asarray(corners, np.float32)) for corners in (found, true)]
    return float(np.sqrt(areas[0] / areas[1])) - 1.0


def _wall(entry: TruthEntry | EntryRecord) -> Segment | None:
    return None if entry.wall_px is None else np.asarray(entry.wall_px, float)


def _grip(entry: TruthEntry) -> tuple[Segment, Segment] | None:
    """Outer edge of a true grip, and the direction outwards along the cable."""
    if entry.grip_px is None:
        return None
    quad = np.asarray(entry.grip_px, float)
    return quad[:2], quad[:2].mean(axis=0) - quad[2:].mean(axis=0)


def _outer_edge(quad: Segment, grips: list[tuple[Segment, Segment]]) -> Segment | None:
    """Outer edge of a found grip: its two corners furthest outwards, as the nearest truth lies."""
    if not grips:
        return None
    middle = quad.mean(axis=0)
    _, outwards = min(grips, key=lambda g: float(np.hypot(*(g[0].mean(axis=0) - middle))))
    return quad[np.argsort(quad @ outwards)[2:]]


def _pair_up(true: list[Segment], found: list[Segment], scale: float) -> tuple[float, ...]:
    if not true or not found:
        return ()
    # Two cables in one wall have nearly one line: the middle's distance tells them apart.
    apart = [[float(np.hypot(*(t.mean(0) - f.mean(0)))) for f in found] for t in true]
    rows, cols = linear_sum_assignment(np.array(apart))
    errors = (line_distance(true[r], found[c]) / scale for r, c in zip(rows, cols, strict=True))
    return tuple(e for e in errors if e <= REACH_MM)
