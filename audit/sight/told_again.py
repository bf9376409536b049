"""What was told of all places along a cable, as seen from each of them.

A place that looks like the inside of a grip lies more likely in one when a wall
was told before it and the sheath's end behind: the places are told a second
time with the first words of all forests, over the whole cable, beside their own
looks (auto-context: Tu and Bai, IEEE Transactions on Pattern Analysis and
Machine Intelligence 32 (2010), 1744-1757).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from audit.sight.types import F32, F64

_ABOUT = (-5.0, -4.0, -3.0, -2.0, -1.4, -1.0, -0.7, -0.45, -0.2, 0.0)
ABOUT = (*_ABOUT, *(-a for a in _ABOUT[-2::-1]))
"""Places along the track, widths of the cable, of which the first word is heard."""
_SURE = 0.01
"""No word counts for more than this leaves open."""


def told_about(told: Sequence[F64], grain: float) -> F32:
    """Describe each place by what the forests told of all places.

    Parameters
    ----------
    told : sequence of (n, 3) float64
        Probability at each place of each track, one array a forest.
    grain : float
        How far places lie apart, widths of the cable.

    Returns
    -------
    (n, 3, G) float32
        For each forest: the mean of the tracks at `ABOUT`, the track's own word,
        how far on the places turn from unlikely to likely, and the greatest and
        mean word of all, G = 23 times the number of forests.
    """
    n = len(told[0])
    shift = np.rint(np.asarray(ABOUT) / grain).astype(int)
    about = np.clip(np.arange(n)[:, None] + shift, 0, n - 1)
    parts = []
    for one in told:
        word = one.mean(1)
        sure = np.clip(word, _SURE, 1 - _SURE)
        turn = int(np.r_[0.0, -np.cumsum(np.log(sure / (1 - sure)))].argmax())
        away = (np.arange(n) - turn) * grain
        whole = np.broadcast_to([word.max(), word.mean()], (n, 2))
        same = np.concatenate([word[about], away[:, None], whole], 1)
        parts += [np.repeat(same[:, None], one.shape[1], 1), one[..., None]]
    return np.concatenate(parts, -1).astype(np.float32)
