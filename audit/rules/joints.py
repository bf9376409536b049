"""Joints and support: enclosed, reachable, held, and as the terminal was declared for."""

from __future__ import annotations

from audit.job.cables import cable
from audit.job.facts import Fitting, JoistCut, Room
from audit.rules.context import Context, clear, flag, missing, unsure
from audit.rules.types import State, Value, Verdict


def joint_enclosed(ctx: Context, f: Fitting) -> Verdict | None:
    """Every joint in an enclosure."""
    if f.joint_enclosed is None:
        return missing("Whether every joint lies in an enclosure is not said.")
    if f.joint_enclosed:
        return clear("Every joint is said to lie in an enclosure.", joint_enclosed=True)
    return flag("A joint lies outside any enclosure.", joint_enclosed=False)


def joint_access(ctx: Context, f: Fitting) -> Verdict | None:
    """Joints reachable, or of the maintenance-free kind used as instructed."""
    access = f.joint_access
    if access is None:
        return missing("Whether its joints can be reached, or need not be, is not said.")
    inputs = {"joint_access": access, "as_instructed": f.joint_used_as_instructed}
    if access == "accessible":
        return clear("Its joints can be reached.", **inputs)
    if access == "not accessible":
        return flag(
            "Its joints can't be reached, and are not of the maintenance-free kind.", **inputs
        )
    if f.joint_used_as_instructed is None:
        return missing("Maintenance-free joints; whether they were made as instructed is not said.")
    if f.joint_used_as_instructed:
        return clear("Maintenance-free joints, made as instructed.", **inputs)
    return flag("Maintenance-free joints, not made as instructed.", **inputs)


def strain(ctx: Context, f: Fitting) -> Verdict | None:
    """No strain on terminals: a grip or a support near."""
    inputs = {"cable_grip": f.cable_grip, "clip_mm": f.clip_mm}
    if f.cable_grip:
        return clear("A grip or anchorage holds the sheath.", **inputs)
    if f.cable_grip is None:
        return missing("Whether anything holds the cable's sheath is not said.", inputs)
    if f.clip_mm is not None and f.clip_mm > 0:
        return unsure(
            f"No grip; supports are {f.clip_mm:g} mm apart: whether they keep strain off the "
            "terminals is to be seen.",
            **inputs,
        )
    return flag("No grip and no support near: the terminals carry the cable.", **inputs)


def clips(ctx: Context, f: Fitting) -> Verdict | None:
    """Distance between supports."""
    if f.clip_mm is None:
        return missing("The distance between cable supports is not given.")
    size = cable(f.cable) if f.cable else None
    # Flat cable counts by its major axis; unknown cable by the closer spacing.
    wide = size is not None and size.overall_typical_mm[1] > 9
    run = f.clip_run or "horizontal"
    limit = ctx.v(f"clip-wide-{run}-mm" if wide else f"clip-{run}-mm")
    text = f"Supports {f.clip_mm:g} mm apart on a {run} run; {limit.n:g} mm at most."
    if f.clip_run is None:
        text += " (The run is not said; horizontal, the stricter, is taken.)"
    state = State.CLEAR if f.clip_mm <= limit.n else State.FLAG
    inputs = {"clip_mm": f.clip_mm, "run": run, "cable": f.cable}
    return Verdict(state, text, (limit,), inputs, f.clip_mm, None, "mm")


def terminal_conductors(ctx: Context, f: Fitting) -> Verdict | None:
    """Conductors in one terminal against its declaration."""
    if f.terminal_max_conductors is None:
        return missing("How many conductors a terminal is declared for is not given.")
    most = f.terminal_max_conductors
    if f.terminal_conductors is None:
        return missing(f"Terminals take {most}; how many are in the fullest is not given.")
    text = f"{f.terminal_conductors} in one terminal; it is declared for {most}."
    state = State.CLEAR if f.terminal_conductors <= most else State.FLAG
    inputs = {"found": f.terminal_conductors, "declared_for": most}
    return Verdict(state, text, inputs=inputs, value=float(f.terminal_conductors))


def strip_length(ctx: Context, f: Fitting) -> Verdict | None:
    """Strip length against the terminal's gauge."""
    if f.strip_length_mm is None:
        return missing(
            "The strip length that the terminal declares is not given: it stands on the part."
        )
    if f.stripped_mm is None:
        return missing(
            f"The terminal declares {f.strip_length_mm:g} mm; the strip is not measured."
        )
    given, default = f.strip_tolerance_mm, ctx.v("strip-tolerance-mm")
    tolerance = default.n if given is None else given
    uses = (default,) if given is None else ()
    off = f.stripped_mm - f.strip_length_mm
    text = (
        f"Stripped {f.stripped_mm:g} mm; the terminal declares {f.strip_length_mm:g} mm, "
        f"± {tolerance:g} mm."
    )
    if off > tolerance:
        text += " Too long leaves copper outside."
    elif off < -tolerance:
        text += " Too short may hold by the insulation."
    state = State.CLEAR if abs(off) <= tolerance + 1e-9 else State.FLAG
    inputs = {"stripped_mm": f.stripped_mm, "strip_length_mm": f.strip_length_mm}
    return Verdict(state, text, uses, inputs, f.stripped_mm, None, "mm")


def sheath_enters(ctx: Context, f: Fitting) -> Verdict | None:
    """What the fitter declares of the sheath at the entry; photos answer apart."""
    if f.factory_lead:
        return unsure("A maker's own lead: its instructions decide.", factory_lead=True)
    if f.sheath_enters is False:
        return flag("The sheath is said to stop outside the enclosure.", sheath_enters=False)
    # A word that it runs in settles nothing: the photo checks answer for that.
    return None


def joists(ctx: Context, room: Room) -> Verdict | None:
    """Holes and notches in joists made for the cables."""
    if not room.joist_cuts:
        return None
    wrong, uses, near = [], [], []
    for number, cut in enumerate(room.joist_cuts, 1):
        texts, values = _cut(ctx, cut)
        wrong += [f"{cut.kind} {number}: {t}" for t in texts]
        uses += values
        if cut.cover_mm is None and cut.plate is None:
            near.append(number)
    used = tuple(dict.fromkeys(uses))
    inputs = {"cuts": len(room.joist_cuts)}
    if wrong:
        return Verdict(State.FLAG, f"{room.name}: {'; '.join(wrong)}.", used, inputs)
    if near:
        return missing(
            f"{room.name}: how near cables lie to the joists' edges is not given.", inputs
        )
    return Verdict(
        State.CLEAR,
        f"{room.name}: {len(room.joist_cuts)} cuts lie within the limits.",
        used,
        inputs,
    )


def _cut(ctx: Context, cut: JoistCut) -> tuple[list[str], list[Value]]:
    kind = cut.kind
    low, high = ctx.v(f"joist-{kind}-from"), ctx.v(f"joist-{kind}-to")
    part, most = ctx.v(f"joist-{kind}-depth"), ctx.v(f"joist-{kind}-max-mm")
    cover = ctx.v("joist-cover-mm")
    texts = []
    start, end = low.n * cut.span_m, high.n * cut.span_m
    if not start - 1e-9 <= cut.from_support_m <= end + 1e-9:
        texts.append(
            f"{cut.from_support_m * 1000:.0f} mm from the support, allowed from "
            f"{start * 1000:.0f} to {end * 1000:.0f} mm"
        )
    allowed = min(part.n * cut.depth_of_joist_mm, most.n)
    if cut.size_mm > allowed + 1e-9:
        texts.append(f"{cut.size_mm:g} mm, allowed {allowed:g} mm")
    used = [low, high, part, most]
    if cut.cover_mm is not None and cut.cover_mm < cover.n and not cut.plate:
        # Rests on one informal reading, and so takes the weight of the whole item down.
        texts.append(
            f"cable {cut.cover_mm:g} mm from the edge without a plate, {cover.n:g} mm asked"
        )
        used.append(cover)
    return texts, used


FITTING = {
    "joint-enclosed": joint_enclosed,
    "joint-access": joint_access,
    "cable-strain": strain,
    "cable-clips": clips,
    "terminal-conductors": terminal_conductors,
    "strip-length": strip_length,
    "sheath-declared": sheath_enters,
}
ROOM = {"joist-cuts": joists}
