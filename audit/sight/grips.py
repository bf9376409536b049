"""A grip told from a terminal by where it stands, not by what it is made of.

Both are plastic or metal with screws. But no sheath runs into a terminal: what
a sheath runs into, and out of which sheath or cores come on the far side, is
its grip. What stands on the site card is known from the card's own geometry.
"""

from __future__ import annotations

import cv2
import numpy as np

from audit.card.geometry import load_card
from audit.card.types import CardSight
from audit.sight.profile import band_points, sample_prob
from audit.sight.skeleton import Branch, end_direction
from audit.sight.types import CORES, F32, F64, Material, MaterialMap

_COVER = [int(m) for m in (Material.GRIP, Material.TERMINAL, Material.STEEL, Material.BRASS)]
_FAR_SIDE = [int(m) for m in (Material.SHEATH, Material.COPPER, *CORES)]
LEAST_BODY = 60
"""Least area of a body that is voted on, px of the map (about 5 mm2)."""
REACH = 2.6
"""Longest grip along the cable, in widths of the cable's sheath."""


def _run_of_cover(
    materials: MaterialMap, p: F64, u: F64, width: float
) -> tuple[float, float] | None:
    """Where cover begins and ends along a ray from a sheath's end, px; None when it is no grip."""
    t = np.arange(-0.4 * width, (REACH + 0.8) * width, materials.step)
    ray = p + t[:, None] * u
    pts = band_points(ray, np.linspace(-0.3, 0.3, 5) * width)
    prob = sample_prob(materials, pts).mean(1)
    cover = prob[:, _COVER].sum(-1)
    beyond = prob[:, _FAR_SIDE].sum(-1)
    inside = cover > 0.4
    if not inside[: int(1.1 * width / materials.step)].any():
        return None
    a = int(np.argmax(inside))
    b = a
    while b + 1 < len(t) and (inside[b + 1] or inside[b + 1 : b + 4].any()):
        b += 1
    length = (b - a + 1) * materials.step
    if not 0.15 * width <= length <= REACH * width or b + 3 >= len(t):
        return None
    after = beyond[b + 1 : b + 1 + max(3, int(0.5 * width / materials.step))]
    if float(after.max()) < 0.4:
        return None
    return float(t[a]), float(t[b])


def tell_grips(materials: MaterialMap, pieces: list[Branch]) -> MaterialMap:
    """Move what was taken for a terminal at a sheath's end to grip.

    Parameters
    ----------
    materials : MaterialMap
    pieces : list of Branch
        Centre lines of sheath, px of the map.

    Returns
    -------
    MaterialMap
    """
    prob = materials.prob.copy()
    h, w = prob.shape[:2]
    k = materials.step
    for piece in pieces:
        width = float(np.median(piece.width))
        for at_start in (True, False):
            p = piece.path[0] if at_start else piece.path[-1]
            u = end_direction(piece.path, at_start, 1.2 * width)
            if not u.any():
                continue
            run = _run_of_cover(materials, (p + 0.5) * k - 0.5, u, width * k)
            if run is None:
                continue
            a, b = run[0] / k - 1.5, run[1] / k + 1.5
            side = np.array([-u[1], u[0]]) * 1.15 * width
            quad = np.array(
                [p + u * a - side, p + u * a + side, p + u * b + side, p + u * b - side]
            )
            mask = np.zeros((h, w), np.uint8)
            cv2.fillConvexPoly(mask, np.rint(quad).astype(np.int32), 1)
            area = mask == 1
            moved = prob[area]
            # A metal strap is a grip too; its screws may be called so without harm.
            for m in (Material.TERMINAL, Material.STEEL):
                moved[:, Material.GRIP] += moved[:, m]
                moved[:, m] = 0
            prob[area] = moved
    return MaterialMap(prob, k)


_BODY = [int(m) for m in (Material.GRIP, Material.TERMINAL, Material.STEEL, Material.BRASS)]


def vote_by_body(materials: MaterialMap) -> MaterialMap:
    """One answer, grip or terminal, for each body of moulding and screws that hangs together.

    Pixel by pixel a grip's bar and a terminal's block look alike. As a whole
    they do not: sheath runs into a grip, and only a terminal has brass in it.

    Parameters
    ----------
    materials : MaterialMap

    Returns
    -------
    MaterialMap
        What was grip in a terminal's body is terminal, and the other way round.
    """
    prob = materials.prob
    ids = materials.ids
    body = np.isin(ids, _BODY).astype(np.uint8)
    body = cv2.morphologyEx(body, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8))
    n, lab, stats, _ = cv2.connectedComponentsWithStats(body, connectivity=4)
    sheath = (ids == Material.SHEATH).astype(np.uint8)
    out = prob.copy()
    flat = lab.ravel()
    terminal = prob[..., Material.TERMINAL] + 1.5 * prob[..., Material.BRASS]
    for_terminal = np.bincount(flat, terminal.ravel(), n)
    for_grip = np.bincount(flat, prob[..., Material.GRIP].ravel(), n)
    near = cv2.dilate(sheath, np.ones((5, 5), np.uint8))
    touch = np.bincount(flat, (near.ravel() > 0), n)
    for k in range(1, n):
        x, y, w, h, area = (int(v) for v in stats[k])
        if area < LEAST_BODY:
            continue
        # A body's rim is about as long as its box: how much of it does sheath touch?
        met = float(touch[k]) / (w + h)
        won = float(for_terminal[k]) > float(for_grip[k]) * (0.8 + 4.0 * met)
        here = lab[y : y + h, x : x + w] == k
        a, b = (Material.GRIP, Material.TERMINAL) if won else (Material.TERMINAL, Material.GRIP)
        part = out[y : y + h, x : x + w]
        part[here, b] += part[here, a]
        part[here, a] = 0
    return MaterialMap(out, materials.step)


def lay_card(materials: MaterialMap, card: CardSight, scale: float) -> MaterialMap:
    """Write a found card into the map: its print must not be taken for cores or terminals.

    Parameters
    ----------
    materials : MaterialMap
    card : CardSight
    scale : float
        px of the full photo for one px of the map.
    """
    if not card.found or card.mm_to_px is None or card.corners_px is None:
        return materials
    prob = materials.prob.copy()
    h, w = prob.shape[:2]
    whole = np.zeros((h, w), np.uint8)
    cv2.fillConvexPoly(whole, np.rint(card.corners_px / scale).astype(np.int32), 1)
    printed = np.zeros((h, w), np.uint8)
    for quad in _printed_quads(np.asarray(card.mm_to_px)):
        cv2.fillConvexPoly(printed, np.rint(quad / scale).astype(np.int32), 1)
    keep = [int(m) for m in (Material.SHEATH, *CORES, Material.COPPER)]
    strand: F32 = prob[..., keep].sum(-1)
    area = (whole == 1) & ((printed == 1) | (strand < 0.5))
    prob[area] = 0
    prob[area, Material.CARD] = 1
    return MaterialMap(prob, materials.step)


def _printed_quads(mm_to_px: F64) -> list[F64]:
    """Corners of the card's patches and markers, px of the full photo, a little outset."""
    geometry = load_card()
    boxes = [np.asarray(c, float) for c in geometry.marker_corners_mm]
    for patch in geometry.patches:
        x0, y0, x1, y1 = patch.box_mm
        boxes.append(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
    out = []
    for b in boxes:
        grown = b.mean(0) + (b - b.mean(0)) * 1.15
        homogeneous = np.c_[grown, np.ones(len(grown))] @ mm_to_px.T
        out.append(homogeneous[:, :2] / homogeneous[:, 2:])
    return out
