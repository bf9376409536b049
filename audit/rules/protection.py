"""Protection class (IEC 61140) against the CPC and the supply."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from audit.job.facts import Fitting
from audit.rules.context import Context, clear, flag, missing, unsure
from audit.rules.types import CpcSeen, State, Verdict


def cpc_of_each_cable(f: Fitting, seen: Sequence[CpcSeen]) -> bool:
    """Whether one photo shows a CPC for each cable that is declared."""
    photos = Counter(c.ref.photo for c in seen if c.seen in ("sleeved", "bare"))
    return f.cables is not None and max(photos.values(), default=0) >= max(f.cables, 1)


def _cpc_seen(ctx: Context, f: Fitting) -> list[CpcSeen]:
    seen = ctx.seen_of(f)
    return [] if seen is None else list(seen.cpc)


def class_earth(ctx: Context, f: Fitting) -> Verdict | None:
    """Protection class against the CPC terminal and what the photo shows of it."""
    if f.protection_class is None:
        return missing("The protection class is not declared.")
    if f.protection_class != "I":
        return None
    lost = [c for c in _cpc_seen(ctx, f) if c.seen in ("cut_short", "none_comes_out")]
    inputs = {
        "protection_class": "I",
        "earth_terminal": f.earth_terminal,
        "cpc_in_cable": f.cpc_in_cable,
    }
    if f.earth_terminal is False or f.cpc_in_cable is False:
        what = "no terminal for the CPC" if f.earth_terminal is False else "a cable without CPC"
        return flag(f"Class I needs the CPC connected; declared is {what}.", **inputs)
    if lost:
        why = f"Class I needs the CPC connected; {lost[0].ref.photo} shows it {lost[0].words}."
        return Verdict(State.FLAG, why, inputs=inputs, evidence=tuple(c.ref for c in lost))
    if f.earth_terminal is None or f.cpc_in_cable is None:
        return missing(
            "Class I: whether the CPC reaches an earth terminal is not declared.", inputs
        )
    shown = ctx.seen_of(f)
    if shown is not None and shown.earth_terminal and cpc_of_each_cable(f, shown.cpc):
        return clear(
            "Class I; a CPC of each cable was seen, and one to enter a terminal.", **inputs
        )
    return unsure(
        "Class I; an earth terminal is declared, but no photo shows a CPC of each cable and one in the terminal.",
        **inputs,
    )


def class_two(ctx: Context, f: Fitting) -> Verdict | None:
    """Class II: no exposed metal joined to the CPC, none that makes it class I."""
    if f.protection_class != "II":
        return None
    if f.earth_terminal is None:
        return missing("Class II: whether it has an earth terminal is not said.")
    if f.earth_terminal:
        return unsure(
            "Class II with an earth terminal: its own instructions must say that this only joins "
            "the CPC through.",
            earth_terminal=True,
        )
    if f.exposed_metal:
        return unsure(
            "Class II with metal that can be touched: the double square on its plate settles it.",
            exposed_metal=True,
        )
    return clear("Class II and no earth terminal: the two agree.", earth_terminal=False)


def class_three(ctx: Context, f: Fitting) -> Verdict | None:
    """Class III: SELV only, within the limits of extra-low voltage."""
    if f.protection_class != "III" and f.supply not in ("selv", "pelv"):
        return None
    if f.protection_class == "III" and f.supply is None:
        return missing("Class III needs SELV; what feeds it is not said.")
    if f.protection_class == "III" and f.supply != "selv":
        return flag(f"Class III needs SELV; it is fed by {f.supply}.", supply=f.supply)
    if f.voltage_v is None:
        return missing("It is fed by extra-low voltage; the voltage is not given.")
    limit = ctx.v(f"selv-{f.current or 'ac'}-v")
    kind = (f.current or "ac").upper()
    text = f"{f.voltage_v:g} V {kind}; extra-low voltage ends at {limit.n:g} V {kind}."
    state = State.CLEAR if f.voltage_v <= limit.n else State.FLAG
    return Verdict(state, text, (limit,), {"voltage_v": f.voltage_v}, f.voltage_v, None, "V")


FITTING = {
    "class-one-earth": class_earth,
    "class-two": class_two,
    "class-three": class_three,
}
