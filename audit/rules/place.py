"""Where a fitting hangs in a bath or shower room: its zone, what decided it, how close it is.

IEC 60364-7-701 and BS 7671 section 701. The zone is found three times: as
measured, and with every distance moved by its uncertainty inwards and outwards.
Where these differ the answer is unsure and the stricter zone is applied.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

import shapely
from shapely.geometry import LineString, Point
from shapely.geometry.base import BaseGeometry

from audit.job.facts import Bath, Fitting, Room
from audit.job.plausible import plan_of, shape_of
from audit.rules.geometry import Plan, Target, partition_shape, slope_height
from audit.rules.types import Value

ZoneName = Literal["0", "1", "2", "outside"]
ORDER: Mapping[str, int] = {"0": 3, "1": 2, "2": 1, "outside": 0}
BATHING = frozenset({"bathroom", "shower room", "wet room"})
_RIM_M = 0.6
"""Height below which a fitting in the plan of a bath may lie in the water, rim unknown."""


@dataclass(frozen=True, slots=True)
class Limits:
    """The distances that make zones, in m."""

    height: Value
    zone2: Value
    untrayed: Value
    zone0_height: Value
    tape_u95: Value

    @property
    def used(self) -> tuple[Value, ...]:
        """Those that come from the standard."""
        return (self.height, self.zone2, self.untrayed)


@dataclass(frozen=True, slots=True)
class Place:
    """Answer for one fitting.

    Parameters
    ----------
    zone : {'0', '1', '2', 'outside'} or None
        The zone applied: the stricter one within the uncertainty; None when unknown.
    as_measured : {'0', '1', '2', 'outside'} or None
        The zone by the distances as they stand.
    sure : bool
        Whether the uncertainty leaves one zone only.
    lacking : tuple of str
        What is not known; non-empty exactly when `zone` is None.
    bath_m, outlet_m, height_m : float or None
        Plan distance to bath or tray, to an outlet without a tray, height.
    limit_m : float or None
        Height to which zones 1 and 2 reach here.
    u95_m : float
        Expanded uncertainty of the distances.
    margin_m : float or None
        Distance to the nearest boundary that would change the zone.
    why : str
        What decided.
    """

    zone: ZoneName | None
    as_measured: ZoneName | None
    sure: bool
    lacking: tuple[str, ...] = ()
    bath_m: float | None = None
    outlet_m: float | None = None
    height_m: float | None = None
    limit_m: float | None = None
    u95_m: float = 0.0
    margin_m: float | None = None
    why: str = ""


def is_special(room: Room) -> bool | None:
    """Whether a room holds a bath or shower; None when that is not known."""
    if room.baths or room.trays or room.outlets or room.bath_or_shower:
        return True
    if room.bath_or_shower is False:
        return False
    if room.kind is None or room.kind == "other":
        return None
    return room.kind in BATHING


class RoomGeometry:
    """Geometry of one special location, worked out once for all its fittings.

    Parameters
    ----------
    room : Room
    limits : Limits
    """

    def __init__(self, room: Room, limits: Limits) -> None:
        self.room = room
        self.limits = limits
        walls = plan_of(room)
        fixed = [p for p in room.partitions if p.fixed and self._full(p.height_m)]
        lines = [LineString(p.line_m) for p in fixed]
        shapes = tuple(
            partition_shape(
                p.line_m,
                p.thickness_m,
                [*([walls.exterior] if walls else []), *lines[:i], *lines[i + 1 :]],
            )
            for i, p in enumerate(fixed)
        )
        self.plan = Plan(walls, shapes)
        self.basins: list[Bath] = [*room.baths, *room.trays]
        placed = [s for b in self.basins if (s := shape_of(b)) is not None]
        self.bath_targets = tuple(Target(self.plan, s) for s in placed)
        self.baths_placed = len(placed) == len(self.basins)
        untrayed = [o for o in room.outlets if o.fixed and o.over == "none"]
        self.has_untrayed = bool(untrayed)
        self.outlet_targets = tuple(
            Target(self.plan, Point(o.at_m)) for o in untrayed if o.at_m is not None
        )
        self.outlets_placed = len(self.outlet_targets) == len(untrayed)
        self.over_unknown = any(o.fixed and o.over is None for o in room.outlets)

    def _full(self, top_m: float | None) -> bool:
        # A partition that ends below the zones' own height does not close them off above it.
        ceiling = self.room.ceiling_m or (self.room.slope.high_m if self.room.slope else None)
        reach = max(self.limits.height.n, self._highest_outlet() or 0.0)
        needed = reach if ceiling is None else min(ceiling, reach)
        return top_m is None or top_m >= needed - 1e-9

    def _highest_outlet(self) -> float | None:
        heights = [o.height_m for o in self.room.outlets if o.fixed and o.height_m is not None]
        return max(heights, default=None)

    @property
    def limit_m(self) -> float:
        """Height to which zones 1 and 2 reach: the standard's or the highest fixed outlet."""
        return max(self.limits.height.n, self._highest_outlet() or 0.0)

    @property
    def outlet_height_unknown(self) -> bool:
        """Whether a fixed outlet might raise the zones by a height nobody gave."""
        return any(o.fixed and o.height_m is None for o in self.room.outlets)

    def ceiling_at(self, fitting: Fitting) -> float | None:
        """Height of the ceiling over a fitting, in m."""
        if self.room.slope is None:
            return self.room.ceiling_m
        if fitting.x_m is None or fitting.y_m is None:
            return None
        s = self.room.slope
        return slope_height(s.low_m, s.high_m, s.low_at_m, s.high_at_m, (fitting.x_m, fitting.y_m))

    # -- distances -----------------------------------------------------------

    def _height(self, fitting: Fitting) -> float | None:
        if fitting.height_m is not None:
            return fitting.height_m
        return self.ceiling_at(fitting) if fitting.on in (None, "ceiling") else None

    def _bath_m(self, fitting: Fitting) -> float | None:
        """Plan distance to the nearest bath or tray, negative inside it.

        Infinity where the room has none; minus infinity where a person says that it is
        over the bath, which no tape has to settle.
        """
        if fitting.over_bath:
            return -math.inf
        if fitting.from_bath_m is not None:
            return fitting.from_bath_m
        if not self.basins:
            # Outlets that are said to be over nothing leave no bath to be near to.
            return math.inf if self.has_untrayed and not self.over_unknown else None
        if fitting.x_m is None or fitting.y_m is None or not self.baths_placed:
            return None
        at = (fitting.x_m, fitting.y_m)
        return min(t.signed(at) for t in self.bath_targets)

    def _outlet_m(self, fitting: Fitting) -> float | None:
        if not self.has_untrayed and not self.over_unknown:
            return math.inf
        if fitting.from_outlet_m is not None:
            return fitting.from_outlet_m
        if self.over_unknown or fitting.x_m is None or fitting.y_m is None:
            return None
        if not self.outlets_placed:
            return None
        at = (fitting.x_m, fitting.y_m)
        return min(t.distance(at) for t in self.outlet_targets)

    def _u95(self, fitting: Fitting) -> tuple[float, float]:
        """Expanded uncertainty of plan distances and of heights, in m."""
        tape = fitting.tape_u95_m
        if tape is None:
            tape = self.room.tape_u95_m
        if tape is None:
            tape = self.limits.tape_u95.n
        taped = bool(fitting.over_bath) or fitting.from_bath_m is not None
        # Two measured positions, the fitting's and the bath's, stand behind a computed distance.
        return (tape if taped else tape * math.sqrt(2)), tape

    # -- the zone ------------------------------------------------------------

    def place(self, fitting: Fitting) -> Place:
        """Zone of one fitting."""
        if fitting.on == "under bath":
            return self._under()
        bath, outlet, height = self._bath_m(fitting), self._outlet_m(fitting), self._height(fitting)
        u_plan, u_height = self._u95(fitting)
        lacking = self._lacking(fitting, bath, outlet, height, u_height)
        if lacking:
            return Place(None, None, False, lacking, bath, outlet, height, self.limit_m, u_plan)
        assert height is not None
        b, o = math.inf if bath is None else bath, math.inf if outlet is None else outlet
        zones = [
            self._zone(fitting, b + s * u_plan, o + s * u_plan, height + s * u_height)
            for s in (-1, 0, 1)
        ]
        strict = max(zones, key=lambda z: ORDER[z])
        if self.outlet_height_unknown and height > self.limit_m:
            strict = self._zone(fitting, b - u_plan, o - u_plan, self.limit_m)
        guessed = strict == "0" and b <= 0 and any(x.rim_m is None for x in self.basins)
        sure = len({*zones, strict}) == 1 and not guessed
        return Place(
            strict,
            zones[1],
            sure,
            (),
            _finite(b),
            _finite(o),
            height,
            self.limit_m,
            u_plan,
            self._margin(b, o, height),
            self._why(fitting, strict, b, o, height),
        )

    def _under(self) -> Place:
        known = [b.under_by_tool_only for b in self.basins]
        if not known or any(k is None for k in known):
            return Place(
                None, None, False, ("whether the space under the bath opens only with a tool",)
            )
        zone: ZoneName = "outside" if all(known) else "1"
        how = "only with a tool" if zone == "outside" else "without a tool"
        return Place(zone, zone, True, why=f"under the bath, which is reached {how}")

    def _lacking(
        self, fitting: Fitting, bath: float | None, outlet: float | None,
        height: float | None, u_height: float,
    ) -> tuple[str, ...]:  # fmt: skip
        if height is None:
            return ("height of the fitting or of the ceiling",)
        if height - u_height > self.limit_m and not self.outlet_height_unknown:
            return ()  # above all zones, wherever it is in plan
        found = []
        if not self.basins and not self.room.outlets and bath is None:
            return ("the bath and shower of this room",)
        if bath is None and not (outlet is not None and outlet <= self.limits.untrayed.n):
            found.append("its distance from bath or tray")
        if outlet is None and not (bath is not None and bath <= 0.0):
            found.append("its distance from the shower outlet, and what is under that")
        return tuple(found)

    def _zone(self, fitting: Fitting, bath: float, outlet: float, height: float) -> ZoneName:
        lim = self.limits
        inside_bath = bath <= 1e-9
        if inside_bath and fitting.on == "wall" and height < self._rim():
            return "0"
        untrayed = outlet <= lim.untrayed.n + 1e-9
        if untrayed and height <= lim.zone0_height.n:
            return "0"
        if height > self.limit_m + 1e-9:
            return "outside"
        if inside_bath or untrayed:
            return "1"
        return "2" if bath <= lim.zone2.n + 1e-9 else "outside"

    def _rim(self) -> float:
        return max((b.rim_m if b.rim_m is not None else _RIM_M for b in self.basins), default=0.0)

    def _margin(self, bath: float, outlet: float, height: float) -> float | None:
        """Least move, in plan or in height, that would change the zone."""
        reach, untrayed = self.limits.zone2.n, self.limits.untrayed.n
        up = abs(height - self.limit_m)
        edges = [abs(bath - reach), abs(outlet - untrayed)]
        inside = bath <= reach or outlet <= untrayed
        if inside and height <= self.limit_m:
            gap = min(up, abs(bath), *edges)
        elif inside:
            gap = up
        elif height <= self.limit_m:
            gap = min(edges)
        else:
            gap = max(up, min(edges))
        return gap if math.isfinite(gap) else None

    def _why(self, f: Fitting, zone: ZoneName, bath: float, outlet: float, height: float) -> str:
        parts = []
        if bath <= 0:
            parts.append("over the bath or tray")
        elif math.isfinite(bath):
            parts.append(f"{bath:.2f} m from bath or tray")
        if zone == "0" and bath <= 0 and any(x.rim_m is None for x in self.basins):
            parts.append("the rim's height is not given")
        if math.isfinite(outlet):
            parts.append(f"{outlet:.2f} m from the outlet without a tray")
        parts.append(f"{height:.2f} m up where zones reach {self.limit_m:.2f} m")
        return ", ".join(parts)

    # -- for the plan drawing ------------------------------------------------

    def zone_shapes(self) -> dict[str, BaseGeometry]:
        """Plan of zones 1 and 2 in m, for drawing; zone 2 without what zone 1 takes."""
        one = [t.shape for t in self.bath_targets]
        one += [t.reach(self.limits.untrayed.n) for t in self.outlet_targets]
        two = [t.reach(self.limits.zone2.n) for t in self.bath_targets]
        first, second = shapely.union_all(one), shapely.union_all(two)
        shapes = {"1": first, "2": second.difference(first)}
        return {k: s for k, s in shapes.items() if not s.is_empty}


def _finite(x: float) -> float | None:
    return x if math.isfinite(x) else None
