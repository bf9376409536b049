"""The items as a table for a spreadsheet, in which nothing is taken for a formula."""

from __future__ import annotations

import csv
import io

from audit.record.state import RecordState
from audit.record.types import Overrule, Retake, SeenOnSite, Standing
from audit.report.views import value_words

COLUMNS = (
    "item", "subject", "name", "check", "hold point", "question", "state", "weight", "value",
    "why", "source", "standing", "decision", "finds", "by", "at", "reason or request", "seen by",
    "seen at", "note",
)  # fmt: skip
_FORMULA = ("=", "+", "-", "@", "|", "%", "−", "＝", "＋", "－", "＠")


def harmless(text: str) -> str:
    """A text that no spreadsheet takes for a formula.

    A text that begins with a character that starts one (or with spaces before such a
    character) gets an apostrophe in front; line ends become spaces.

    Parameters
    ----------
    text : str

    References
    ----------
    OWASP, CSV injection (from memory).

    Examples
    --------
    >>> harmless('=HYPERLINK("x")')
    '\\'=HYPERLINK("x")'
    """
    flat = " ".join(text.replace("\x00", "").split("\n")).replace("\r", " ").replace("\t", " ")
    return f"'{flat}" if flat.lstrip()[:1] in _FORMULA else flat


def items_csv(state: RecordState) -> bytes:
    """All items with their decisions.

    Parameters
    ----------
    state : RecordState

    Returns
    -------
    bytes
        RFC 4180, UTF-8 with a byte order mark (spreadsheets ask for it), CRLF.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, quoting=csv.QUOTE_ALL, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for standing in state.standings.values():
        writer.writerow([harmless(cell) for cell in _row(standing)])
    return b"\xef\xbb\xbf" + out.getvalue().encode("utf-8")


def _row(standing: Standing) -> list[str]:
    item = standing.item
    value = value_words(item.value) if item.value else ""
    head = [
        item.id, item.subject.kind, item.subject.id, item.check, item.hold_point, item.question,
        item.said, item.weight, value, item.why, item.source.text, standing.status,
    ]  # fmt: skip
    decided = standing.decision
    if decided is None:
        return head + [""] * (len(COLUMNS) - len(head))
    said = decided.decision
    finds = said.finds or "" if isinstance(said, Overrule | SeenOnSite) else ""
    text = said.reason if isinstance(said, Overrule) else ""
    text = said.request if isinstance(said, Retake) else text
    site = (
        (said.who, said.when.isoformat(), said.note)
        if isinstance(said, SeenOnSite)
        else ("", "", "")
    )
    return [*head, said.choice, finds, decided.by, decided.at, text, *site]
