"""What all rules share while one job is evaluated: lookups, values of the region, caches."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property

from scipy.spatial import cKDTree

from audit.job.facts import Circuit, Fitting, JobFacts, Room
from audit.rules.place import Limits, Place, RoomGeometry, is_special
from audit.rules.region import Region
from audit.rules.types import FittingSeen, InputValue, State, Value, Verdict

_LIMITS = (
    "zone-limit-height-m", "zone2-reach-m", "untrayed-reach-m", "zone0-untrayed-height-m",
    "tape-u95-m",
)  # fmt: skip


class Context:
    """One job under evaluation.

    Parameters
    ----------
    facts : JobFacts
    region : Region
        With the house rules' values in it.
    region_known : bool
        False where the base stands in for an unknown region.
    seen : mapping of str to FittingSeen
    """

    def __init__(
        self,
        facts: JobFacts,
        region: Region,
        region_known: bool,
        seen: Mapping[str, FittingSeen],
    ) -> None:
        self.facts = facts
        self.region = region
        self.region_known = region_known
        self.seen = seen
        self.rooms: dict[str, Room] = {r.name: r for r in facts.rooms}
        self.fittings: dict[str, Fitting] = {f.label: f for f in facts.fittings}
        self._geometry: dict[str, RoomGeometry] = {}
        self._places: dict[str, Place | None] = {}

    # -- values --------------------------------------------------------------

    def v(self, value_id: str) -> Value:
        """A value that every region has.

        Raises
        ------
        KeyError
            When it has not: an error of the catalogue, found by its tests.
        """
        return self.region.values[value_id]

    def maybe(self, value_id: str) -> Value | None:
        """A value that only some regions have."""
        return self.region.values.get(value_id)

    @cached_property
    def limits(self) -> Limits:
        """Distances that make zones."""
        return Limits(*(self.v(i) for i in _LIMITS))

    # -- places --------------------------------------------------------------

    def room_of(self, fitting: Fitting) -> Room | None:
        """Its room, or None where none is declared."""
        return self.rooms.get(fitting.room) if fitting.room else None

    def geometry(self, room: Room) -> RoomGeometry:
        """Geometry of a room, built once."""
        if room.name not in self._geometry:
            self._geometry[room.name] = RoomGeometry(room, self.limits)
        return self._geometry[room.name]

    def place(self, fitting: Fitting) -> Place | None:
        """Where it hangs; None where its room is known to hold no bath or shower."""
        if fitting.label not in self._places:
            self._places[fitting.label] = self._place(fitting)
        return self._places[fitting.label]

    def _place(self, fitting: Fitting) -> Place | None:
        room = self.room_of(fitting)
        if room is None:
            return Place(None, None, False, ("its room",))
        special = is_special(room)
        if special is None:
            return Place(None, None, False, (f"whether {room.name} holds a bath or shower",))
        return self.geometry(room).place(fitting) if special else None

    @cached_property
    def in_room(self) -> dict[str, tuple[Fitting, ...]]:
        """Fittings of each room."""
        found: dict[str, list[Fitting]] = {name: [] for name in self.rooms}
        for f in self.facts.fittings:
            if f.room in found:
                found[f.room].append(f)
        return {k: tuple(v) for k, v in found.items()}

    @cached_property
    def nearest_hole(self) -> dict[str, tuple[float, str]]:
        """For each fitting with a position, the nearest other one in its room, in m."""
        found: dict[str, tuple[float, str]] = {}
        for fittings in self.in_room.values():
            placed = [
                (f.label, f.x_m, f.y_m)
                for f in fittings
                if f.x_m is not None and f.y_m is not None and f.on in (None, "ceiling")
            ]
            if len(placed) < 2:
                continue
            distance, index = cKDTree([(x, y) for _, x, y in placed]).query(
                [(x, y) for _, x, y in placed], k=2
            )
            for row, (label, _, _) in enumerate(placed):
                # Two holes at one place: the first neighbour may be the fitting itself or not.
                pick = 1 if int(index[row][0]) == row else 0
                found[label] = (float(distance[row][pick]), placed[int(index[row][pick])][0])
        return found

    # -- circuits ------------------------------------------------------------

    @cached_property
    def _circuits(self) -> tuple[dict[str, Circuit], dict[str, bool], dict[str, Circuit]]:
        """Circuit of each fitting; whether it feeds on; circuits by identity."""
        of: dict[str, Circuit] = {}
        feeds: dict[str, bool] = {}
        by_id = {c.id: c for c in self.facts.circuits}
        for circuit in self.facts.circuits:
            last = ""
            for leg in circuit.legs:
                start = leg.start if leg.start is not None else last
                if start:
                    feeds[start] = True
                feeds.setdefault(leg.to, False)
                if leg.to in self.fittings:
                    of.setdefault(leg.to, circuit)
                last = leg.to
        for f in self.facts.fittings:
            if f.circuit in by_id:
                of.setdefault(f.label, by_id[f.circuit])
        return of, feeds, by_id

    def circuit_of(self, fitting: Fitting) -> Circuit | None:
        """The circuit that feeds it, or None where not declared."""
        return self._circuits[0].get(fitting.label)

    def feeds_on(self, fitting: Fitting) -> bool | None:
        """Whether it feeds a further point: by the chain, else by its number of cables."""
        chain = self._circuits[1].get(fitting.label)
        if chain is not None:
            return chain
        return None if fitting.cables is None else fitting.cables > 1

    @cached_property
    def on_circuit(self) -> dict[str, tuple[Fitting, ...]]:
        """Fittings of each circuit."""
        found: dict[str, list[Fitting]] = {c.id: [] for c in self.facts.circuits}
        for f in self.facts.fittings:
            circuit = self.circuit_of(f)
            if circuit is not None:
                found[circuit.id].append(f)
        return {k: tuple(v) for k, v in found.items()}

    def seen_of(self, fitting: Fitting) -> FittingSeen | None:
        """What its photos showed, or None where it has none."""
        return self.seen.get(fitting.label)


def missing(what: str, inputs: Mapping[str, InputValue] | None = None) -> Verdict:
    """The verdict that something was not supplied."""
    return Verdict(State.MISSING, what, inputs=inputs or {})


def flag(why: str, *uses: Value, **inputs: InputValue) -> Verdict:
    """A flag with the values and facts that it rests on."""
    return Verdict(State.FLAG, why, uses, inputs)


def clear(why: str, *uses: Value, **inputs: InputValue) -> Verdict:
    """Nothing found against it, with the values and facts that it rests on."""
    return Verdict(State.CLEAR, why, uses, inputs)


def unsure(why: str, *uses: Value, **inputs: InputValue) -> Verdict:
    """Not settled either way, with the values and facts that it rests on."""
    return Verdict(State.UNSURE, why, uses, inputs)
