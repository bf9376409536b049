"""The hole in the ceiling: its size, its cover, the distance to the next."""

from __future__ import annotations

from audit.job.facts import Fitting
from audit.rules.context import Context, clear, flag, missing
from audit.rules.types import State, Verdict

_NO_FLOOR = frozenset({"loft", "pitched roof", "flat roof"})


def hole_size(ctx: Context, f: Fitting) -> Verdict | None:
    """Hole cut against hole asked for."""
    if f.hole_mm is None and f.cut_out_mm is None:
        return missing("Neither the hole cut nor the one asked for is given.")
    if f.hole_mm is None:
        return missing(f"A {f.cut_out_mm:g} mm hole is asked for; the one cut is not measured.")
    if f.cut_out_mm is None:
        return missing(f"A {f.hole_mm:g} mm hole is cut; the one asked for is not declared.")
    given = f.cut_out_plus_mm
    default = ctx.v("hole-plus-mm")
    plus = default.n if given is None else given
    uses = (default,) if given is None else ()
    text = f"{f.hole_mm:g} mm cut; {f.cut_out_mm:g} mm asked for, up to {plus:g} mm more."
    state = State.CLEAR if f.hole_mm <= f.cut_out_mm + plus else State.FLAG
    inputs = {"hole_mm": f.hole_mm, "cut_out_mm": f.cut_out_mm, "plus_mm": plus}
    return Verdict(state, text, uses, inputs, f.hole_mm, None, "mm")


def hole_covered(ctx: Context, f: Fitting) -> Verdict | None:
    """The rim covers the hole all round."""
    if f.hole_covered is None:
        return missing("Whether its rim covers the hole all round is not said.")
    if f.hole_covered:
        return clear("Its rim covers the hole all round.", hole_covered=True)
    return flag("Its rim does not cover the hole all round.", hole_covered=False)


def hole_spacing(ctx: Context, f: Fitting) -> Verdict | None:
    """Openings in a ceiling under a floor: size and distance."""
    room = ctx.room_of(f)
    if f.on in ("wall", "under bath"):
        return None
    if room is None or room.above is None:
        return missing("What lies above is not said, so whether spacing counts is not known.")
    if room.above in _NO_FLOOR:
        return None
    least, widest = ctx.v("hole-spacing-m"), ctx.v("hole-max-mm")
    near = ctx.nearest_hole.get(f.label)
    if f.next_hole_m is not None and (near is None or f.next_hole_m < near[0]):
        near = (f.next_hole_m, "the next hole")
    inputs = {"next_hole_m": None if near is None else near[0], "hole_mm": f.hole_mm}
    if f.hole_mm is not None and f.hole_mm > widest.n:
        return flag(
            f"A {f.hole_mm:g} mm hole in a ceiling under a floor; {widest.n:g} mm is the most.",
            widest, **inputs,
        )  # fmt: skip
    if near is None:
        return missing("The distance to the next hole is not known.", inputs)
    u95 = ctx.v("tape-u95-m").n
    text = f"{near[0]:.2f} m to {near[1]}; {least.n:g} m or more is looked for."
    if near[0] - u95 >= least.n:
        state = State.CLEAR
    else:
        state = State.FLAG if near[0] + u95 < least.n else State.UNSURE
    return Verdict(state, text, (least,), inputs, near[0], u95, "m")


FITTING = {
    "hole-size": hole_size,
    "hole-covered": hole_covered,
    "hole-spacing": hole_spacing,
}
