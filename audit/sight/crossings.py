"""Where a cable crosses the enclosure's wall and its grip, and where its sheath ends, weighed place by place.

The walls, grips and sheaths of other makes share colours, so one threshold on
one material finds such a line in few photos. Here every place along a cable,
on three tracks, is described by what lies before and behind it, on the cable
and beside it, and forests tell how likely it lies past the wall, in the grip,
past the sheath's end; wall and grip are told again with what was told of all
places (`audit.sight.told_again`). The line is put where all places together speak most
for it (the most likely change of a two-state sequence, as in Page, 1954).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from audit.sight.features import LUMA
from audit.sight.lengthwise import GROUPS
from audit.sight.lines import fit_line
from audit.sight.materials import forest_probability
from audit.sight.profile import band_points, sample_prob
from audit.sight.skeleton import end_direction, resample
from audit.sight.told_again import told_about
from audit.sight.types import F32, F64, AnalysisImage, Line, MaterialMap

TRACKS = (-0.33, 0.0, 0.33)
"""Offsets of the tracks from the axis, widths of the cable."""
ABOUT = (-3.0, -2.0, -1.4, -1.0, -0.7, -0.45, -0.2, 0.0, 0.2, 0.45, 0.7, 1.0, 1.4, 2.0, 3.0)
BESIDE_ABOUT = (-2.4, -1.4, -0.8, -0.4, -0.15, 0.15, 0.4, 0.8, 1.4, 2.4)
"""Places along the track, widths of the cable, seen from the place described."""
BESIDE = (0.62, 0.9, 1.3)
"""Offsets beside the cable, widths of it."""
BEFORE, BEHIND = 8.0, 5.5
"""How far before and behind the end of its strand of sheath a cable is described, widths of it."""


@dataclass(frozen=True)
class Places:
    """Described places of one cable.

    Parameters
    ----------
    s : (n,) float64
        Length along the cable's axis, px of the analysis picture.
    tracks : (n, 3, 2) float64
        Where they lie, px of the analysis picture.
    rows : (n, 3, F) float32
    width : float
        Of the cable, px.
    """

    s: F64
    tracks: F64
    rows: F32
    width: float

    @property
    def grain(self) -> float:
        """How far places lie apart, widths of the cable; there are two or more."""
        return float(self.s[1] - self.s[0]) / self.width


def grouped(prob: F64) -> F64:
    """Probabilities of `GROUPS` out of those of materials, (..., 7)."""
    return np.stack([prob[..., [int(m) for m in g]].sum(-1) for g in GROUPS], -1)


def _light(image: AnalysisImage, points: F64) -> F64:
    """Lightness and two log-ratios at points, nearest pixel, (..., 3)."""
    h, w = image.linear.shape[:2]
    x = np.clip(np.rint(points[..., 0]).astype(int), 0, w - 1)
    y = np.clip(np.rint(points[..., 1]).astype(int), 0, h - 1)
    c = image.linear[y, x] + 0.02
    light = np.sqrt(np.clip(c @ LUMA, 0, 1.5))
    ratios = [np.log(c[..., k] / c[..., 1]) for k in (0, 2)]
    return np.stack([light, *ratios], -1).astype(np.float64)


def _extended(axis: F64, step: float, width: float) -> tuple[F64, int]:
    """The axis carried on straight at both ends, one px of the map apart, and how many points were put before it."""
    path = resample(axis, step)
    reach = min(len(path) - 1, int(1.5 * width / step) + 1)
    n = int(3 * width / step)
    out = np.arange(1, n + 1)[:, None] * step
    head = path[0] + out[::-1] * end_direction(path, True, reach)
    tail = path[-1] + out * end_direction(path, False, reach)
    return np.concatenate([head, path, tail]), n


def places_along(
    materials: MaterialMap, image: AnalysisImage, axis: F64, width: float, tip_at: float, cores: int
) -> Places:
    """Describe the places along a cable.

    Parameters
    ----------
    materials : MaterialMap
    image : AnalysisImage
    axis : (n, 2) float64
        Outside to inside, px of the analysis picture.
    width : float
        Of the cable, px.
    tip_at : float
        Length along the axis at which its strand of sheath ends, px.
    cores : int
        How many cores are known to come out of it.
    """
    step = materials.step
    path, before = _extended(axis, step, width)
    s = np.asarray((np.arange(len(path)) - before) * step, np.float64)
    lo, hi = tip_at - BEFORE * width, tip_at + BEHIND * width
    at = np.flatnonzero((s >= lo) & (s <= hi) & (s >= -0.5 * width) & (s <= s[-1] - 2.5 * width))
    at = at[::2]

    def seen(values: F64, about: tuple[float, ...]) -> F64:
        shift = np.rint(np.asarray(about) * width / step).astype(int)
        i = np.clip(at[:, None] + shift, 0, len(path) - 1)
        return np.asarray(values[i].reshape(len(at), -1), np.float64)

    band = np.linspace(-0.45, 0.45, 7) * width
    whole = seen(grouped(sample_prob(materials, band_points(path, band)).mean(1)), ABOUT)
    sides = [_side(materials, image, path, width, sign) for sign in (-1.0, 1.0)]
    beside = [seen(side, BESIDE_ABOUT) for side in sides]
    scalars = np.stack(
        [
            (s[at] - tip_at) / width, s[at] / width, (s[-1] - 3 * width - s[at]) / width,
            np.full(len(at), width / step), np.full(len(at), step),
            np.full(len(at), float(cores)), np.full(len(at), float(tip_at > 0)),
        ], -1,
    )  # fmt: skip
    rows = []
    for off in TRACKS:
        on = np.linspace(-0.1, 0.1, 3) * width + off * width
        points = band_points(path, on)
        kinds = seen(grouped(sample_prob(materials, points).mean(1)), ABOUT)
        tint = gaussian_filter1d(_light(image, points).mean(1), 1.0, axis=0)
        own = tint[at]
        colours = seen(tint, ABOUT).reshape(len(at), -1, 3) - own[:, None]
        near, far = (beside[0], beside[1]) if off < 0 else (beside[1], beside[0])
        rows.append(
            np.concatenate([kinds, whole, colours.reshape(len(at), -1), own, near, far, scalars], 1)
        )
    lines = band_points(path, np.asarray(TRACKS) * width)[at]
    return Places(s[at], lines, np.stack(rows, 1).astype(np.float32), width)


def _side(
    materials: MaterialMap, image: AnalysisImage, path: F64, width: float, sign: float
) -> F64:
    """What lies beside the cable on one side along it: kinds of material and lightness, (n, 12)."""
    parts = []
    for away in BESIDE:
        points = band_points(path, sign * width * np.array([away - 0.1, away, away + 0.1]))
        told = grouped(sample_prob(materials, points)).mean(1)
        # Cores and cables that lie over a place say nothing of what it is a part of.
        kinds = np.stack([told[:, 5], told[:, 4] + told[:, 3], told[:, 0]], -1)
        parts += [kinds, _light(image, points).mean(1)[:, :1]]
    smooth = 0.1 * width / materials.step
    return np.asarray(gaussian_filter1d(np.concatenate(parts, -1), smooth, axis=0), np.float64)


WALL_FOREST, GRIP_FOREST, EDGE_FOREST = (
    "line-wall.npz",
    "line-grip.npz",
    "line-edge.npz",
)
AGAIN = {WALL_FOREST: "line-wall-again.npz", GRIP_FOREST: "line-grip-again.npz"}
"""Forests that tell a second time. The sheath's end gains nothing by it (photos for fitting, by forests that
never saw them)."""
_LEAST_PLACES = 6
# The following are common practice, no source: none of them was tuned.
_FLOOR = 0.02
_TEMPER = 0.3
"""Places beside each other say much the same: so much of each one's word is new."""
_STRAY = 0.5
"""How far a track's own line may lie from that of all, widths of the cable."""


Tell = Callable[[Places, str], F64]
"""Gives the probability at each place of each track, as `told_along` does."""


def told_along(places: Places, forest: str) -> F64:
    """Probability by one forest at each place of each track, (n, 3)."""
    n, tracks, width = places.rows.shape
    told = forest_probability(forest, places.rows.reshape(-1, width), classes=(0, 1), n=2)
    return np.asarray(told[:, 1].reshape(n, tracks), np.float64)


def _split_scores(prob: F64) -> F64:
    """Log-likelihood of each change from "before" to "past", at 0 to n, (n + 1,)."""
    p = np.clip(prob, _FLOOR, 1 - _FLOOR)
    before = np.cumsum(np.r_[0.0, np.log(1 - p)])
    past = np.cumsum(np.r_[0.0, np.log(p)])
    return np.asarray(before + past[-1] - past, np.float64)


def _sd_about(scores: F64, best: int) -> float:
    """Standard uncertainty of the best place, in places, by tempered log-likelihoods."""
    weight = np.exp(_TEMPER * (scores - scores.max()))
    away = np.arange(len(scores)) - best
    return float(np.sqrt((weight * away**2).sum() / weight.sum()))


@dataclass(frozen=True)
class Crossing:
    """A line across a cable as the places along it tell of it.

    Parameters
    ----------
    found : (3,) float64
        Where each track crosses it, px along the axis.
    at, sd : float
        Where the axis does, and its standard uncertainty, px.
    """

    found: F64
    at: float
    sd: float


def change(places: Places, prob: F64) -> Crossing | None:
    """The line at which places turn from before to past; None when one side is not in view.

    Parameters
    ----------
    places : Places
    prob : (n, 3) float64
        Probability that a place lies past the line.
    """
    n = len(places.s)
    if n < _LEAST_PLACES:
        return None
    grain = float(places.s[1] - places.s[0])
    scores = _split_scores(prob.mean(1))
    best = int(scores.argmax())
    sd = _sd_about(scores, best)
    if not 2 <= best <= n - 2:
        return None
    reach = int(_STRAY * places.width / grain)
    lo, hi = max(0, best - reach), min(n, best + reach)
    own = [lo + int(_split_scores(prob[:, q])[lo : hi + 1].argmax()) for q in range(3)]
    found = places.s[0] + np.asarray(own) * grain
    return Crossing(found, float(places.s[0] + best * grain), max(sd, 0.5) * grain)


def stretch(places: Places, prob: F64) -> tuple[Crossing, Crossing, float] | None:
    """Both lines of the stretch in which places most likely lie, and how much speaks for it.

    The stretch with the greatest sum of log-odds is taken (Bentley's maximum subarray);
    None when no place is more likely in one than not, or one of its ends is not in view.
    """
    n = len(places.s)
    if n < _LEAST_PLACES:
        return None
    p = np.clip(prob.mean(1), _FLOOR, 1 - _FLOOR)
    total = np.r_[0.0, np.cumsum(np.log(p / (1 - p)))]
    low = np.minimum.accumulate(total)
    gain = total - low
    b = int(gain.argmax())
    if gain[b] <= 0:
        return None
    a = int(np.flatnonzero(total[: b + 1] == low[b])[-1])
    middle = (a + b) // 2
    front = change(_part(places, 0, middle + 1), prob[: middle + 1])
    back = change(_part(places, middle, n), 1 - prob[middle:])
    if front is None or back is None or back.at <= front.at:
        return None
    return front, back, float(gain[b])


def _part(places: Places, a: int, b: int) -> Places:
    return Places(places.s[a:b], places.tracks[a:b], places.rows[a:b], places.width)


@dataclass(frozen=True)
class Crossings:
    """The lines that a cable crosses, each None where it was not found.

    Parameters
    ----------
    wall, edge : Line or None
    grip : (Line, Line) or None
        Outer and inner.
    places : Places
    told : dict of str to (n, 3) float64
        Probability at each place by each forest.
    """

    wall: Line | None
    edge: Line | None
    grip: tuple[Line, Line] | None
    places: Places
    told: dict[str, F64]


FORESTS = (WALL_FOREST, GRIP_FOREST, EDGE_FOREST)


def widened(places: Places, told: dict[str, F64]) -> Places:
    """The places described by what was told of all of them too."""
    words = told_about([told[forest] for forest in FORESTS], places.grain)
    return replace(places, rows=np.concatenate([places.rows, words], -1))


def tell_all(places: Places, tell: Tell) -> dict[str, F64]:
    """What is told of each place, at last, by the name of the forest that told it first."""
    told = {forest: tell(places, forest) for forest in FORESTS}
    wide = widened(places, told)
    return told | {first: tell(wide, again) for first, again in AGAIN.items()}


_GRIP_EVIDENCE = 2.0
"""Least log-odds, summed, that a stretch is taken for a grip on (renders of the `fit` scenes)."""


def find_crossings(
    materials: MaterialMap,
    image: AnalysisImage,
    axis: F64,
    width: float,
    tip_at: float,
    cores: int,
    tell: Tell = told_along,
) -> Crossings:
    """Find where a cable crosses wall and grip, and where its sheath ends.

    Parameters
    ----------
    materials, image, axis, width, tip_at, cores
        As for `places_along`.
    tell : callable
        Stands in for the stored forests while others are fitted.

    Raises
    ------
    ModelsError
        When a stored forest is missing or damaged.
    """
    places = places_along(materials, image, axis, width, tip_at, cores)
    if len(places.s) < _LEAST_PLACES:
        return Crossings(None, None, None, places, {})
    told = tell_all(places, tell)

    def line(crossing: Crossing | None) -> Line | None:
        if crossing is None:
            return None
        offsets = np.asarray(TRACKS) * width
        return fit_line(axis, offsets, crossing.found, width / 2, crossing.sd)

    held = stretch(places, told[GRIP_FOREST])
    grip = None
    if held is not None and held[2] >= _GRIP_EVIDENCE:
        outer, inner = line(held[0]), line(held[1])
        if outer is not None and inner is not None and inner.at > outer.at:
            grip = outer, inner
    return Crossings(
        line(change(places, told[WALL_FOREST])),
        line(change(places, told[EDGE_FOREST])),
        grip,
        places,
        told,
    )
