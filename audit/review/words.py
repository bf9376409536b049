"""Words of the pages: decisions and moments as a person reads them."""

from __future__ import annotations

from datetime import datetime
from typing import assert_never

from audit.checklist.models import Item
from audit.record.types import Agree, Decided, Decision, Overrule, Retake, SeenOnSite

AGREE = {
    "flag": "Agree: the fault is there",
    "unsure": "Agree: it can't be told, leave it open",
    "missing": "Agree: nothing was supplied, leave it open",
    "clear": "Agree: no fault to be seen here either",
}
"""What agreeing means, by the item's state."""


def moment(text: str | datetime | None) -> str:
    """A moment as `25 Nov 2026, 09:41 UTC`; texts that are none stay as they are.

    Examples
    --------
    >>> moment("2026-11-25T09:41:07.120Z")
    '25 Nov 2026, 09:41 UTC'
    """
    if text is None:
        return ""
    try:
        when = text if isinstance(text, datetime) else datetime.fromisoformat(text)
    except ValueError:
        return str(text)
    return f"{when.day} {when:%b %Y, %H:%M} UTC"


def said(decision: Decision, tool_state: str) -> str:
    """A decision in one sentence, without who made it."""
    match decision:
        case Agree():
            return {
                "flag": "agreed: the fault is there",
                "unsure": "agreed that it can't be told; left open",
                "missing": "agreed that nothing was supplied; left open",
            }.get(tool_state, "agreed: no fault to be seen")
        case Overrule():
            return f"overruled, {decision.finds or 'the other way'}: {decision.reason}"
        case Retake():
            return "another photo asked for"
        case SeenOnSite():
            note = f"; {decision.note}" if decision.note else ""
            return (
                f"seen on site by {decision.who}, {moment(decision.when)}: {decision.finds}{note}"
            )
        case _:
            assert_never(decision)


def decided(found: Decided) -> str:
    """A standing decision with who and when."""
    return f"{said(found.decision, found.tool_state)} ({found.by}, {moment(found.at)})"


def needs_finding(item: Item) -> bool:
    """Whether overruling has to say which way: the tool holds neither."""
    return item.state in ("unsure", "missing")


def count(number: int, one: str, many: str | None = None) -> str:
    """A number with its noun."""
    return f"{number} {one if number == 1 else many or one + 's'}"
