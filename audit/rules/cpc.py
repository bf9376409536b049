"""The CPC: brought to every point, carried on, joined in the right place."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from audit.job.facts import Fitting
from audit.rules.context import Context, clear, flag, missing, unsure
from audit.rules.types import CpcSeen, InputValue, State, Verdict, Weight


def cpc_at_point(ctx: Context, f: Fitting) -> Verdict | None:
    """A CPC run to the point, whatever the class of the fitting."""
    seen = ctx.seen_of(f)
    shown = [c for c in (seen.cpc if seen else ()) if c.seen in ("sleeved", "bare")]
    lost = [c for c in (seen.cpc if seen else ()) if c.seen in ("cut_short", "none_comes_out")]
    inputs = {"cpc_in_cable": f.cpc_in_cable, "seen": tuple(c.seen for c in (*shown, *lost))}
    if f.supply in ("selv", "pelv") and f.protection_class == "III":
        return None
    if f.cpc_in_cable is False:
        return flag("Its cable has no CPC; one is run to every point.", **inputs)
    if lost:
        return Verdict(
            State.FLAG, f"A CPC is run to every point; {lost[0].ref.photo} shows it {lost[0].words}.",
            inputs=inputs, evidence=tuple(c.ref for c in lost),
        )  # fmt: skip
    if shown:
        return _all_seen(f, shown, inputs)
    if f.cpc_in_cable:
        return unsure("Its cable is declared to have a CPC; no photo shows it.", **inputs)
    return missing("Whether its cable has a CPC is not said, and no photo shows one.", inputs)


def _all_seen(f: Fitting, shown: Sequence[CpcSeen], inputs: Mapping[str, InputValue]) -> Verdict:
    """No fault seen only where one photo shows a CPC for each cable that there is."""
    photo, most = Counter(c.ref.photo for c in shown).most_common(1)[0]
    refs = tuple(c.ref for c in shown)
    if f.cables and most >= f.cables:
        each = "its cable" if f.cables == 1 else f"each of its {f.cables} cables"
        return Verdict(State.CLEAR, f"{photo} shows a CPC of {each}.", inputs=inputs, evidence=refs)
    told = (
        "how many cables come in is not said" if f.cables is None else f"{f.cables} cables come in"
    )
    count = "one CPC" if most == 1 else f"{most} CPCs"
    return Verdict(State.UNSURE, f"{photo} shows {count}; {told}.", inputs=inputs, evidence=refs)


def cpc_carried_on(ctx: Context, f: Fitting) -> Verdict | None:
    """The CPC carried on to the next point."""
    feeds = ctx.feeds_on(f)
    if feeds is False:
        return None
    if feeds is None and f.cpc_carried_on is None:
        return missing(
            "Whether it feeds a further point is not known, nor whether the CPC goes on."
        )
    if f.cpc_carried_on is None:
        return missing("It feeds a further point; whether the CPC goes on is not said.")
    inputs = {"feeds_on": feeds, "cpc_carried_on": f.cpc_carried_on}
    if not f.cpc_carried_on:
        return flag("It feeds a further point, and the CPC is not carried on.", **inputs)
    seen = ctx.seen_of(f)
    lost = [c for c in (seen.cpc if seen else ()) if c.seen in ("cut_short", "none_comes_out")]
    if lost:
        return Verdict(
            State.FLAG,
            f"The CPC is said to go on; {lost[0].ref.photo} shows otherwise: "
            f"{lost[0].words}.",
            inputs=inputs, evidence=tuple(c.ref for c in lost),
        )  # fmt: skip
    circuit = ctx.circuit_of(f)
    if circuit is not None and circuit.r1r2_ohm is not None:
        return clear(
            f"The CPC is carried on; R1 + R2 of {circuit.r1r2_ohm:g} Ω was measured on circuit "
            f"{circuit.id}.",
            **inputs,
        )
    return unsure("The CPC is said to be carried on; no continuity reading bears it out.", **inputs)


def cpc_joint(ctx: Context, f: Fitting) -> Verdict | None:
    """Where the CPC is joined at a fitting that has no terminal for it."""
    feeds = ctx.feeds_on(f)
    if f.earth_terminal or feeds is False:
        return None
    if f.earth_terminal is None and f.cpc_joint is None:
        return missing("Neither an earth terminal nor the place of a CPC joint is declared.")
    if f.cpc_joint is None:
        return missing("No earth terminal; where the CPC is joined is not said.")
    inputs = {"earth_terminal": f.earth_terminal, "cpc_joint": f.cpc_joint}
    if f.cpc_joint == "inside":
        return clear("The CPC is joined through inside the enclosure.", **inputs)
    if f.cpc_joint == "none":
        return flag("No earth terminal, and the CPC is not joined through.", **inputs)
    return Verdict(
        State.FLAG,
        "The CPC is joined outside the enclosure: tolerable for the CPC alone, inside is better.",
        inputs=inputs, weight=Weight.ADVISE,
    )  # fmt: skip


FITTING = {
    "cpc-at-point": cpc_at_point,
    "cpc-carried-on": cpc_carried_on,
    "cpc-joint-place": cpc_joint,
}
