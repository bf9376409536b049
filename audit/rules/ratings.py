"""What a fitting is rated for: solids, the side an IP claim covers, lamp, heat, clearance."""

from __future__ import annotations

from audit.job.facts import Fitting
from audit.job.ipcode import Promise, parse_ip
from audit.rules.context import Context, clear, flag, missing, unsure
from audit.rules.types import State, Value, Verdict


def ip_solids(ctx: Context, f: Fitting) -> Verdict | None:
    """Live parts behind IPXXB or IP2X."""
    if f.ip is None:
        return missing("No IP code is declared.")
    need = ctx.v("solids-needed")
    code = parse_ip(f.ip)
    # IPXXB serves in place of IP2X; a stricter house rule can't be met by the letter.
    reached = code.keeps_out_fingers() if need.n == 2 else code.keeps_out_solids(int(need.n))
    if reached is Promise.YES:
        return clear(f"IP{need.n:g}X or IPXXB is needed; {f.ip} reaches it.", need, ip=f.ip)
    if reached is Promise.ASK_MAKER:
        return unsure(
            f"IP{need.n:g}X or IPXXB is needed; {f.ip} leaves its first numeral open.",
            need, ip=f.ip,
        )  # fmt: skip
    return flag(f"IP{need.n:g}X or IPXXB is needed; {f.ip} does not reach it.", need, ip=f.ip)


def _needs_water(ctx: Context, f: Fitting) -> bool:
    place = ctx.place(f)
    return place is not None and place.zone != "outside"


def ip_side(ctx: Context, f: Fitting) -> Verdict | None:
    """What an IP claim covers, where water asks for one."""
    if not _needs_water(ctx, f) or f.ip is None:
        return None
    if f.ip_side is None:
        return missing(
            f"Whether {f.ip} holds for the whole fitting or for its face only is not said."
        )
    if f.ip_side == "whole":
        return clear(f"{f.ip} is claimed for the whole fitting.", ip_side=f.ip_side)
    return unsure(
        f"{f.ip} is claimed for the face only: it holds when the fitting is sealed to the board, "
        "and what enters from above is not covered.",
        ip_side=f.ip_side,
    )


def ip_seal(ctx: Context, f: Fitting) -> Verdict | None:
    """Gasket and seating, where the claim is for the face."""
    if not _needs_water(ctx, f) or f.ip is None or f.ip_side == "whole":
        return None
    if f.ip_seal_seated is None:
        return missing(f"Nobody has said that the gasket behind {f.ip} is whole and seated.")
    if f.ip_seal_seated:
        return clear("The gasket was seen whole and seated.", ip_seal_seated=True)
    return flag(f"The gasket is not seated: {f.ip} does not hold.", ip_seal_seated=False)


def lamp(ctx: Context, f: Fitting) -> Verdict | None:
    """Lamp against the largest that the fitting is marked with."""
    if f.max_lamp_w is None and f.lamp_w is None and f.load_w is not None:
        return None  # a fitting with its own light source has no lamp to choose
    if f.max_lamp_w is None:
        return missing("The largest lamp that the fitting allows is not declared.")
    if f.lamp_w is None:
        return missing(
            f"Lamps up to {f.max_lamp_w:g} W are allowed; the lamp put in is not declared."
        )
    text = f"{f.lamp_w:g} W lamp; the fitting allows {f.max_lamp_w:g} W."
    state = State.CLEAR if f.lamp_w <= f.max_lamp_w else State.FLAG
    inputs = {"lamp_w": f.lamp_w, "max_lamp_w": f.max_lamp_w}
    return Verdict(state, text, inputs=inputs, value=f.lamp_w, unit="W")


def ambient(ctx: Context, f: Fitting) -> Verdict | None:
    """Ambient of the void against the rated ambient."""
    if f.rated_ambient_c is None:
        return missing("The rated ambient (ta) is not declared.")
    if f.ambient_c is None:
        return missing(
            f"Rated for {f.rated_ambient_c:g} °C; the void's highest ambient is not given."
        )
    text = f"{f.ambient_c:g} °C expected; rated for {f.rated_ambient_c:g} °C."
    state = State.CLEAR if f.ambient_c <= f.rated_ambient_c else State.FLAG
    inputs = {"ambient_c": f.ambient_c, "rated_ambient_c": f.rated_ambient_c}
    return Verdict(state, text, inputs=inputs, value=f.ambient_c, unit="°C")


def _insulated(ctx: Context, f: Fitting) -> bool | None:
    if f.insulation_over is not None:
        return f.insulation_over
    room = ctx.room_of(f)
    return None if room is None else room.insulation_over


def insulation_cover(ctx: Context, f: Fitting) -> Verdict | None:
    """Insulation over a fitting that must not be covered."""
    over = _insulated(ctx, f)
    inputs = {"insulation_over": over, "insulation_cover": f.insulation_cover}
    if over is None:
        return missing("Whether insulation lies over it is not said.", inputs)
    if not over:
        return clear("No insulation lies over it.", **inputs)
    if f.insulation_cover is None:
        return missing(
            "Insulation lies over it; whether its instructions allow that is not said.", inputs
        )
    if f.insulation_cover == "allowed":
        return clear("Insulation lies over it, which its instructions allow.", **inputs)
    return flag("Insulation lies over it, which its instructions do not allow.", **inputs)


def clearance(ctx: Context, f: Fitting) -> Verdict | None:
    """Clear space above and beside it."""
    if f.insulation_cover == "allowed" and not f.clearance_mm:
        return None
    if f.clearance_mm is None:
        return missing("The clear space that its instructions ask for is not declared.")
    if f.clearance_mm == 0:
        return clear("Its instructions ask for no clear space.", clearance_mm=0.0)
    if f.clearance_found_mm is None:
        return missing(f"{f.clearance_mm:g} mm of clear space is asked for; none is measured.")
    text = f"{f.clearance_found_mm:g} mm found; {f.clearance_mm:g} mm asked for."
    state = State.CLEAR if f.clearance_found_mm >= f.clearance_mm else State.FLAG
    inputs = {"clearance_mm": f.clearance_mm, "clearance_found_mm": f.clearance_found_mm}
    return Verdict(state, text, inputs=inputs, value=f.clearance_found_mm, unit="mm")


def lit_distance(ctx: Context, f: Fitting) -> Verdict | None:
    """Distance to what it shines on."""
    watts = f.lamp_w if f.lamp_w is not None else f.load_w
    own = f.lit_distance_m
    uses: tuple[Value, ...] = ()
    if own is None and watts is None:
        return missing("Neither its marked distance to lit surfaces nor its power is declared.")
    if own is not None:
        need, told = own, "marked on it"
    else:
        assert watts is not None
        step = "100w" if watts <= 100 else "300w" if watts <= 300 else "500w"
        value = ctx.v(f"lit-distance-{step}-m")
        need, uses, told = value.n, (value,), f"for up to {step[:-1]} W without a marked distance"
    if f.lit_distance_found_m is None:
        return missing(f"{need:g} m to lit surfaces ({told}); the distance is not measured.")
    text = f"{f.lit_distance_found_m:g} m to the nearest lit surface; {need:g} m {told}."
    state = State.CLEAR if f.lit_distance_found_m >= need else State.FLAG
    inputs = {"lit_distance_found_m": f.lit_distance_found_m, "needed_m": need}
    return Verdict(state, text, uses, inputs, f.lit_distance_found_m, None, "m")


def mounting_surface(ctx: Context, f: Fitting) -> Verdict | None:
    """A fitting not made for normally flammable surfaces."""
    room = ctx.room_of(f)
    surface = None if room is None else room.ceiling_surface
    if f.flammable_surface is None:
        return missing("Whether it may be fixed in a normally flammable surface is not declared.")
    if f.flammable_surface == "suitable":
        return clear("It may be fixed in normally flammable surfaces.", ceiling_surface=surface)
    if surface is None:
        return missing(
            "It is not for normally flammable surfaces; what the ceiling is made of is not said."
        )
    if surface == "timber":
        return flag(
            "It is not for normally flammable surfaces; the ceiling is timber.",
            ceiling_surface=surface,
        )
    return unsure(
        f"It is not for normally flammable surfaces; the ceiling is {surface}, and what lies "
        "behind that counts too.",
        ceiling_surface=surface,
    )


def plate(ctx: Context, f: Fitting) -> Verdict | None:
    """The rating plate's photo, and the person who read it."""
    seen = ctx.seen_of(f)
    pictured = seen is not None and "plate" in seen.views
    if f.plate_confirmed_by and pictured:
        return clear(f"A photo of the plate is here; read by {f.plate_confirmed_by}.")
    if f.plate_confirmed_by:
        return unsure(
            f"Read by {f.plate_confirmed_by}; no photo of the plate is here to hold it against."
        )
    if pictured:
        return unsure(
            "A photo of the plate is here; nobody has said that the declared ratings are its."
        )
    return missing("No photo of the rating plate, and nobody has said that it was read.")


FITTING = {
    "ip-solids": ip_solids,
    "ip-side": ip_side,
    "ip-seal": ip_seal,
    "lamp-power": lamp,
    "rated-ambient": ambient,
    "insulation-cover": insulation_cover,
    "insulation-clearance": clearance,
    "lit-distance": lit_distance,
    "mounting-surface": mounting_surface,
    "plate-confirmed": plate,
}
