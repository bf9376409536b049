"""A draw and its outcome in words and as JSON. Never a verdict on the lot: what was seen, and its limits."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from audit.checklist.texts import texts
from audit.sampling.outcome import Group, NextStep, Outcome
from audit.sampling.recorded import Drawn

DRAW_SCHEMA = "lidoff.pick/1"
RESULT_SCHEMA = "lidoff.pick-result/1"

NOT_A_VERDICT = (
    "A spot check says something about what was looked at, and bounds the rest. It clears no fitting "
    "that was not looked at, and takes the place of no inspection or test."
)
AFTER = (
    "Then: put the photos in, run lidoff audit, decide the items of these fittings in lidoff review, "
    "and see what it proves with: lidoff pick DIR --result"
)


def requests_of(drawn: Drawn) -> dict[str, str]:
    """What to photograph of each fitting, by the name of the request: those its photo checks need."""
    words = texts()
    kinds = [words.check[c.id].request for c in drawn.data.checks if c.id in words.check]
    return {kind: words.request[kind] for kind in dict.fromkeys(kinds)}


def _views(drawn: Drawn) -> list[str]:
    """Views whose photos show all that is asked: names for the files."""
    kinds = set(requests_of(drawn))
    views = ["entry"] if "entry" in kinds else []
    return views + (["terminals"] if kinds - {"entry"} else [])


def why_picked(drawn: Drawn) -> dict[str, str]:
    """For each fitting drawn, its stratum and how many of it were drawn."""
    found: dict[str, str] = {}
    for share in drawn.shares:
        named = [
            f"{what} {value}"
            for what, value in zip(drawn.data.strata_by, share.stratum, strict=False)
        ]
        stratum = ", ".join(named) or drawn.data.lot_words
        for label in share.labels:
            found[label] = f"{stratum}: {len(share.labels)} of {share.size} drawn"
    return found


def draw_lines(drawn: Drawn, words: Sequence[str], count: int) -> list[str]:
    """What is said of a draw.

    Parameters
    ----------
    drawn : Drawn
        Finished.
    words : sequence of str
        Why so many.
    count : int
        Draws made in this job so far.
    """
    data = drawn.data
    by = f" by {drawn.entry.by}" if drawn.entry.by else ""
    lines = [
        f"Draw {drawn.number} of this job, entry {drawn.seq} of its record{by}: "
        f"{len(drawn.picked or ())} of {len(data.frame)} fittings ({data.lot_words}).",
        *([f"{count} draws were made in this job; the record shows each."] if count > 1 else []),
        f"Seed {data.seed} ({_seed_words(data.seed_from)}), frame SHA-256 {data.frame_sha256[:16]}…; "
        "the record holds both from before the draw.",
        "",
        *words,
        "",
        "Look at these:",
    ]
    why, views = why_picked(drawn), _views(drawn)
    for label in drawn.picked or ():
        files = ", ".join(f"{label}-{view}.jpg" for view in views)
        lines.append(f"  {label}  {why[label]}" + (f"; photos {files}" if files else ""))
    missed = [s for s in drawn.shares if not s.labels]
    if missed:
        named = "; ".join(", ".join(s.stratum) for s in missed)
        lines.append(f"Nothing is drawn from {len(missed)} groups: {named}.")
    return [*lines, *_ask_lines(drawn), "", NOT_A_VERDICT]


def _seed_words(seed_from: str) -> str:
    if seed_from == "given":
        return "given by hand: whoever gave it could have tried others first"
    return "drawn by the operating system"


def _ask_lines(drawn: Drawn) -> list[str]:
    words = texts()
    asked = requests_of(drawn)
    lines = ["", "What to photograph of each, as it lies:", f"  {words.caution}"]
    lines += [f"  - {text}" for text in asked.values()]
    lines += [f"  {words.otherwise}", "", "Before anything is opened:"]
    return [*lines, *(f"  - {c}" for c in words.cautions), "", AFTER]


def draw_json(drawn: Drawn, words: Sequence[str], count: int) -> dict[str, Any]:
    """A draw as JSON values."""
    data = drawn.data
    why, views = why_picked(drawn), _views(drawn)
    return {
        "schema": DRAW_SCHEMA,
        "draw": drawn.number,
        "draws": count,
        "entry": drawn.seq,
        "by": drawn.entry.by,
        "at": drawn.entry.at,
        "method": data.method,
        "seed": data.seed,
        "seed_from": data.seed_from,
        "frame_sha256": data.frame_sha256,
        "strata_by": list(data.strata_by),
        "lot": data.lot,
        "lot_words": data.lot_words,
        "frame": len(data.frame),
        "size": data.size,
        "asked": data.asked,
        "why": list(words),
        "checks": [{"id": c.id, "weight": c.weight} for c in data.checks],
        "fittings": [
            {"label": x, "why": why[x], "photos": [f"{x}-{v}.jpg" for v in views]}
            for x in drawn.picked or ()
        ],
        "photograph": requests_of(drawn),
        "cautions": [texts().caution, *texts().cautions],
        "otherwise": texts().otherwise,
    }


def result_lines(found: Outcome, step: NextStep) -> list[str]:
    """What is said of an outcome."""
    numbers = ", ".join(str(d.number) for d in found.draws)
    many = "Draws" if len(found.draws) > 1 else "Draw"
    lines = [
        f"{many} {numbers}: {len(found.picked)} of {found.lot} fittings ({found.draws[0].data.lot_words}).",
        "Counted is what a person decided; the tool's own states count for nothing here.",
    ]
    for group in found.groups:
        lines += ["", *_group_lines(group, found.whatever or 0)]
    if found.waiting:
        more = f" and {len(found.waiting) - 6} more" if len(found.waiting) > 6 else ""
        lines += ["", f"Still to decide: {', '.join(found.waiting[:6])}{more}."]
    lines += ["", *_how_lines(found)]
    plan = found.draws[0].data.asked
    if plan.get("by") == "plan":
        lines += _plan_lines(found, plan)
    if found.not_asked:
        lines.append(f"The checklist asks nothing of these yet: {', '.join(found.not_asked)}.")
    lines += ["", f"Next: {step.words}"]
    return [*lines, *_careful(found, step), NOT_A_VERDICT]


def _careful(found: Outcome, step: NextStep) -> list[str]:
    """What goes with the advice to look at more fittings."""
    if step.size <= len(found.picked):
        return []
    return [f"By a competent person, and by the rules of the place. {texts().caution}"]


def _group_lines(group: Group, whatever: int) -> list[str]:
    title = "Faults of weight stop" if group.name == "weight stop" else "Faults of any check asked"
    lines = [
        f"{title}: confirmed in {_named(group.faulty)}; none held in {len(group.without)}; "
        f"undecided {_named(group.undecided)}."
    ]
    if group.undecided:
        lines.append(
            "  Nothing is concluded from what is undecided; the limits count it as faulty."
        )
    if group.n == group.lot:
        if not group.undecided:
            lines.append(f"  All {group.lot} were looked at: {len(group.faulty)} are faulty.")
        return lines
    # Of the two limits the wider one is told: how the faulty ones lie is not known.
    how = "wherever they lie among the groups" if whatever > group.most_in_lot else "simple draw"
    lines.append(
        f"  In the lot: at most {max(group.most_in_lot, whatever)} of {group.lot} are faulty "
        f"(95 %, one-sided, exact hypergeometric, {how})."
    )
    lines.append(
        f"  Of such work in the long run: at most {group.most_share * 100:.1f} % faulty "
        "(95 %, one-sided, Clopper-Pearson)."
    )
    return lines


def _named(labels: Sequence[str]) -> str:
    return f"{len(labels)} ({', '.join(labels)})" if labels else "0"


def _how_lines(found: Outcome) -> list[str]:
    first, steps = found.draws[0], len(found.draws)
    if steps > 1:
        return [
            f"Drawn in {steps} steps, the later ones because of what was found: together the limits hold "
            f"with {max(0, 100 - 5 * steps)} % at least (Bonferroni), not with 95 %."
        ]
    if len(first.shares) < 2:
        return []
    if found.whatever is not None:
        return [
            f"Shared out among {len(first.shares)} groups: wherever faulty fittings lie among them, "
            f"more than {found.whatever} would have been seen with a chance of 95 % or more."
        ]
    return [
        "The draw was shared out among groups, and the limits are those of a simple draw: here they can "
        "be off to either side, most where a group was hardly looked at."
    ]


def _plan_lines(found: Outcome, plan: Mapping[str, Any]) -> list[str]:
    whole = found.groups[-1]
    stops = found.groups[0] if found.groups[0].name == "weight stop" else None
    over = len(whole.faulty) > plan["ac"]
    lines = [
        f"Plan ({plan['severity']}, AQL {plan['aql']}): Ac {plan['ac']}; {len(whole.faulty)} faulty, "
        + ("over Ac." if over else "not over Ac." if not whole.undecided else "not over Ac so far.")
    ]
    if stops is not None:
        said = "over it" if stops.faulty else "not over it" + (" so far" if stops.undecided else "")
        lines.append(
            f"For weight stop Ac is 0, whatever the plan says: {len(stops.faulty)} faulty, {said}."
        )
    count = f"{found.lot}:{len(whole.faulty)}:{len(stops.faulty) if stops else 0}"
    if not whole.undecided and len(found.draws) == 1:
        lines.append(f"For switching at the next lot this one is: --earlier {count}")
    return lines


def result_json(found: Outcome, step: NextStep) -> dict[str, Any]:
    """An outcome as JSON values."""
    return {
        "schema": RESULT_SCHEMA,
        "draws": [d.number for d in found.draws],
        "lot": found.lot,
        "lot_words": found.draws[0].data.lot_words,
        "picked": list(found.picked),
        "asked": found.draws[0].data.asked,
        "groups": [
            {
                "group": g.name,
                "looked_at": g.n,
                "faulty": list(g.faulty),
                "without": list(g.without),
                "undecided": list(g.undecided),
                "most_in_lot_95": g.most_in_lot,
                "most_share_95": g.most_share,
            }
            for g in found.groups
        ],
        "most_wherever_95": found.whatever,
        "not_asked": list(found.not_asked),
        "undecided_items": list(found.waiting),
        "next": {"size": step.size, "words": step.words, "cautions": _careful(found, step)},
    }


def history_lines(found: Iterable[Drawn]) -> list[str]:
    """Every draw of the job, a line each: how often it was drawn is there for all to see."""
    lines = []
    for d in found:
        by = f", {d.entry.by}" if d.entry.by else ""
        state = f"{len(d.picked)} drawn" if d.picked is not None else "announced, not drawn"
        widens = ", widens an earlier one" if d.data.widens else ""
        lines.append(
            f"Draw {d.number}: entry {d.seq}, {d.entry.at}{by}: {state} of {len(d.data.frame)} "
            f"({d.data.lot_words}), seed {d.data.seed} {d.data.seed_from}{widens}."
        )
    return lines
