"""Declared facts against each other, and against what photos show."""

from __future__ import annotations

from audit.job.facts import Fitting
from audit.rules.context import Context, flag
from audit.rules.types import PhotoRef, State, Verdict


def _contradictions(f: Fitting) -> list[str]:
    volts = f.voltage_v or 0
    low = f.supply in ("selv", "pelv")
    no_cpc = f.cpc_in_cable is False
    tight = f.hole_mm is not None and f.cut_out_mm is not None and f.hole_mm < f.cut_out_mm - 5
    rules = (
        (f.supply == "mains" and 0 < volts <= 50, f"mains supply, but {volts:g} V"),
        (low and volts > 120, f"{f.supply}, but {volts:g} V"),
        (f.fire_min == 0 and bool(f.fire_tested_in), "no fire rating, but a tested construction"),
        (no_cpc and f.cpc_joint == "inside", "a CPC joint, but a cable without CPC"),
        (no_cpc and f.cpc_sleeved is True, "a sleeved CPC, but a cable without CPC"),
        (f.cpc_carried_on is True and f.cpc_joint == "none", "CPC carried on, but no joint"),
        (f.colours == "harmonised" and f.switched_line == "red", "harmonised colours, but red"),
        (f.colours == "old" and f.switched_line == "brown", "old colours, but brown"),
        (f.cables == 0 and bool(f.terminal_conductors), "conductors in terminals, but no cable"),
        (tight, f"a {f.hole_mm or 0:g} mm hole for a {f.cut_out_mm or 0:g} mm fitting"),
        (f.protection_class == "III" and f.supply == "mains", "class III, but fed from the mains"),
        (
            f.protection_class == "III" and bool(f.earth_terminal),
            "class III, but an earth terminal",
        ),
    )
    return [text for hit, text in rules if hit]


def facts_agree(ctx: Context, f: Fitting) -> Verdict | None:
    """Declared facts that contradict each other."""
    wrong = _contradictions(f)
    if not wrong:
        return None
    return flag(f"Declared facts contradict each other: {'; '.join(wrong)}.")


def facts_photo(ctx: Context, f: Fitting) -> Verdict | None:
    """Declared facts that contradict what photos show."""
    seen = ctx.seen_of(f)
    if seen is None:
        return None
    wrong: list[tuple[str, PhotoRef | None]] = []
    if f.cables is not None and seen.cables is not None and seen.cables > f.cables:
        wrong.append((f"{f.cables} cables declared, {seen.cables} seen", seen.cables_ref))
    for c in seen.cpc:
        if f.cpc_sleeved and c.seen == "bare":
            wrong.append(("a sleeved CPC declared, a bare one seen", c.ref))
        if f.cpc_in_cable is False and c.seen in ("sleeved", "bare", "cut_short"):
            wrong.append(("a cable without CPC declared, a CPC seen", c.ref))
        if f.cpc_carried_on and c.seen in ("cut_short", "none_comes_out"):
            wrong.append((f"CPC carried on declared, seen {c.words}", c.ref))
    old = {"red", "yellow"}
    for k in seen.colours:
        if f.colours == "harmonised" and k.colour in old:
            wrong.append((f"harmonised colours declared, a {k.colour} core seen", k.ref))
        if f.colours == "old" and k.colour in ("brown", "grey"):
            wrong.append((f"old colours declared, a {k.colour} core seen", k.ref))
    if not wrong:
        return None
    texts = list(dict.fromkeys(t for t, _ in wrong))
    refs = tuple(r for _, r in wrong if r is not None)
    return Verdict(
        State.FLAG, f"The photos say otherwise than the facts: {'; '.join(texts)}.", evidence=refs
    )


FITTING = {
    "facts-agree": facts_agree,
    "facts-photo": facts_photo,
}
