"""A cable does not turn on the spot: a centre line of sheath that does runs over two cables.

Where two cables lie against each other at their ends, their common mask is a U,
and thinning walks up the one and down the other.
"""

from __future__ import annotations

import numpy as np

from audit.sight.skeleton import Branch
from audit.sight.types import F64

REACH = 1.8
"""The turn is taken between the ways so many widths before and behind a point."""
SHARPEST_DEG = 80.0
"""A turn beyond this between chords of REACH widths is a radius of less than 1.3 widths. Makers allow no less
than three diameters inside the bend for small cables (common practice, no source), and what a slant
view makes of that is still wider than this."""

STUMP_DEG = 30.0
"""Beside a cut, what lies off the way of the piece by more belongs to the turn."""


def _turn(path: F64, reach: int) -> F64:
    """Turn at each point between the way `reach` points before it and behind it, degrees, (n,)."""
    n = len(path)
    at = np.arange(n)
    before = path[at] - path[np.maximum(at - reach, 0)]
    behind = path[np.minimum(at + reach, n - 1)] - path[at]
    long = np.hypot(*before.T) * np.hypot(*behind.T)
    cos = (before * behind).sum(1) / np.maximum(long, 1e-9)
    turn = np.degrees(np.arccos(np.clip(cos, -1, 1)))
    # Near an end there is no way before it, and no turn to speak of.
    turn[: reach // 2] = turn[n - reach // 2 :] = 0.0
    return np.asarray(turn, np.float64)


def _straight_end(piece: Branch, width: float) -> Branch:
    """A piece without what turns off at its last point: where it was cut, a stump of the turn is left."""
    n = len(piece.path)
    short, back = max(2, round(0.3 * width)), round(1.8 * width)
    if n < back + 2 * short:
        return piece
    way = piece.path[n - back] - piece.path[max(n - back - round(1.2 * width), 0)]
    at = np.arange(short, n)
    step = piece.path[at] - piece.path[at - short]
    cos = (step @ way) / np.maximum(np.hypot(*step.T) * np.hypot(*way), 1e-9)
    off = np.flatnonzero(cos < np.cos(np.radians(STUMP_DEG)))
    off = off[off >= n - back - short]
    last = int(off[0]) if len(off) else n
    return Branch(piece.path[:last], piece.width[:last])


def _turned(piece: Branch) -> Branch:
    return Branch(piece.path[::-1], piece.width[::-1])


def part_hairpins(pieces: list[Branch]) -> list[Branch]:
    """Pieces of sheath, each cut where it turns sharper than a cable can.

    Parameters
    ----------
    pieces : list of Branch
        Points about 1 px apart, px of the map.

    Returns
    -------
    list of Branch
        The turn itself belongs to none of them; each is walked on the way it came
        (`audit.sight.follow`). What is shorter than half its width is dropped.
    """
    out = []
    waiting = list(pieces)
    while waiting:
        piece = waiting.pop(0)
        width = float(np.median(piece.width))
        reach = max(4, round(REACH * width))
        turn = _turn(piece.path, reach) if len(piece.path) > 2 * reach else np.zeros(1)
        at = int(turn.argmax())
        if turn[at] <= SHARPEST_DEG:
            out.append(piece)
            continue
        head = _straight_end(Branch(piece.path[:at], piece.width[:at]), width)
        tail = _turned(_straight_end(_turned(Branch(piece.path[at:], piece.width[at:])), width))
        waiting += [p for p in (head, tail) if len(p.path) > 3 and p.length > 0.5 * width]
    return out
