"""Identification: core colours old and new, the switched line, polarity."""

from __future__ import annotations

from audit.job.facts import Fitting, JobFacts
from audit.rules.context import Context, clear, flag, missing, unsure
from audit.rules.types import PhotoRef, State, Verdict, Weight

_NEW = frozenset({"brown", "grey"})
_OLD = frozenset({"red", "yellow"})
_NEEDS_MARK = frozenset({"blue", "grey", "black", "yellow"})


def _told(ctx: Context, f: Fitting) -> tuple[str | None, tuple[PhotoRef, ...]]:
    """Colours at a fitting, from the facts and from its photos together."""
    seen = ctx.seen_of(f)
    colours = () if seen is None else seen.colours
    new = [k for k in colours if k.colour in _NEW]
    old = [k for k in colours if k.colour in _OLD]
    if new and old:
        return "mixed", tuple(k.ref for k in (*new[:1], *old[:1]))
    if old and f.colours in (None, "old"):
        return "old", tuple(k.ref for k in old[:1])
    if (old and f.colours == "harmonised") or (new and f.colours == "old"):
        return "mixed", tuple(k.ref for k in (*old[:1], *new[:1]))
    return f.colours, ()


def colours_at_fitting(ctx: Context, f: Fitting) -> Verdict | None:
    """Old and new colours met at one fitting."""
    told, refs = _told(ctx, f)
    inputs = {"declared": f.colours, "told": told}
    if told is None:
        return missing("Core colours are not declared, and no photo tells them.")
    if told == "harmonised":
        return clear("Harmonised colours are declared: brown, blue, green-and-yellow.", **inputs)
    if told == "old":
        why = "Colours of older wiring: red line, black neutral. Black may be a line elsewhere."
        return Verdict(State.UNSURE, why, inputs=inputs, evidence=refs)
    why = "Old and new colours meet here: black is neutral in one and a line in the other."
    return Verdict(State.FLAG, why, inputs=inputs, evidence=refs)


def mixed_notice(ctx: Context, facts: JobFacts) -> Verdict | None:
    """Notice of mixed colours at the board."""
    told = {f.label: _told(ctx, f)[0] for f in facts.fittings}
    old = [k for k, v in told.items() if v in ("old", "mixed")]
    new = [k for k, v in told.items() if v in ("harmonised", "mixed")]
    unknown = [k for k, v in told.items() if v is None]
    if not told:
        return None
    if old and (new or facts.job.work in ("addition", "replacement")):
        if facts.job.mixed_colours_notice is None:
            return missing(
                "Old and new colours meet in this job; whether the notice is up is not said."
            )
        if facts.job.mixed_colours_notice:
            return clear("Old and new colours meet in this job; the notice is at the board.")
        return flag("Old and new colours meet in this job, and the notice is not at the board.")
    if unknown:
        return missing(f"Core colours of {len(unknown)} of {len(told)} fittings are not known.")
    return None


def switched_line(ctx: Context, f: Fitting) -> Verdict | None:
    """A switched line on a core of another colour is marked brown."""
    colour = f.switched_line
    if colour is None:
        return missing("Which core is the switched line is not said.")
    inputs = {"switched_line": colour, "marked": f.switched_line_marked}
    if colour == "green-and-yellow":
        return flag(
            "A green-and-yellow core is used as switched line: it is for protection only.", **inputs
        )
    if colour == "bare":
        return flag("A bare conductor is declared as switched line.", **inputs)
    if colour in ("brown", "red"):
        return clear(f"The switched line is a {colour} core.", **inputs)
    if colour not in _NEEDS_MARK:
        return unsure("The switched line is a core of another colour.", **inputs)
    if f.switched_line_marked is None:
        return missing(
            f"The switched line is a {colour} core; whether it is marked brown is not said."
        )
    if f.switched_line_marked:
        return clear(f"The switched line is a {colour} core, marked brown.", **inputs)
    why = f"The switched line is a {colour} core without brown marking."
    return Verdict(State.FLAG, why, inputs=inputs, weight=Weight.PUT_RIGHT)


def polarity(ctx: Context, f: Fitting) -> Verdict | None:
    """Polarity at the fitting."""
    if f.polarity is None:
        return missing("Polarity at the fitting is not reported; a photo can't show it.")
    if f.polarity == "right":
        return clear("Polarity reported right.", polarity=f.polarity)
    return flag("Polarity reported wrong.", polarity=f.polarity)


FITTING = {
    "colours-at-fitting": colours_at_fitting,
    "switched-line": switched_line,
    "polarity-fitting": polarity,
}
JOB = {"mixed-colours-notice": mixed_notice}
