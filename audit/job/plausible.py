"""What must hold across the tables of a job: places that exist, things that lie where they can.

Kept apart from the models because a model knows its own table only. Each
problem carries the path of the field it is about (`("room", 0, "bath", 1,
"at_m")`, the aliases of the TOML), from which the reader of the job finds file
and row. Nothing is corrected here: a person is asked.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass

from shapely.geometry import Point, Polygon, box

from audit.job.facts import Bath, Fitting, JobFacts, Room

Path = tuple[str | int, ...]

OVERLAP_M = 0.03
"""How far a shape may reach out of its room before it is asked about: plaster and tape, in m."""

TAPE_M = 0.15
"""How far tape and coordinates may differ before it is asked about, in m."""


@dataclass(frozen=True, slots=True)
class FactProblem:
    """One thing that can't be as declared.

    Parameters
    ----------
    path : tuple of str and int
        Where, in TOML names and 0-based indices.
    what : str
        One sentence without a full stop.
    next_step : str
        What to do next.
    """

    path: Path
    what: str
    next_step: str


def shape_of(bath: Bath) -> Polygon | None:
    """Plan of a bath or tray in metres, or None where it has no position."""
    if bath.outline_m is not None:
        return Polygon(bath.outline_m)
    if bath.at_m is not None and bath.size_m is not None:
        (x, y), (dx, dy) = bath.at_m, bath.size_m
        return box(x, y, x + dx, y + dy)
    return None


def plan_of(room: Room) -> Polygon | None:
    """Plan of a room in metres, or None where it is not given."""
    if room.outline_m is not None:
        return Polygon(room.outline_m)
    if room.size_m is not None:
        return box(0.0, 0.0, *room.size_m)
    return None


def problems(facts: JobFacts) -> list[FactProblem]:
    """All contradictions between tables, in the order of the tables."""
    found = [*_twice("room", [r.name for r in facts.rooms], "name")]
    found += _twice("fitting", [x.label for x in facts.fittings], "label")
    found += _twice("circuit", [c.id for c in facts.circuits], "id")
    for index, room in enumerate(facts.rooms):
        found += _room(index, room)
    found += _fittings(facts)
    found += _circuits(facts)
    found += _declared_twice(facts)
    return found


def _declared_twice(facts: JobFacts) -> Iterator[FactProblem]:
    seen: set[tuple[str, str | None]] = set()
    for index, said in enumerate(facts.declarations):
        of = (said.fitting, said.check)
        if of in seen:
            what = f"check {said.check!r}" if said.check else "every check"
            yield FactProblem(
                ("declaration", index, "fitting"),
                f"{what} of fitting {said.fitting!r} is declared twice",
                "leave one of the two",
            )
        seen.add(of)


def _twice(table: str, names: list[str], field: str) -> Iterator[FactProblem]:
    counts = Counter(names)
    seen: set[str] = set()
    for index, name in enumerate(names):
        if counts[name] > 1 and name in seen:
            yield FactProblem(
                (table, index, field), f"{table} {name!r} is given twice", "give each its own name"
            )
        seen.add(name)


def _farthest(plan: Polygon, shape: Polygon) -> float:
    """How far the corners of `shape` reach out of `plan`, in metres."""
    return max(float(plan.distance(Point(p))) for p in shape.exterior.coords)


def _room(index: int, room: Room) -> Iterator[FactProblem]:
    plan = plan_of(room)
    base: Path = ("room", index)
    placed = [("bath", i, b) for i, b in enumerate(room.baths)]
    placed += [("tray", i, b) for i, b in enumerate(room.trays)]
    if plan is not None:
        for kind, i, bath in placed:
            shape = shape_of(bath)
            if shape is not None and _farthest(plan, shape) > OVERLAP_M:
                field = "outline_m" if bath.outline_m is not None else "at_m"
                yield FactProblem(
                    (*base, kind, i, field),
                    f"this {kind} reaches {_farthest(plan, shape):.2f} m out of room {room.name!r}",
                    "check its position, its size and the room's outline",
                )
        for i, outlet in enumerate(room.outlets):
            if outlet.at_m is not None and plan.distance(Point(outlet.at_m)) > OVERLAP_M:
                yield FactProblem(
                    (*base, "outlet", i, "at_m"),
                    f"this outlet lies outside room {room.name!r}",
                    "check its position",
                )
    shapes = [(k, i, s) for k, i, b in placed if (s := shape_of(b)) is not None]
    for n, (kind, i, shape) in enumerate(shapes):
        for other, j, second in shapes[:n]:
            if shape.intersection(second).area > 0.01:
                yield FactProblem(
                    (*base, kind, i),
                    f"this {kind} overlaps {other} {j + 1} in the plan",
                    "check their positions",
                )
    highest = room.ceiling_m or (room.slope.high_m if room.slope else None)
    for i, outlet in enumerate(room.outlets):
        if highest and outlet.height_m is not None and outlet.height_m > highest:
            yield FactProblem(
                (*base, "outlet", i, "height_m"),
                f"this outlet is {outlet.height_m:g} m up but the ceiling is at {highest:g} m",
                "check both heights",
            )


def _fittings(facts: JobFacts) -> Iterator[FactProblem]:
    rooms = {r.name: r for r in facts.rooms}
    plans = {r.name: plan_of(r) for r in facts.rooms}
    circuits = {c.id for c in facts.circuits}
    for index, item in enumerate(facts.fittings):
        base: Path = ("fitting", index)
        if item.room is not None and item.room not in rooms:
            yield FactProblem(
                (*base, "room"), f"there is no room {item.room!r}", _known("rooms", rooms)
            )
            continue
        if item.circuit is not None and item.circuit not in circuits:
            yield FactProblem(
                (*base, "circuit"),
                f"there is no circuit {item.circuit!r}",
                _known("circuits", circuits),
            )
        if (item.x_m is None) != (item.y_m is None):
            yield FactProblem(
                (*base, "x_m" if item.y_m is None else "y_m"),
                "x_m and y_m go together",
                "give both or neither",
            )
        room = rooms.get(item.room) if item.room else None
        if room is not None:
            yield from _placed(base, item, room, plans[room.name])


def _known(what: str, names: dict[str, Room] | set[str]) -> str:
    shown = ", ".join(sorted(names)[:8])
    return f"{what} of this job: {shown}" if shown else f"this job has no {what} yet"


def _placed(base: Path, item: Fitting, room: Room, plan: Polygon | None) -> Iterator[FactProblem]:
    if plan is not None and item.x_m is not None and item.y_m is not None:
        away = float(plan.distance(Point(item.x_m, item.y_m)))
        if away > OVERLAP_M:
            yield FactProblem(
                (*base, "x_m"),
                f"({item.x_m:g}, {item.y_m:g}) lies {away:.2f} m outside room {room.name!r}",
                "check x_m, y_m and the room's outline",
            )
    highest = room.ceiling_m or (room.slope.high_m if room.slope else None)
    if highest and item.height_m is not None and item.height_m > highest + OVERLAP_M:
        yield FactProblem(
            (*base, "height_m"),
            f"{item.height_m:g} m is above the ceiling of room {room.name!r}, {highest:g} m",
            "check both heights",
        )
    yield from _disagree(base, item, room)
    if item.over_bath and (item.from_bath_m or 0) > 0:
        yield FactProblem(
            (*base, "from_bath_m"),
            f"a fitting above the bath is 0 m from it, not {item.from_bath_m:g} m",
            "say over_bath = false, or from_bath_m = 0",
        )


def _disagree(base: Path, item: Fitting, room: Room) -> Iterator[FactProblem]:
    """Tape and coordinates that tell different distances to the bath."""
    basins = [*room.baths, *room.trays]
    shapes = [s for b in basins if (s := shape_of(b)) is not None]
    if item.x_m is None or item.y_m is None or not shapes or len(shapes) < len(basins):
        return
    straight = min(float(s.distance(Point(item.x_m, item.y_m))) for s in shapes)
    if item.over_bath and straight > TAPE_M:
        yield FactProblem(
            (*base, "over_bath"),
            f"said to be over the bath, but x_m, y_m lie {straight:.2f} m from it",
            "correct one of them",
        )
    told = item.from_bath_m
    # Round a partition the tape is longer than the straight line, never shorter.
    if told is not None and (
        told < straight - TAPE_M or (not room.partitions and told > straight + TAPE_M)
    ):
        yield FactProblem(
            (*base, "from_bath_m"),
            f"{told:g} m by tape, but x_m, y_m lie {straight:.2f} m from the bath",
            "correct one of them",
        )


def _circuits(facts: JobFacts) -> Iterator[FactProblem]:
    claimed: dict[str, str] = {}
    labels = {x.label for x in facts.fittings}
    for index, circuit in enumerate(facts.circuits):
        ends: set[str] = set()
        for i, leg in enumerate(circuit.legs):
            path: Path = ("circuit", index, "leg", i, "to")
            if leg.to in ends:
                yield FactProblem(
                    path,
                    f"two legs of circuit {circuit.id!r} lead to {leg.to!r}",
                    "a chain reaches each point once",
                )
            if leg.start is not None and leg.start not in ends:
                yield FactProblem(
                    ("circuit", index, "leg", i, "from"),
                    f"no earlier leg of circuit {circuit.id!r} leads to {leg.start!r}",
                    "give the legs in order from the board",
                )
            ends.add(leg.to)
            if leg.to in labels and claimed.setdefault(leg.to, circuit.id) != circuit.id:
                yield FactProblem(
                    path,
                    f"{leg.to!r} is also on circuit {claimed[leg.to]!r}",
                    "one fitting is fed by one circuit",
                )
    for index, item in enumerate(facts.fittings):
        if item.circuit and claimed.get(item.label, item.circuit) != item.circuit:
            yield FactProblem(
                ("fitting", index, "circuit"),
                f"says circuit {item.circuit!r}, but a leg of {claimed[item.label]!r} leads to it",
                "correct one of them",
            )
