"""Paperwork and evidence: notification, certificate, instructions, who answers, photos."""

from __future__ import annotations

from audit.job.facts import Fitting, JobFacts, Room
from audit.rules.context import Context, clear, flag, missing, unsure
from audit.rules.types import State, Verdict

_INSIDE = frozenset({"inside"})
_PARTS = frozenset({"entry", "terminals"})


def _special_fittings(ctx: Context, facts: JobFacts) -> tuple[list[str], list[str]]:
    """Fittings in a zone, and those of which that is not known."""
    inside: list[str] = []
    unknown: list[str] = []
    for f in facts.fittings:
        place = ctx.place(f)
        if place is None or place.zone == "outside":
            continue
        (unknown if place.zone is None else inside).append(f.label)
    return inside, unknown


def _notifiable(ctx: Context, facts: JobFacts) -> tuple[bool | None, str]:
    kinds, special = ctx.maybe("notifiable-kinds"), ctx.maybe("notifiable-special")
    work = facts.job.work
    if kinds is None or special is None:
        return None, f"what {ctx.region.name} asks to be notified is not in this catalogue"
    added = [c.id for c in facts.circuits if c.new_circuit]
    if added or (work is not None and work in str(kinds.x).split("|")):
        return True, "a new circuit" if added or work == "new circuit" else f"a {work}"
    if work is None:
        return None, "the kind of work is not said"
    inside, unknown = _special_fittings(ctx, facts)
    if work in str(special.x).split("|"):
        if inside:
            return True, f"{work} in the space round a bath or shower ({', '.join(inside[:6])})"
        if unknown:
            return (
                None,
                f"whether {', '.join(unknown[:6])} lie in the space round a bath is not known",
            )
    return False, f"{work} outside the space round a bath or shower"


def notifiable(ctx: Context, facts: JobFacts) -> Verdict | None:
    """Whether the work is notifiable, and how it is notified."""
    due, why = _notifiable(ctx, facts)
    uses = tuple(v for i in ("notifiable-kinds", "notifiable-special") if (v := ctx.maybe(i)))
    told = facts.job.notified_by
    inputs = {"work": facts.job.work, "notified_by": told}
    if due is None:
        if not uses:
            return Verdict(State.UNSURE, f"Ask building control: {why}.", inputs=inputs)
        return missing(f"Whether the work is notifiable: {why}.", inputs)
    if not due:
        return clear(f"Not notifiable by what is declared: {why}.", *uses, **inputs)
    ways = ctx.maybe("notifiable-ways")
    listed = "" if ways is None else f" Ways: {str(ways.x).replace('|', ', ')}."
    if told is None:
        return missing(f"Notifiable: {why}; how it is notified is not said.{listed}", inputs)
    if told == "none":
        return flag(f"Notifiable: {why}; declared as not notified.{listed}", *uses, **inputs)
    return clear(f"Notifiable: {why}; notified through {told}.", *uses, **inputs)


def certificate(ctx: Context, facts: JobFacts) -> Verdict | None:
    """Certificate of the model forms that is due afterwards."""
    work = facts.job.work
    if any(c.new_circuit for c in facts.circuits):
        work = "new circuit"
    if work is None:
        return missing("The kind of work is not said, so which certificate is due is not known.")
    due = next(
        (
            v
            for k, v in ctx.region.values.items()
            if k.startswith("certificate/") and work in str(v.x).split("|")
        ),
        None,
    )
    told = facts.job.certificate
    inputs = {"work": work, "certificate": told}
    if due is None:
        return unsure(
            f"Which certificate {ctx.region.name} asks for is not in this catalogue.", **inputs
        )
    name = due.id.split("/", 1)[1]
    if told is None:
        return missing(f"For {work} the {name} is due; none is declared.", inputs)
    if told == name:
        return clear(f"For {work} the {name} is due, and is being made out.", due, **inputs)
    if told == "installation certificate":
        return unsure(f"For {work} the {name} would do; the {told} says more.", due, **inputs)
    return flag(f"For {work} the {name} is due; declared is {told}.", due, **inputs)


def edition(ctx: Context, facts: JobFacts) -> Verdict | None:
    """Edition of the wiring rules that the work follows."""
    rules, current = ctx.region.wiring_rules, ctx.region.current_edition
    told = facts.job.edition
    if told is None:
        newest = f"; {rules} stands at {current}" if current else ""
        return missing(
            f"The edition of {rules or 'the wiring rules'} followed is not named{newest}."
        )
    inputs = {"edition": told, "current": current}
    if not current:
        return unsure(
            f"Edition {told} is named; {ctx.region.name} names none to hold it against.", **inputs
        )
    if current.casefold() in told.casefold():
        return clear(f"The work follows {told}.", **inputs)
    return unsure(
        f"The work is said to follow {told}; {rules} stands at {current}. An older edition is not "
        "unsafe by itself, but new work follows the one in force.",
        **inputs,
    )


def region_known(ctx: Context, facts: JobFacts) -> Verdict | None:
    """Whether the region named is one of the catalogue."""
    named = facts.job.region
    inputs = {"region": named, "used": ctx.region.id}
    if not ctx.region_known:
        return unsure(
            f"The region {named} is not in the catalogue: the base, {ctx.region.name}, is used.",
            **inputs,
        )
    if ctx.region.note:
        return unsure(f"{ctx.region.name}: {ctx.region.note}", **inputs)
    return clear(f"Rules of {ctx.region.name} are used.", **inputs)


def answers(ctx: Context, facts: JobFacts) -> Verdict | None:
    """A competent person who answers for the work."""
    if facts.job.answers_for_it is None:
        return missing("Nobody is named who answers for the work.")
    if facts.job.by is None:
        return missing(f"{facts.job.answers_for_it} answers for it; who did the work is not said.")
    if facts.job.by == facts.job.answers_for_it:
        return unsure(
            f"{facts.job.by} did the work and answers for it: a second pair of eyes is better."
        )
    return clear(f"{facts.job.answers_for_it} answers for work done by {facts.job.by}.")


def instructions(ctx: Context, f: Fitting) -> Verdict | None:
    """Maker's instructions on site."""
    if f.instructions_on_site is None:
        return missing("Whether the maker's instructions are on site is not said.")
    if f.instructions_on_site:
        return clear("The maker's instructions are on site.", instructions_on_site=True)
    return flag("The maker's instructions are not on site.", instructions_on_site=False)


def views(ctx: Context, f: Fitting) -> Verdict | None:
    """Photos that show entry and terminals."""
    seen = ctx.seen_of(f)
    if seen is None or (not seen.views and not seen.refused):
        return missing("No photo of this fitting's inside is here.")
    have = seen.views
    if have & _INSIDE or have >= _PARTS:
        return clear(f"Photos show entry and terminals ({', '.join(sorted(have))}).")
    lacking = sorted(_PARTS - have)
    if seen.refused:
        return unsure(
            f"Not shown well enough: {' and '.join(lacking)}. Too poor to judge: "
            f"{', '.join(seen.refused[:4])}."
        )
    return missing(f"No photo shows its {' and '.join(lacking)}.")


def setting_out(ctx: Context, room: Room) -> Verdict | None:
    """Positions set out clear of joists and services."""
    if not ctx.in_room[room.name]:
        return None
    if room.setting_out_agreed is None:
        return missing(f"Whether positions in {room.name} are set out and agreed is not said.")
    if room.setting_out_agreed:
        return clear(f"Positions in {room.name} are set out and agreed.", setting_out_agreed=True)
    return flag(f"Positions in {room.name} are not agreed.", setting_out_agreed=False)


FITTING = {
    "instructions": instructions,
    "views-supplied": views,
}
ROOM = {"setting-out": setting_out}
JOB = {
    "notifiable": notifiable,
    "certificate": certificate,
    "edition-named": edition,
    "region-known": region_known,
    "answered-for": answers,
}
