"""A control chart of a fitter's months, with exact limits, and its drawing.

p chart: the share of fittings with a confirmed fault; limits are quantiles of the binomial
distribution. u chart: confirmed faults for each fitting; limits are quantiles of the Poisson
distribution. Both tails hold 0.00135, as three standard deviations do of a normal
distribution (Shewhart's rule, from memory). With few fittings a month the limits are wide,
and the lower one is usually nought: that is what so few can tell.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from markupsafe import Markup, escape
from scipy.stats import binom, norm, poisson

from audit.sampling.history import Month

ChartKind = Literal["p", "u"]
TAIL = float(norm.sf(3))
"""Chance in each tail: 0.00135."""
FEW_MONTHS = 20
"""Below so many months the centre line itself is uncertain (common advice, from memory)."""


@dataclass(frozen=True)
class Point:
    """One month on the chart; shares for `p`, faults for each fitting for `u`.

    Parameters
    ----------
    month : str
    n : int
        Fittings; 0 for a month without a look, which has no value and no limits.
    value, low, high : float or None
    outside : bool
        Whether the value lies outside its limits.
    """

    month: str
    n: int
    value: float | None
    low: float | None
    high: float | None
    outside: bool


@dataclass(frozen=True)
class Chart:
    """A control chart.

    Parameters
    ----------
    kind : {'p', 'u'}
    centre : float or None
        Over all months together; None where nothing was looked at.
    points : tuple of Point
    """

    kind: ChartKind
    centre: float | None
    points: tuple[Point, ...]

    @property
    def outside(self) -> tuple[Point, ...]:
        """Months outside their limits."""
        return tuple(p for p in self.points if p.outside)

    @property
    def few(self) -> bool:
        """Whether there are too few months for the centre line to be trusted."""
        return sum(p.n > 0 for p in self.points) < FEW_MONTHS


def limits(kind: ChartKind, n: int, centre: float) -> tuple[int, int]:
    """Least and most count of a month that lies within the limits.

    Parameters
    ----------
    kind : {'p', 'u'}
    n : int
        Fittings in that month, 1 or more.
    centre : float
        Share of faulty fittings (`p`), or faults for each fitting (`u`).

    Examples
    --------
    >>> limits("p", 20, 0.1)
    (0, 7)
    """
    spread = binom(n, centre) if kind == "p" else poisson(n * centre)
    return int(spread.ppf(TAIL)), int(spread.isf(TAIL))


def chart(months: Sequence[Month], kind: ChartKind = "p") -> Chart:
    """Make the chart of some months."""
    counts = [m.faulty if kind == "p" else m.faults for m in months]
    total = sum(m.fittings for m in months)
    if not total:
        return Chart(kind, None, tuple(Point(m.name, 0, None, None, None, False) for m in months))
    centre = sum(counts) / total
    points = []
    for month, count in zip(months, counts, strict=True):
        n = month.fittings
        if not n:
            points.append(Point(month.name, 0, None, None, None, False))
            continue
        low, high = limits(kind, n, centre)
        outside = not low <= count <= high
        points.append(Point(month.name, n, count / n, low / n, high / n, outside))
    return Chart(kind, centre, tuple(points))


def chart_svg(drawn: Chart, width: int, title: str) -> Markup:
    """Draw a chart as an SVG element; colours come from the page (`currentColor`, classes).

    Parameters
    ----------
    drawn : Chart
    width : int
        In px, at which the texts are to be read: drawn to be shown at this size.
    title : str
        Read out in place of the drawing.
    """
    return _Drawing(drawn, width, title).svg()


class _Drawing:
    """One drawing: where a month and a value lie, and the parts put there."""

    def __init__(self, drawn: Chart, width: int, title: str) -> None:
        self.chart, self.width, self.title = drawn, width, title
        self.height = 250 if width > 500 else 230
        self.left, self.right, self.top, self.bottom = 46, 26, 14, 44
        known = [v for p in drawn.points for v in (p.value, p.high) if v is not None]
        top = max([*known, drawn.centre or 0.0, 0.05])
        self.most = min(1.0, top * 1.08) if drawn.kind == "p" else top * 1.08

    def _x(self, index: int) -> float:
        inner = self.width - self.left - self.right
        return self.left + inner * (index + 0.5) / max(1, len(self.chart.points))

    def _y(self, value: float) -> float:
        inner = self.height - self.top - self.bottom
        return self.top + inner * (1 - value / self.most)

    def svg(self) -> Markup:
        parts = [*self._axes(), *self._limits(), *self._centre(), *self._values()]
        return Markup(
            '<svg class="chart" role="img" viewBox="0 0 {w} {h}" width="{w}" height="{h}" '
            'aria-label="{t}" xmlns="http://www.w3.org/2000/svg">{parts}</svg>'
        ).format(w=self.width, h=self.height, t=self.title, parts=Markup("").join(parts))

    def _axes(self) -> list[Markup]:
        parts = []
        for step in _ticks(self.most):
            y = self._y(step)
            label = f"{step * 100:.0f} %" if self.chart.kind == "p" else f"{step:g}"
            parts.append(_line("grid", self.left, y, self.width - self.right, y))
            parts.append(_text(self.left - 6, y + 4, label, "end"))
        points = self.chart.points
        inner = self.width - self.left - self.right
        every = max(1, -(-len(points) * 58 // max(1, inner)))
        for index, point in enumerate(points):
            if index % every == 0:
                parts.append(_text(self._x(index), self.height - 24, point.month, "middle"))
                n = f"n {point.n}" if point.n else "none"
                parts.append(_text(self._x(index), self.height - 8, n, "middle"))
        return parts

    def _limits(self) -> list[Markup]:
        """A step for each month, since each has its own number of fittings."""
        half = (self.width - self.left - self.right) / max(1, len(self.chart.points)) / 2
        parts = []
        for index, point in enumerate(self.chart.points):
            for value in (point.low, point.high):
                if value is None or value == 0 or (self.chart.kind == "p" and value == 1):
                    continue  # nothing can lie beyond nought or all: that is no limit
                y, x = self._y(min(value, self.most)), self._x(index)
                parts.append(_line("limit", x - half, y, x + half, y))
        return parts

    def _centre(self) -> list[Markup]:
        if self.chart.centre is None:
            return []
        y = self._y(self.chart.centre)
        return [_line("centre", self.left, y, self.width - self.right, y)]

    def _values(self) -> list[Markup]:
        parts: list[Markup] = []
        last: tuple[float, float] | None = None
        for index, point in enumerate(self.chart.points):
            if point.value is None:
                last = None  # a month without a look breaks the line
                continue
            at = (self._x(index), self._y(point.value))
            if last is not None:
                parts.append(_line("run", *last, *at))
            last = at
        for index, point in enumerate(self.chart.points):
            if point.value is None:
                continue
            x, y = self._x(index), self._y(point.value)
            if point.outside:
                parts.append(
                    Markup('<circle class="ring" cx="{:.1f}" cy="{:.1f}" r="9"/>').format(x, y)
                )
            parts.append(Markup('<circle class="dot" cx="{:.1f}" cy="{:.1f}" r="4"/>').format(x, y))
        return parts


def _ticks(most: float) -> list[float]:
    """Four to six round steps from nought up."""
    step = next(
        (s * 10.0**e for e in range(-3, 6) for s in (1, 2, 5) if most / (s * 10.0**e) <= 5.5), most
    )
    return [round(n * step, 6) for n in range(int(most / step + 1e-9) + 1)]


def _line(kind: str, x1: float, y1: float, x2: float, y2: float) -> Markup:
    return Markup('<line class="{}" x1="{:.1f}" y1="{:.1f}" x2="{:.1f}" y2="{:.1f}"/>').format(
        kind, x1, y1, x2, y2
    )


def _text(x: float, y: float, text: str, anchor: str) -> Markup:
    return Markup('<text x="{:.1f}" y="{:.1f}" text-anchor="{}">{}</text>').format(
        x, y, anchor, escape(text)
    )
