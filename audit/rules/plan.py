"""The plan of a room as one SVG: bath, shower, zones, fittings with their states, dimensions.

States are told by shape and word, and colour only repeats them; zones are told
by hatching. Lines and words are in `currentColor`, so that the drawing follows
a page into its dark form and prints in black; nothing is loaded from elsewhere,
and no style sheet is needed.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from html import escape
from typing import Literal

from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from audit.job.facts import Fitting, JobFacts
from audit.job.plausible import plan_of, shape_of
from audit.rules.context import Context
from audit.rules.geometry import XY
from audit.rules.place import RoomGeometry, is_special
from audit.rules.region import Region, find_region
from audit.rules.types import State

Paint = Literal["page", "paper"]

_WIDE = 360.0
_TALL = 470.0
_LEFT, _RIGHT, _TOP, _LOW = 40.0, 14.0, 14.0, 34.0
_TEXT = 12
_WORST = (State.FLAG, State.UNSURE, State.MISSING, State.CLEAR)
_WORDS = {
    State.FLAG: "flag",
    State.UNSURE: "unsure",
    State.MISSING: "missing",
    State.CLEAR: "no fault seen",
}
_INKS = {
    State.FLAG: "#a8114a",
    State.UNSURE: "#5138b4",
    State.MISSING: "#46525e",
    State.CLEAR: "#0b636c",
}
_MOST_LABELS = 40
"""With more fittings than this only those that are not clear are named."""


def room_plans(
    facts: JobFacts,
    answers: Iterable[tuple[str, str, str]],
    own: Region | None = None,
    paint: Paint = "page",
) -> dict[str, str]:
    """Plans of all rooms that have anything to draw.

    Parameters
    ----------
    facts : JobFacts
    answers : iterable of (str, str, str)
        Label of a fitting, topic and state of each of its items. In a bath or shower
        room the state shown is the worst of the topic `zones`, elsewhere of all.
    own : Region, optional
        A region of a house file.
    paint : {'page', 'paper'}
        `page` takes colours from the page it stands in; `paper` holds its own, for PDF.

    Returns
    -------
    dict of str to str
        An `<svg>` element by room name.
    """
    region, known = find_region(facts.job.region, own)
    ctx = Context(facts, region, known, {})
    found: dict[str, list[tuple[str, str]]] = {}
    for label, topic, state in answers:
        found.setdefault(label, []).append((topic, state))
    plans = {}
    for number, room in enumerate(facts.rooms):
        zones = is_special(room) is True
        states = {
            f.label: worst(s for t, s in found.get(f.label, ()) if not zones or t == "zones")
            for f in ctx.in_room[room.name]
        }
        svg = room_plan(ctx.geometry(room), ctx.in_room[room.name], states, f"plan{number}", paint)
        if svg:
            plans[room.name] = svg
    return plans


def worst(states: Iterable[str]) -> State:
    """Worst of some states; `missing` where there is none."""
    found = set(states)
    return next((s for s in _WORST if s.value in found), State.MISSING)


def room_plan(
    geometry: RoomGeometry,
    fittings: Iterable[Fitting],
    states: Mapping[str, State],
    identity: str,
    paint: Paint = "page",
) -> str:
    """Plan of one room.

    Parameters
    ----------
    geometry : RoomGeometry
    fittings : iterable of Fitting
    states : mapping of str to State
        By label.
    identity : str
        Distinguishes this drawing from others on a page: letters and digits.
    paint : {'page', 'paper'}

    Returns
    -------
    str
        An `<svg>` element; empty when nothing of the room has a place.
    """
    drawing = _Drawing(geometry, tuple(fittings), states, identity, paint)
    return drawing.svg() if drawing.worth else ""


@dataclass(frozen=True)
class _Frame:
    """From metres of the plan, y upwards, to units of the drawing, y downwards."""

    x0: float
    y1: float
    scale: float

    def at(self, p: XY) -> XY:
        return (_LEFT + (p[0] - self.x0) * self.scale, _TOP + (self.y1 - p[1]) * self.scale)


class _Drawing:
    """One plan being drawn."""

    def __init__(
        self, geometry: RoomGeometry, fittings: tuple[Fitting, ...],
        states: Mapping[str, State], identity: str, paint: Paint,
    ) -> None:  # fmt: skip
        self.geometry, self.room = geometry, geometry.room
        self.states, self.identity, self.paint = states, identity, paint
        self.placed = [f for f in fittings if f.x_m is not None and f.y_m is not None]
        self.loose = [f for f in fittings if f.x_m is None or f.y_m is None]
        self.walls = plan_of(self.room)
        self.zones = geometry.zone_shapes() if is_special(self.room) else {}
        self.ink = "currentColor" if paint == "page" else "#17212b"
        self.sheet = "var(--sheet, #fff)" if paint == "page" else "#fff"
        box = self._box()
        self.worth = box is not None
        x0, y0, x1, y1 = box or (0.0, 0.0, 1.0, 1.0)
        scale = min((_WIDE - _LEFT - _RIGHT) / (x1 - x0), _TALL / (y1 - y0))
        self.frame = _Frame(x0, y1, scale)
        self.box = (x0, y0, x1, y1)

    def _box(self) -> tuple[float, float, float, float] | None:
        if self.walls is not None:
            x0, y0, x1, y1 = self.walls.bounds
            return (x0, y0, x1, y1)
        shapes = [s for b in self.geometry.basins if (s := shape_of(b)) is not None]
        spots = [s.bounds for s in shapes] + [s.bounds for s in self.zones.values()]
        spots += [
            (f.x_m, f.y_m, f.x_m, f.y_m)
            for f in self.placed
            if f.x_m is not None and f.y_m is not None
        ]
        if not spots:
            return None
        lows, highs = list(zip(*spots, strict=True))[:2], list(zip(*spots, strict=True))[2:]
        return (min(lows[0]) - 0.3, min(lows[1]) - 0.3, max(highs[0]) + 0.3, max(highs[1]) + 0.3)

    # -- parts -----------------------------------------------------------------

    def svg(self) -> str:
        """The whole drawing."""
        floor = _TOP + (self.box[3] - self.box[1]) * self.frame.scale
        body = [*self._zones(), *self._things(), *self._walls(), *self._strings(), *self._lamps()]
        body += self._dimensions(floor)
        legend = list(self._legend(floor + _LOW + 8))
        tall = floor + _LOW + 8 + 23 * len(legend)
        name = escape(f"Plan of {self.room.name}")
        told = escape(" ".join(self._told()))
        i = self.identity
        return (
            f'<svg class="room-plan" xmlns="http://www.w3.org/2000/svg" role="img" '
            f'aria-labelledby="{i}-t {i}-d" viewBox="0 0 {_WIDE:g} {tall:.0f}" width="500" '
            f'font-family="system-ui, sans-serif" font-size="{_TEXT}" fill="{self.ink}">'
            f'<title id="{i}-t">{name}</title><desc id="{i}-d">{told}</desc>'
            f"<defs>{self._patterns()}</defs>{''.join(body)}{''.join(legend)}</svg>"
        )

    def _patterns(self) -> str:
        i, ink = self.identity, self.ink
        one = f'<path d="M0 0l8 8M8 0l-8 8" stroke="{ink}" stroke-width=".7" opacity=".55"/>'
        two = f'<path d="M0 9l9-9" stroke="{ink}" stroke-width=".7" opacity=".5"/>'
        return (
            f'<pattern id="{i}-1" width="8" height="8" patternUnits="userSpaceOnUse">{one}</pattern>'
            f'<pattern id="{i}-2" width="9" height="9" patternUnits="userSpaceOnUse">{two}</pattern>'
        )

    def _ring(self, points: Iterable[tuple[float, ...]]) -> str:
        spots = [self.frame.at((p[0], p[1])) for p in points]
        return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in spots) + "Z"

    def _shape(self, shape: BaseGeometry) -> str:
        if isinstance(shape, Polygon):
            return "".join(self._ring(r.coords) for r in (shape.exterior, *shape.interiors))
        parts = shape.geoms if hasattr(shape, "geoms") else ()
        return "".join(self._shape(p) for p in parts if isinstance(p, Polygon | MultiPolygon))

    def _zones(self) -> Iterator[str]:
        for name, shape in sorted(self.zones.items(), reverse=True):
            dash = ' stroke-dasharray="4 3"' if name == "2" else ""
            yield (
                f'<path d="{self._shape(shape)}" fill="url(#{self.identity}-{name})" '
                f'fill-rule="evenodd" stroke="{self.ink}" stroke-width="1"{dash}/>'
            )

    def _things(self) -> Iterator[str]:
        for kind, basins in (("bath", self.room.baths), ("tray", self.room.trays)):
            for basin in basins:
                shape = shape_of(basin)
                if shape is not None:
                    yield (
                        f'<path d="{self._shape(shape)}" fill="{self.sheet}" fill-opacity=".55" '
                        f'stroke="{self.ink}" stroke-width="2"/>'
                    )
                    x, y = self.frame.at(shape.bounds[:2])
                    yield self._words((x + 6, y - 7), basin.name or kind, "start")
        for outlet in self.room.outlets:
            if outlet.at_m is not None:
                x, y = self.frame.at(outlet.at_m)
                yield (
                    f'<path d="M{x - 5:.1f} {y:.1f}h10M{x:.1f} {y - 5:.1f}v10" stroke="{self.ink}" '
                    f'stroke-width="1.6"/><circle cx="{x:.1f}" cy="{y:.1f}" r="2.4"/>'
                )
        for block in self.geometry.plan.partitions:
            shape = block if self.walls is None else block.intersection(self.walls)
            yield f'<path d="{self._shape(shape)}" stroke="{self.ink}" stroke-width="3"/>'

    def _walls(self) -> Iterator[str]:
        if self.walls is not None:
            yield (
                f'<path d="{self._shape(self.walls)}" fill="none" stroke="{self.ink}" '
                'stroke-width="3.5" stroke-linejoin="round"/>'
            )

    def _strings(self) -> Iterator[str]:
        """The measured way from a fitting to bath or tray, where that is what decides."""
        reach = self.geometry.limits.zone2.n
        for f in self.placed:
            at = (f.x_m or 0.0, f.y_m or 0.0)
            ways = [(t.signed(at), t) for t in self.geometry.bath_targets]
            if not ways:
                continue
            length, target = min(ways, key=lambda w: w[0])
            if not 0 < length <= 1.5 * reach:
                continue
            points = [self.frame.at(p) for p in target.path(at)]
            line = "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in points)
            (ax, ay), (bx, by) = points[-2], points[-1]
            yield (
                f'<path d="{line}" fill="none" stroke="{self.ink}" stroke-width="1.2" '
                f'stroke-dasharray="2 2"/><path d="{_tick((ax, ay), (bx, by))}" '
                f'stroke="{self.ink}" stroke-width="1.4"/>'
            )
            (ax, ay), (bx, by) = max(itertools.pairwise(points), key=lambda leg: math.dist(*leg))
            right = bx < ax
            at = ((ax + bx) / 2 + (-5 if right else 5), (ay + by) / 2 + (-3 if by < ay else 12))
            yield self._words(at, f"{length:.2f} m", "start" if not right else "end")

    def _lamps(self) -> Iterator[str]:
        crowded = len(self.placed) > _MOST_LABELS
        for f in self.placed:
            state = self.states.get(f.label, State.MISSING)
            x, y = self.frame.at((f.x_m or 0.0, f.y_m or 0.0))
            yield self._symbol(x, y, state)
            if crowded and state is State.CLEAR:
                continue
            end = "end" if x > _WIDE - 70 else "start" if x < _LEFT + 40 else "middle"
            shift = 8 if end == "end" else -8 if end == "start" else 0
            yield self._words((x + shift, y - 13), f.label, end, bold=True)
            yield self._words((x + shift, y + 21), _WORDS[state], end, self._colour(state))

    def _colour(self, state: State) -> str:
        own = _INKS[state]
        return f"var(--{state.value}, {own})" if self.paint == "page" else own

    def _symbol(self, x: float, y: float, state: State) -> str:
        colour = self._colour(state)
        back = f'<circle r="10" fill="{self.sheet}" stroke="{colour}" stroke-width="1"/>'
        shapes = {
            State.FLAG: f'<path d="M-4-7v14" stroke="{colour}" stroke-width="2"/>'
            f'<path d="M-3-6.5h9l-3 3 3 3h-9z" fill="{colour}"/>',
            State.UNSURE: f'<path d="M0-7 7 0 0 7-7 0z" fill="none" stroke="{colour}" stroke-width="1.8"/>'
            f'<path d="M0-7V7L-7 0z" fill="{colour}"/>',
            State.MISSING: f'<rect x="-5.5" y="-5.5" width="11" height="11" fill="none" '
            f'stroke="{colour}" stroke-width="1.8" stroke-dasharray="3 2"/>',
            State.CLEAR: f'<circle r="5.5" fill="none" stroke="{colour}" stroke-width="2"/>',
        }
        return f'<g transform="translate({x:.1f} {y:.1f})">{back}{shapes[state]}</g>'

    def _words(
        self, at: XY, text: str, anchor: str = "middle", colour: str = "", *, bold: bool = False
    ) -> str:
        weight = ' font-weight="650"' if bold else ""
        return (
            f'<text x="{at[0]:.1f}" y="{at[1]:.1f}" text-anchor="{anchor}"{weight} '
            f'fill="{colour or self.ink}" stroke="{self.sheet}" stroke-width="3" '
            f'stroke-linejoin="round" paint-order="stroke">{escape(text)}</text>'
        )

    def _dimensions(self, floor: float) -> list[str]:
        x0, y0, x1, y1 = self.box
        left, right = self.frame.at((x0, y0))[0], self.frame.at((x1, y0))[0]
        low, out = floor + 14, _LEFT - 14
        ink = self.ink
        about = "" if self.walls is not None else "about "
        return [
            f'<path d="M{left:.1f} {low:.1f}H{right:.1f}M{left:.1f} {low - 4:.1f}v8M{right:.1f} {low - 4:.1f}v8" '
            f'stroke="{ink}" fill="none"/>',
            self._words(((left + right) / 2, low + 15), f"{about}{x1 - x0:.2f} m"),
            f'<path d="M{out:.1f} {_TOP:.1f}V{floor:.1f}M{out - 4:.1f} {_TOP:.1f}h8M{out - 4:.1f} {floor:.1f}h8" '
            f'stroke="{ink}" fill="none"/>',
            f'<g transform="translate({out - 6:.1f} {(_TOP + floor) / 2:.1f}) rotate(-90)">'
            f"{self._words((0, 0), f'{about}{y1 - y0:.2f} m')}</g>",
        ]

    # -- words -----------------------------------------------------------------

    def _legend(self, y: float) -> Iterator[str]:
        x = _LEFT - 14
        shown = [s for s in _WORST if s in {self.states.get(f.label) for f in self.placed}]
        for state in shown:
            yield self._symbol(x + 10, y - 4, state) + self._words(
                (x + 28, y), _WORDS[state], "start"
            )
            y += 23
        for name in sorted(self.zones):
            yield (
                f'<rect x="{x:.1f}" y="{y - 11:.1f}" width="20" height="13" stroke="{self.ink}" '
                f'fill="url(#{self.identity}-{name})"/>'
                + self._words((x + 28, y), f"zone {name}", "start")
            )
            y += 20
        for text in self._notes():
            yield self._words((x, y), text, "start")
            y += 20

    def _notes(self) -> Iterator[str]:
        if self.zones:
            ceiling = self.room.ceiling_m
            top = (
                f"; ceiling {ceiling:.2f} m"
                if ceiling
                else "; sloping ceiling"
                if self.room.slope
                else ""
            )
            yield f"Zones reach {self.geometry.limit_m:.2f} m up{top}."
            if self.placed:
                yield "State shown: bath and shower checks."
        elif self.placed:
            yield "State shown: worst of all checks."
        if self.walls is None:
            yield "Walls are not declared."
        for start in range(0, len(self.loose[:30]), 6):
            names = ", ".join(f.label for f in self.loose[start : start + 6])
            yield f"{'Without a place' if start == 0 else 'and'}: {names}"
        if len(self.loose) > 30:
            yield f"and {len(self.loose) - 30} more without a place"

    def _told(self) -> Iterator[str]:
        for f in self.placed:
            place = self.geometry.place(f) if is_special(self.room) else None
            state = _WORDS[self.states.get(f.label, State.MISSING)]
            zone = (
                ""
                if place is None or place.zone is None
                else (", outside the zones" if place.zone == "outside" else f", zone {place.zone}")
            )
            yield f"{f.label} at {f.x_m:g}, {f.y_m:g} m{zone}: {state}."
        yield from self._notes()


def _tick(a: XY, b: XY) -> str:
    """A short stroke across the end `b` of the line from `a`."""
    length = math.dist(a, b) or 1.0
    nx, ny = -(b[1] - a[1]) / length * 4, (b[0] - a[0]) / length * 4
    return f"M{b[0] - nx:.1f} {b[1] - ny:.1f}L{b[0] + nx:.1f} {b[1] + ny:.1f}"
