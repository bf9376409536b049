"""Lines across a cable: where its sheath ends, the enclosure's wall, the grip.

Each is searched on several tracks beside the axis and fitted robustly, so that
a slanted cut or a wall that is not square to the cable is followed.
"""

from __future__ import annotations

import numpy as np

from audit.sight.profile import arc_length, band_points, crossing_at, normals, runs, sample_prob
from audit.sight.types import CORES, F64, Line, Material, MaterialMap

_CORE_IDS = [int(m) for m in CORES] + [int(Material.COPPER)]


def _slope(x: F64, y: F64) -> float:
    """Median slope of all pairs of points (Theil 1950, Sen 1968): `scipy.stats.theilslopes` without its
    module, which takes 20 MB of every worker."""
    dx, dy = x[:, None] - x, y[:, None] - y
    right = dx > 0
    return float(np.median(dy[right] / dx[right]))


def interpolate(path: F64, s: F64, at: float) -> F64:
    """Point of a polyline at a given length; carried on straight beyond its ends."""
    if at < s[0]:
        d = path[0] - path[min(3, len(path) - 1)]
        return np.asarray(path[0] + d / max(np.hypot(*d), 1e-9) * (s[0] - at))
    if at > s[-1]:
        d = path[-1] - path[-min(4, len(path))]
        return np.asarray(path[-1] + d / max(np.hypot(*d), 1e-9) * (at - s[-1]))
    return np.array([np.interp(at, s, path[:, 0]), np.interp(at, s, path[:, 1])])


def fit_line(
    axis: F64, offsets: F64, found: F64, half_width: float, floor_sd: float
) -> Line | None:
    """Line through positions found on tracks beside the axis.

    Parameters
    ----------
    axis : (n, 2) float64
    offsets : (k,) float64
        Signed distance of each track from the axis, px.
    found : (k,) float64
        Position along the axis on each track, px; NaN where not found.
    half_width : float
        Half width of the cable: the line's ends are drawn there.
    floor_sd : float
        Least standard uncertainty, px.

    Returns
    -------
    Line or None
        None when fewer than two tracks found anything.

    Notes
    -----
    Slope and intercept by Theil and Sen; spread from the median absolute
    deviation.
    """
    ok = np.isfinite(found)
    if ok.sum() < 2:
        return None
    x, y = offsets[ok], found[ok]
    if ok.sum() >= 3 and np.ptp(x) > 0:
        slope = float(np.clip(_slope(x, y), -0.9, 0.9))
        at = float(np.median(y - slope * x))
    else:
        slope, at = 0.0, float(y.mean())
    residual = y - (at + slope * x)
    sd = max(floor_sd, 1.4826 * float(np.median(np.abs(residual))))
    s = arc_length(axis)
    ends = []
    for off in (-half_width, half_width):
        pos = at + slope * off
        i = int(np.clip(np.searchsorted(s, pos), 0, len(s) - 1))
        ends.append(interpolate(axis, s, pos) + normals(axis)[i] * off)
    return Line(np.asarray(ends), float(at), sd)


def _tracks(materials: MaterialMap, axis: F64, offsets: F64, reach: float = 0.0) -> F64:
    """Probabilities on tracks beside the axis, (n, k, 15), averaged over `reach` px each way."""
    pts = band_points(axis, offsets)
    if reach <= 0:
        return sample_prob(materials, pts)
    n = normals(axis)[:, None, :]
    spread = [sample_prob(materials, pts + n * r) for r in (-reach, 0.0, reach)]
    return np.asarray(np.mean(spread, axis=0))


def sheath_edge(
    materials: MaterialMap, axis: F64, width: float, near: float, search: float
) -> Line | None:
    """Where sheath gives way to cores along the axis, within `search` px of `near`.

    Parameters
    ----------
    materials : MaterialMap
    axis : (n, 2) float64
        Points one map pixel apart, outside to inside.
    width : float
        Width of the cable, px.
    near, search : float
        px along the axis.
    """
    offsets = np.linspace(-0.32, 0.32, 7) * width
    prob = _tracks(materials, axis, offsets)
    sheath = prob[..., Material.SHEATH]
    rest = prob[..., _CORE_IDS].sum(-1) + 0.7 * prob[..., Material.OTHER]
    rest = rest + 0.7 * prob[..., Material.ENCLOSURE]
    score = sheath / (sheath + rest + 0.05)
    s = arc_length(axis)
    found = np.full(len(offsets), np.nan)
    window = np.flatnonzero(np.abs(s - near) <= search)
    if len(window) < 3:
        return None
    a, b = int(window[0]), int(window[-1]) + 1
    for k in range(len(offsets)):
        col = score[a:b, k]
        best, where = -1.0, np.nan
        for i in range(1, len(col)):
            if col[i - 1] >= 0.5 > col[i]:
                lo, hi = max(0, i - 6), min(len(col), i + 6)
                step = float(col[lo:i].mean() - col[i:hi].mean())
                if step > best:
                    best = step
                    f = (col[i - 1] - 0.5) / max(col[i - 1] - col[i], 1e-6)
                    where = s[a + i - 1] + f * (s[a + i] - s[a + i - 1])
        if best > 0.2:
            found[k] = where
    return fit_line(axis, offsets, found, width / 2, 0.35 * materials.step)


_INSIDE = [int(m) for m in (Material.ENCLOSURE, Material.GRIP, Material.TERMINAL)]


def wall_line(materials: MaterialMap, axis: F64, width: float, limit: float) -> Line | None:
    """Outer face of the enclosure's wall: the background gives way to enclosure beside the cable.

    Parameters
    ----------
    materials : MaterialMap
    axis : (n, 2) float64
        Points one map pixel apart, outside to inside.
    width : float
    limit : float
        Only lines before this length along the axis are taken.

    Notes
    -----
    On each track outside the cable's own edges the place is taken at which
    the mean of what lies before it speaks most for background and the mean of
    what lies behind most for enclosure (a two-level step fit by least squares).
    """
    # One side may run along the wall or over clutter, so both sides are used
    # and the fit is robust.
    mags = np.array([0.6, 0.68, 0.78, 0.9, 1.05]) * width
    offsets = np.concatenate([-mags[::-1], mags])
    prob = _tracks(materials, axis, offsets, reach=0.05 * width)
    inside = prob[..., _INSIDE].sum(-1)
    # Cores and cables that pass over a track say nothing of what lies under it.
    weight = inside + prob[..., Material.OTHER]
    inside = inside / np.maximum(weight, 1e-6)
    s = arc_length(axis)
    stop = int(np.searchsorted(s, limit))
    found = np.full(len(offsets), np.nan)
    for k in range(len(offsets)):
        at = _step_at(inside[:stop, k], weight[:stop, k])
        if at is not None:
            found[k] = np.interp(at, np.arange(len(s)), s)
    ok = np.isfinite(found)
    if ok.sum() < 4:
        return None
    line = fit_line(axis, offsets, found, width / 2, 0.5 * materials.step)
    if line is None or line.sd > 0.8 * width:
        return None
    return line


def _step_at(value: F64, weight: F64) -> float | None:
    """Index of the best step from low to high in a weighted 0..1 signal; None when there is none."""
    n = len(value)
    if n < 6:
        return None
    total = np.cumsum(np.r_[0.0, value * weight])
    mass = np.cumsum(np.r_[0.0, weight]) + 1e-9 * np.arange(n + 1)
    i = np.arange(2, n - 2)
    # Only a stretch behind the step counts: inside the box other things follow.
    reach = np.minimum(i + 14, n)
    back = np.maximum(i - 40, 0)
    high_mass = mass[reach] - mass[i]
    high = (total[reach] - total[i]) / np.maximum(high_mass, 1e-6)
    low = 0.5 * total[i] / np.maximum(mass[i], 1e-6)
    low = low + 0.5 * (total[i] - total[back]) / np.maximum(mass[i] - mass[back], 1e-6)
    gain = (high - low) * np.minimum(1.0, high_mass / 3.0)
    best = int(np.argmax(gain))
    if gain[best] < 0.35:
        return None
    j = int(i[best])
    a, b = max(0, j - 4), min(n, j + 5)
    level = 0.5 * (float(high[best]) + float(low[best]))
    fine = crossing_at(np.arange(a, b, dtype=float), value[a:b], level, rising=True)
    return fine if fine is not None else float(j)


def grip_lines(
    materials: MaterialMap, axis: F64, width: float, begin: float, end: float
) -> tuple[Line, Line] | None:
    """Outer and inner edge of the grip: what crosses the cable and hides it.

    Parameters
    ----------
    materials : MaterialMap
    axis : (n, 2) float64
        Points one map pixel apart, outside to inside.
    width : float
    begin, end : float
        Searched stretch, px along the axis.
    """
    offsets = np.linspace(-0.4, 0.4, 9) * width
    prob = _tracks(materials, axis, offsets)
    grip = prob[..., Material.GRIP] + 0.5 * prob[..., Material.STEEL]
    s = arc_length(axis)
    mean = grip.mean(1)
    flags = (mean > 0.42) & (s >= begin) & (s <= end)
    found = [r for r in runs(flags) if s[r[1] - 1] - s[r[0]] > 0.18 * width]
    if not found:
        return None
    a, b = max(found, key=lambda r: float(mean[r[0] : r[1]].sum()))
    outer = np.full(len(offsets), np.nan)
    inner = np.full(len(offsets), np.nan)
    pad = int(0.6 * width / materials.step) + 2
    for k in range(len(offsets)):
        col = grip[:, k]
        mid = (a + b) // 2
        lo, hi = max(0, a - pad), min(len(s), b + pad)
        up = [i for i in range(lo + 1, mid + 1) if col[i] >= 0.45 > col[i - 1]]
        down = [i for i in range(mid, hi - 1) if col[i] >= 0.45 > col[i + 1]]
        if up:
            i = min(up, key=lambda q: abs(q - a))
            f = (0.45 - col[i - 1]) / max(col[i] - col[i - 1], 1e-6)
            outer[k] = s[i - 1] + f * (s[i] - s[i - 1])
        if down:
            i = min(down, key=lambda q: abs(q - b))
            f = (col[i] - 0.45) / max(col[i] - col[i + 1], 1e-6)
            inner[k] = s[i] + f * (s[i + 1] - s[i])
    one = fit_line(axis, offsets, outer, width / 2, 0.4 * materials.step)
    two = fit_line(axis, offsets, inner, width / 2, 0.4 * materials.step)
    if one is None or two is None or two.at <= one.at:
        return None
    return one, two
