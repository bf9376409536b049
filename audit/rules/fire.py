"""Fire: first whether this ceiling must resist it and for how long, then the fitting."""

from __future__ import annotations

from dataclasses import dataclass

from audit.job.facts import Building, Fitting, JobFacts, Room
from audit.rules.context import Context, clear, flag, missing, unsure
from audit.rules.types import State, Value, Verdict, Weight

HABITABLE = frozenset({"living room", "dining room", "bedroom", "study"})
_ROOF = frozenset({"loft", "pitched roof", "flat roof", "terrace"})


@dataclass(frozen=True, slots=True)
class Need:
    """Minutes asked of one ceiling.

    Parameters
    ----------
    minutes : int or None
        None when unknown.
    sure : bool
        False when a lesser period may do, or none may be asked at all.
    least : int or None
        The lesser period that may do.
    why : str
    uses : tuple of Value
    """

    minutes: int | None
    sure: bool
    why: str
    uses: tuple[Value, ...] = ()
    least: int | None = None


def needed(ctx: Context, room: Room) -> Need:
    """Period of fire resistance that the region's guidance asks of the floor over a room."""
    if room.fire_needed_min is not None:
        return Need(
            room.fire_needed_min, True,
            f"{room.fire_needed_min} minutes are asked for by the designer or building control",
        )  # fmt: skip
    lacking = _lacking(ctx, room)
    if lacking:
        return Need(None, False, lacking)
    building, above = ctx.facts.building, room.above
    if room.separates_dwellings or above == "other dwelling":
        return _separating(ctx, building)
    if room.kind == "garage" and above not in _ROOF:
        return _one(ctx, "fire-garage-min", "between a garage and the house", sure=True)
    if above in _ROOF:
        return _under_roof(ctx, building, above)
    if building.use == "house":
        return _house(ctx, building)
    return _by_height(ctx, building, "within a dwelling on several floors")


def _lacking(ctx: Context, room: Room) -> str:
    building = ctx.facts.building
    if ctx.maybe("fire-low-min") is None:
        return (
            f"the region {ctx.region.name} has no periods of fire resistance in this catalogue: "
            "the designer or building control must say"
        )
    if room.above is None:
        return f"what lies above {room.name} is not said"
    if building.use is None:
        return "what the building is used for is not said"
    if building.use == "other":
        return "for this use of the building the designer or building control must say"
    if building.garage_below and room.kind is None:
        return f"whether {room.name} is the garage is not said"
    parted = room.separates_dwellings is not None or room.above == "other dwelling"
    if building.use in ("flats", "maisonette") and not parted:
        return f"whether the ceiling of {room.name} parts two dwellings is not said"
    return ""


def _one(ctx: Context, value_id: str, told: str, *, sure: bool, least: int | None = None) -> Need:
    value = ctx.v(value_id)
    return Need(int(value.n), sure, f"{value.n:g} minutes {told}", (value,), least)


def _by_height(ctx: Context, building: Building, told: str, least: int | None = None) -> Need:
    top, low = building.top_floor_height_m, ctx.v("fire-low-top-floor-m")
    if top is None:
        return Need(None, False, "the height of the top storey's floor is not given")
    which = "fire-low-min" if top <= low.n else "fire-high-min"
    need = _one(ctx, which, f"{told}, top floor {top:g} m up", sure=least is None, least=least)
    return Need(need.minutes, need.sure, need.why, (*need.uses, low), need.least)


def _separating(ctx: Context, building: Building) -> Need:
    top, low = building.top_floor_height_m, ctx.v("fire-low-top-floor-m")
    if top is None or top > low.n:
        return _by_height(ctx, building, "between two dwellings")
    # For low blocks 30 minutes may do; that is from memory, so the longer period is applied.
    return _one(
        ctx, "fire-high-min", "between two dwellings; in a low building less may do",
        sure=False, least=int(ctx.v("fire-low-min").n),
    )  # fmt: skip


def _under_roof(ctx: Context, building: Building, above: str | None) -> Need:
    usual = above in ("loft", "pitched roof") and building.use == "house"
    return _one(
        ctx, "fire-loft-min",
        f"under a {above} of a {building.use}" + ("" if usual else ", which wants asking"),
        sure=usual,
    )  # fmt: skip


def _house(ctx: Context, building: Building) -> Need:
    storeys, top = building.storeys, building.top_floor_height_m
    if storeys is None:
        return Need(None, False, "the number of storeys is not given")
    if storeys == 1 and not building.basement:
        return Need(None, False, "one storey is declared, but a room above it")
    if storeys == 2 and (top is None or top <= ctx.v("fire-low-top-floor-m").n):
        return _one(ctx, "fire-two-storey-min", "in a two-storey house", sure=True)
    high = top is not None and top > ctx.v("fire-low-top-floor-m").n
    # That a three-storey house may take 30 is from memory: 60 is applied, unsure.
    least = int(ctx.v("fire-low-min").n) if storeys == 3 and high else None
    return _by_height(ctx, building, f"in a house of {storeys} storeys", least)


def fire_needed(ctx: Context, room: Room) -> Verdict | None:
    """Whether the floor above must resist fire, and how long."""
    if not ctx.in_room[room.name] and room.fire_needed_min is None:
        return None
    need = needed(ctx, room)
    building = ctx.facts.building
    inputs = {
        "above": room.above, "use": building.use, "storeys": building.storeys,
        "top_floor_height_m": building.top_floor_height_m,
        "separates_dwellings": room.separates_dwellings, "declared_min": room.fire_needed_min,
    }  # fmt: skip
    if need.minutes is None:
        return missing(f"How long the ceiling of {room.name} must resist fire: {need.why}.", inputs)
    state = State.CLEAR if need.sure else State.UNSURE
    applied = "" if need.sure else f" {need.minutes} is applied until someone says otherwise."
    return Verdict(
        state,
        f"{room.name}: {need.why}.{applied}",
        need.uses,
        inputs,
        float(need.minutes),
        None,
        "min",
    )


def _need_of(ctx: Context, f: Fitting) -> Need | None:
    """Need of its ceiling; None where it hangs on no ceiling."""
    if f.on in ("wall", "under bath"):
        return None
    room = ctx.room_of(f)
    return Need(None, False, "its room is not declared") if room is None else needed(ctx, room)


def fire_rating(ctx: Context, f: Fitting) -> Verdict | None:
    """Declared minutes against those needed."""
    need = _need_of(ctx, f)
    if need is None or (need.minutes == 0 and need.sure):
        return None
    if need.minutes is None:
        return missing(f"What it must resist is not known: {need.why}.", {"fire_min": f.fire_min})
    if f.fire_min is None:
        return missing(f"{need.why}; the fitting's fire resistance is not declared.")
    inputs = {"fire_min": f.fire_min, "needed_min": need.minutes, "least_min": need.least}
    text = f"{f.fire_min} minutes declared; {need.why}."
    if f.fire_min >= need.minutes and need.minutes > 0:
        return Verdict(
            State.CLEAR, text + " The whole floor is rated, so the tested construction counts too.",
            need.uses, inputs, float(f.fire_min), None, "min",
        )  # fmt: skip
    if not need.sure and f.fire_min >= (need.least or 0):
        return Verdict(State.UNSURE, text, need.uses, inputs, float(f.fire_min), None, "min")
    room = ctx.room_of(f)
    light = room is not None and room.floor == "solid joist" and need.minutes <= 30
    if light:
        text += " Tests on solid joists told of no early failure at 30 minutes, so it is no stop."
    return Verdict(
        State.FLAG, text, need.uses, inputs, float(f.fire_min), None, "min",
        Weight.PUT_RIGHT if light else None,
    )  # fmt: skip


def fire_construction(ctx: Context, f: Fitting) -> Verdict | None:
    """Floor construction against those the fitting was tested in."""
    need = _need_of(ctx, f)
    if need is None or (need.minutes == 0 and need.sure) or not f.fire_min:
        return None
    room = ctx.room_of(f)
    if room is None or room.floor is None:
        return missing("What the floor above is built of is not said.")
    if f.fire_tested_in is None:
        return missing(
            f"The floor is {room.floor}; what the fitting was tested in is not declared."
        )
    tested = ", ".join(f.fire_tested_in)
    inputs = {"floor": room.floor, "fire_tested_in": f.fire_tested_in}
    if room.floor == "other":
        return unsure(f"A floor of other construction; tested in {tested}.", **inputs)
    if room.floor in f.fire_tested_in:
        return clear(f"The floor is {room.floor}; the fitting was tested in {tested}.", **inputs)
    return flag(
        f"The floor is {room.floor}; the fitting was tested in {tested} only, which does not "
        "read across.",
        **inputs,
    )


def fire_layers(ctx: Context, f: Fitting) -> Verdict | None:
    """Layers of board against those of the tested ceiling."""
    need = _need_of(ctx, f)
    if need is None or (need.minutes == 0 and need.sure) or not f.fire_min:
        return None
    room = ctx.room_of(f)
    if room is None or room.layers is None:
        return missing("The layers of plasterboard are not given.")
    if f.fire_tested_layers is None:
        return missing(
            f"{room.layers} layers of board; how many it was tested with is not declared."
        )
    text = f"{room.layers} layers of board; tested with {f.fire_tested_layers}."
    inputs = {"layers": room.layers, "fire_tested_layers": f.fire_tested_layers}
    return clear(text, **inputs) if room.layers >= f.fire_tested_layers else flag(text, **inputs)


def fire_room_above(ctx: Context, f: Fitting) -> Verdict | None:
    """A habitable room above asks for a rated fitting; no other room settles it."""
    room = ctx.room_of(f)
    if f.on in ("wall", "under bath"):
        return None
    if room is None or room.above is None:
        return missing("What lies above is not said.")
    inputs = {"above": room.above, "fire_min": f.fire_min}
    if f.fire_min is None:
        return missing(
            f"Above is a {room.above}; whether the fitting is rated is not declared.", inputs
        )
    if f.fire_min > 0:
        return clear(
            f"Above is a {room.above}; the fitting is rated, {f.fire_min} minutes.", **inputs
        )
    kitchen = ctx.maybe("kitchen-habitable") if room.above == "kitchen" else None
    if room.above in HABITABLE or room.above == "other dwelling":
        return flag(f"Above is a {room.above}; the fitting is not rated.", **inputs)
    if kitchen is not None and kitchen.x:
        return flag("Above is a kitchen; the fitting is not rated.", kitchen, **inputs)
    return unsure(
        f"The fitting is not rated, and a {room.above} above does not settle it by itself.",
        **inputs,
    )


def fire_throughout(ctx: Context, facts: JobFacts) -> Verdict | None:
    """Rated fittings throughout, as advice."""
    ceiling = [f for f in facts.fittings if f.on in (None, "ceiling")]
    if not ceiling:
        return None
    plain = [f.label for f in ceiling if f.fire_min == 0]
    unknown = [f.label for f in ceiling if f.fire_min is None]
    if plain:
        return flag(f"{len(plain)} of {len(ceiling)} fittings are not rated: {_some(plain)}.")
    if unknown:
        return missing(f"{len(unknown)} of {len(ceiling)} fittings do not say: {_some(unknown)}.")
    return clear(f"All {len(ceiling)} fittings are rated.")


def _some(labels: list[str]) -> str:
    return ", ".join(labels[:8]) + (f" and {len(labels) - 8} more" if len(labels) > 8 else "")


def cables_in_fire(ctx: Context, room: Room) -> Verdict | None:
    """Cables held so that they do not fall early in a fire."""
    if not ctx.in_room[room.name]:
        return None
    how = room.cables_supported
    if how is None:
        return missing(f"How cables over {room.name} are held is not said.")
    if how == "metal":
        return clear(f"{room.name}: cables are held by metal fixings.", cables_supported=how)
    if how == "laid":
        return unsure(
            f"{room.name}: cables lie on the structure; whether that lasts in fire is to be seen.",
            cables_supported=how,
        )
    held = "not held" if how == "none" else f"held by {how} fixings only"
    return flag(
        f"{room.name}: cables are {held}, and can fall early in a fire.", cables_supported=how
    )


def penetrations(ctx: Context, room: Room) -> Verdict | None:
    """Holes for cables through fire-resisting parts made good."""
    if not ctx.in_room[room.name]:
        return None
    need = needed(ctx, room)
    if need.minutes == 0 and need.sure:
        return None
    if room.penetrations_sealed is None:
        return missing(f"{room.name}: whether holes for cables are made good is not said.")
    if room.penetrations_sealed:
        return clear(f"{room.name}: holes for cables are made good.", penetrations_sealed=True)
    return flag(f"{room.name}: holes for cables are not made good.", penetrations_sealed=False)


FITTING = {
    "fire-rating": fire_rating,
    "fire-construction": fire_construction,
    "fire-layers": fire_layers,
    "fire-room-above": fire_room_above,
}
ROOM = {
    "fire-needed": fire_needed,
    "fire-cables": cables_in_fire,
    "fire-penetrations": penetrations,
}
JOB = {"fire-throughout": fire_throughout}
