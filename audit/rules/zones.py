"""Bath and shower: what section 701 asks of a fitting in its zone."""

from __future__ import annotations

from audit.job.facts import Fitting, Room
from audit.job.ipcode import Promise, parse_ip
from audit.rules.context import Context, clear, flag, missing, unsure
from audit.rules.place import Place, is_special
from audit.rules.types import State, Value, Verdict

_WATER = {"0": "zone0-water", "1": "zone1-water", "2": "zone2-water"}


def zone_known(ctx: Context, f: Fitting) -> Verdict | None:
    """Whether the zone is known, and how close a boundary is."""
    place = ctx.place(f)
    if place is None:
        return None
    inputs = {
        "zone": place.zone, "from_bath_m": place.bath_m, "from_outlet_m": place.outlet_m,
        "height_m": place.height_m, "zones_reach_m": place.limit_m, "u95_m": place.u95_m,
    }  # fmt: skip
    if place.zone is None:
        return missing(f"Its zone can't be told: not known is {_and(place.lacking)}.", inputs)
    name = _name(place.zone)
    used = ctx.limits.used
    if place.sure:
        text, state = f"{name}: {place.why}.", State.CLEAR
    else:
        state = State.UNSURE
        edge = "" if place.margin_m is None else f", {place.margin_m * 1000:.0f} mm from a boundary"
        text = (
            f"{name} is applied, the stricter one: {place.why}{edge}, "
            f"measured to ±{place.u95_m * 1000:.0f} mm."
        )
        if ctx.geometry(_room(ctx, f)).outlet_height_unknown:
            text += " A fixed outlet's height is not known, and it may raise the zones."
    return Verdict(state, text, used, inputs, place.margin_m, place.u95_m, "m")


def _room(ctx: Context, f: Fitting) -> Room:
    room = ctx.room_of(f)
    assert room is not None
    return room


def _name(zone: str) -> str:
    return "Outside the zones" if zone == "outside" else f"Zone {zone}"


def _and(words: tuple[str, ...]) -> str:
    return " and ".join(words)


def zone_water(ctx: Context, f: Fitting) -> Verdict | None:
    """Water numeral against the zone."""
    place = ctx.place(f)
    if place is None or place.zone == "outside":
        return None
    if place.zone is None:
        return missing("Its zone is not known, so what it needs is not either.")
    return _water(ctx, f, place, ctx.v(_WATER[place.zone]), f"in {_name(place.zone).lower()}")


def _water(ctx: Context, f: Fitting, place: Place, need: Value, where: str) -> Verdict:
    needed = int(need.n)
    if f.ip is None:
        return missing(
            f"IPX{needed} is needed {where}; no IP code is declared.", {"zone": place.zone}
        )
    promise = parse_ip(f.ip).keeps_out_water(needed)
    used = (need, *ctx.limits.used)
    inputs = {"ip": f.ip, "zone": place.zone, "needed": f"IPX{needed}"}
    if promise is Promise.YES:
        return Verdict(
            State.CLEAR, f"IPX{needed} is needed {where}; {f.ip} is declared.", used, inputs
        )
    if promise is Promise.ASK_MAKER:
        why = (
            f"IPX{needed} is needed {where}; {f.ip} does not say whether it holds "
            "against it: the maker's word is needed."
        )
        return Verdict(State.UNSURE, why, used, inputs)
    why = f"IPX{needed} is needed {where}; {f.ip} does not reach it."
    if not place.sure and _would_do(ctx, f.ip, place.as_measured):
        why += " As measured it would do: the boundary lies within the tape's uncertainty."
        return Verdict(State.UNSURE, why, used, inputs)
    return Verdict(State.FLAG, why, used, inputs)


def _would_do(ctx: Context, ip: str, zone: str | None) -> bool:
    if zone not in _WATER:
        return True
    return parse_ip(ip).keeps_out_water(int(ctx.v(_WATER[zone]).n)) is Promise.YES


def zone_jets(ctx: Context, f: Fitting) -> Verdict | None:
    """IPX5 where jets are used."""
    place = ctx.place(f)
    if place is None or place.zone == "outside":
        return None
    room = ctx.room_of(f)
    if room is None or place.zone is None:
        return missing("Its zone is not known, nor whether water jets are used there.")
    need = ctx.v("jets-water")
    if room.jets is False:
        return None
    if room.jets is None:
        if f.ip is not None and parse_ip(f.ip).keeps_out_water(int(need.n)) is Promise.YES:
            return clear(f"{f.ip} would do even where jets are used.", need, ip=f.ip)
        return missing(f"Whether water jets are used in {room.name} is not said.", {"ip": f.ip})
    return _water(ctx, f, place, need, "where water jets are used")


def zone_voltage(ctx: Context, f: Fitting) -> Verdict | None:
    """Supply allowed in zones 0 and 1."""
    place = ctx.place(f)
    if place is None or place.zone in ("2", "outside"):
        return None
    if place.zone is None:
        return missing("Its zone is not known, so what may feed it is not either.")
    if f.supply is None:
        return missing(f"What feeds it in zone {place.zone} is not said: mains, SELV or PELV.")
    extra_low = f.supply == "selv" or (f.supply == "pelv" and place.zone == "1")
    if not extra_low:
        return _mains(ctx, f, place)
    if f.voltage_v is None:
        return missing(f"It is fed by {f.supply.upper()}; the voltage is not given.")
    kind = f.current or "ac"
    limit = ctx.v(f"zone{place.zone}-selv-{kind}-v")
    told = "" if f.current else " (AC or DC is not said; AC, the stricter, is taken)"
    inputs = {"voltage_v": f.voltage_v, "current": f.current, "zone": place.zone}
    text = f"{f.voltage_v:g} V {kind.upper()}{told}; zone {place.zone} allows {limit.n:g} V."
    state = State.CLEAR if f.voltage_v <= limit.n else State.FLAG
    if state is State.FLAG and not place.sure:
        state = State.UNSURE
    return Verdict(state, text, (limit,), inputs, f.voltage_v, None, "V")


def _mains(ctx: Context, f: Fitting, place: Place) -> Verdict:
    inputs = {"supply": f.supply, "zone": place.zone, "maker_zones": f.maker_zones}
    if place.zone == "0":
        limit = ctx.v("zone0-selv-ac-v")
        why = f"Zone 0 allows only SELV of {limit.n:g} V AC; it is fed by {f.supply}."
        return Verdict(State.FLAG if place.sure else State.UNSURE, why, (limit,), inputs)
    if f.maker_zones is None:
        return unsure(
            "Fed from the mains in zone 1: allowed only for a fixed fitting whose maker says "
            "that it suits zone 1, and nothing is declared.",
            ctx.v("zone1-selv-ac-v"), **inputs,
        )  # fmt: skip
    if "1" in f.maker_zones:
        return clear("Fed from the mains in zone 1; its maker allows zone 1.", **inputs)
    why = f"Fed from the mains in zone 1; its maker allows zones {', '.join(f.maker_zones)} only."
    return flag(why, **inputs) if place.sure else unsure(why, **inputs)


def zone_source(ctx: Context, f: Fitting) -> Verdict | None:
    """Where the SELV source stands."""
    place = ctx.place(f)
    if place is None or f.supply not in ("selv", "pelv"):
        return None
    if place.zone == "outside" and f.source_zone in (None, "outside"):
        return None
    if f.source_zone is None:
        return missing(f"Where its {f.supply.upper()} source stands is not said.")
    rule = ctx.v("selv-source-outside")
    if f.source_zone == "outside":
        return clear("Its source stands outside the zones.", rule, source_zone=f.source_zone)
    return flag(
        f"Its source stands in zone {f.source_zone}; it belongs outside zones 0, 1 and 2.",
        rule, source_zone=f.source_zone,
    )  # fmt: skip


def zone_rcd(ctx: Context, room: Room) -> Verdict | None:
    """RCD for every circuit of the location."""
    special = is_special(room)
    if special is False:
        return None
    if special is None:
        return missing(f"Whether {room.name} holds a bath or shower is not said.")
    limit = ctx.v("special-rcd-ma")
    fittings = ctx.in_room[room.name]
    lacking = [f.label for f in fittings if ctx.circuit_of(f) is None]
    circuits = {c.id: c for f in fittings if (c := ctx.circuit_of(f)) is not None}
    bad = [c.id for c in circuits.values() if c.rcd is False or (c.rcd_ma or 0) > limit.n]
    unknown = [c.id for c in circuits.values() if c.rcd_ma is None and c.id not in bad]
    inputs = {"circuits": tuple(circuits), "rcd_ma": tuple(c.rcd_ma for c in circuits.values())}
    if bad:
        why = f"{_list('Circuit', bad)} of {room.name}: no RCD of {limit.n:g} mA or less."
        return flag(why, limit, **inputs)
    if unknown or lacking or not circuits:
        what = (
            _list("Circuit", unknown)
            if unknown
            else _list("The circuit of", lacking or [room.name])
        )
        return missing(f"{what}: whether an RCD of {limit.n:g} mA covers it is not said.", inputs)
    return clear(
        f"{_list('Circuit', list(circuits))} of {room.name}: RCD of {limit.n:g} mA or less.",
        limit, **inputs,
    )  # fmt: skip


def _list(head: str, names: list[str]) -> str:
    shown = ", ".join(names[:6]) + (f" and {len(names) - 6} more" if len(names) > 6 else "")
    return f"{head} {shown}"


def bonding(ctx: Context, room: Room) -> Verdict | None:
    """Supplementary bonding, or what makes it needless."""
    if is_special(room) is not True:
        return None
    if room.bonding is None:
        return missing(
            f"Neither supplementary bonding of {room.name} nor the conditions that make it "
            "needless are declared."
        )
    if room.bonding == "none":
        return flag(
            f"{room.name} has no supplementary bonding, and the conditions that make it needless "
            "are not declared met.",
            bonding=room.bonding,
        )
    if room.bonding == "supplementary":
        return clear(f"{room.name}: supplementary bonding is declared.", bonding=room.bonding)
    return clear(
        f"{room.name}: disconnection times, a 30 mA RCD and main bonding are declared met.",
        bonding=room.bonding,
    )


def ip_family(ctx: Context, room: Room) -> Verdict | None:
    """One IP code through one bathroom."""
    if is_special(room) is not True:
        return None
    fittings = ctx.in_room[room.name]
    if len(fittings) < 2:
        return None
    codes = sorted({f.ip for f in fittings if f.ip is not None})
    lacking = [f.label for f in fittings if f.ip is None]
    if len(codes) > 1:
        return flag(f"{room.name} mixes {', '.join(codes)}.", ip=tuple(codes))
    if lacking:
        return missing(f"{_list('No IP code is declared for', lacking)}.")
    return clear(f"All {len(fittings)} fittings of {room.name} are {codes[0]}.", ip=codes[0])


def bath_in_plan(ctx: Context, room: Room) -> Verdict | None:
    """Whether the bath, shower and partitions of a special location are declared."""
    special = is_special(room)
    if special is False:
        return None
    if special is None:
        return missing(f"Whether {room.name} holds a bath or shower is not said.")
    if not room.baths and not room.trays and not room.outlets:
        return missing(f"{room.name} holds a bath or shower, but none is described.")
    vague = [o.name or str(i + 1) for i, o in enumerate(room.outlets) if o.fixed and o.over is None]
    if vague:
        return missing(f"{_list('Outlet', vague)}: what stands under it is not said.")
    high = [
        o.name or str(i + 1) for i, o in enumerate(room.outlets) if o.fixed and o.height_m is None
    ]
    if high:
        return unsure(
            f"{_list('Outlet', high)}: its height is not given; above "
            f"{ctx.limits.height.n:g} m it would raise the zones.",
            ctx.limits.height,
        )
    loose = [str(i + 1) for i, p in enumerate(room.partitions) if not p.fixed]
    if loose:
        return clear(
            f"Described; {_list('partition', loose)} is not fixed and limits no zone.",
            ctx.limits.zone2,
        )
    return clear("Bath, shower and what limits their zones are described.", ctx.limits.zone2)


FITTING = {
    "zone-known": zone_known,
    "zone-water": zone_water,
    "zone-jets": zone_jets,
    "zone-voltage": zone_voltage,
    "zone-source": zone_source,
}
ROOM = {
    "bath-described": bath_in_plan,
    "zone-rcd": zone_rcd,
    "bonding": bonding,
    "ip-family": ip_family,
}
