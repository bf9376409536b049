"""Decisions and standings in the words that a person reads in the report."""

from __future__ import annotations

from audit.record.types import Agree, Decided, Overrule, Retake, SeenOnSite, Standing

_STATUS = {
    "undecided": "Not decided.",
    "again": "Changed since it was decided: to be decided again.",
    "conflict": "Decided differently in two copies: to be decided again.",
}


def standing_words(standing: Standing) -> str:
    """How an item stands, in one sentence."""
    if standing.status != "decided" or standing.decision is None:
        return _STATUS.get(standing.status, "Not decided.")
    if standing.finds_fault:
        return "The fault is held to be there."
    if standing.retake_outstanding:
        return "Another photo is asked for."
    if standing.left_open:
        return f"Agreed to be {standing.item.state}."
    return "Decided."


def decision_lines(standing: Standing) -> list[str]:
    """What was decided, beside the word for it."""
    if standing.status == "conflict":
        return [line for side in standing.sides for line in _side(side)]
    if standing.decision is None:
        return []
    if standing.status == "again":
        return [f"Then: {standing.decision.decision.choice}, {standing.decision.by}."]
    return said(standing.decision)


def decision_line(standing: Standing) -> str:
    """Decision, text, who and when in one line, for tables of items that are not pressing."""
    decided = standing.decision
    if standing.status != "decided" or decided is None:
        return standing_words(standing)
    text = " ".join(decision_lines(standing))
    word = decided.decision.choice
    return f"{word[:1].upper()}{word[1:]}: {text} {decided.by}, {decided.at[:10]}".replace(
        "  ", " "
    )


def _side(decided: Decided) -> list[str]:
    if decided.taken_back:
        return [f"{decided.by}, {decided.at}: took back {decided.decision.choice}."]
    return [f"{decided.by}, {decided.at}: {decided.decision.choice}.", *said(decided)]


def said(decided: Decided) -> list[str]:
    """The text that goes with a decision.

    Parameters
    ----------
    decided : Decided
    """
    match decided.decision:
        case Overrule(reason=reason, finds=finds):
            return [f"Finds: {finds}.", reason]
        case Retake(request=request):
            return [request]
        case SeenOnSite(who=who, when=when, finds=finds, note=note):
            lines = [f"Seen by {who} on {when:%Y-%m-%d %H:%M} UTC; finds: {finds}."]
            return [*lines, note] if note else lines
        case Agree():
            held = {"flag": "The fault is there.", "clear": "", "unsure": "It can't be told."}
            text = held.get(decided.tool_state, "Nothing was supplied.")
            return [text] if text else []
