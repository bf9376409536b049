"""What a decision, an undo and a showing need before they are recorded."""

from __future__ import annotations

from collections.abc import Sequence

from audit.checklist.models import Item
from audit.checklist.texts import texts
from audit.errors import Where
from audit.record.entries import Draft
from audit.record.errors import ConflictError, DecisionError, NotShownError
from audit.record.evidence import JobEvidence
from audit.record.fold import Fold
from audit.record.payloads import (
    DecisionData,
    ShownData,
    UndoData,
    check_name,
    checked,
    decision_data,
)
from audit.record.state import standing
from audit.record.types import Decision, Finds, Overrule, Standing


def item_of(job: JobEvidence, item: str) -> Item:
    """One item of the checklist.

    Raises
    ------
    DecisionError
        When there is none of that id.
    """
    found = job.items.get(item)
    if found is None:
        raise DecisionError(
            "the checklist has no such item", Where(None, None, item[:120]), "load the page again"
        )
    return found


def current(fold: Fold, job: JobEvidence, item: str, saw: Sequence[str]) -> Standing:
    """How an item stands, if it stands as its maker saw it.

    Raises
    ------
    ConflictError
        When it does not.
    """
    now = standing(fold, item_of(job, item), job.digests[item])
    if set(saw) != set(now.token):
        raise ConflictError(now)
    return now


def decision_draft(
    fold: Fold,
    job: JobEvidence,
    item: str,
    decision: Decision,
    by: str,
    saw: Sequence[str],
    key: str,
) -> Draft:
    """A decision ready to be appended; raises as `Record.decide` says."""
    check_name(by)
    _on_the_known_checklist(fold, job)
    now = current(fold, job, item, saw)
    if needs_showing(now.item) and by not in now.shown_to:
        raise NotShownError(
            "this item weighs 'stop' and was not open with its photo on screen",
            Where(None, None, item),
            "open it, look at its photo, then decide",
        )
    data = {
        "item": item,
        "item_digest": now.digest,
        "tool_state": now.item.state,
        "saw": sorted(now.token),
        "choice": decision.choice,
        **decision_data(decision, _finds(decision, now.item)),
    }
    if isinstance(decision, Overrule) and not decision.reason.strip():
        raise DecisionError("an overruled item needs a reason", Where(None, None, item), "say why")
    checked(DecisionData, data).decision()
    return Draft("decision", data, by, key)


def _on_the_known_checklist(fold: Fold, job: JobEvidence) -> None:
    known = fold.checklist
    if known is None or known.checklist_sha256 != job.checklist_sha256:
        raise DecisionError(
            "the checklist was made again in the meantime", next_step="load the page again"
        )


def _finds(decision: Decision, item: Item) -> Finds | None:
    """What an overruling says of the fault: the opposite of the tool's state, where it has one."""
    if not isinstance(decision, Overrule):
        return None
    opposite: Finds | None = {"flag": "no fault", "clear": "fault"}.get(item.state)  # type: ignore[assignment]
    if opposite is None and decision.finds is None:
        raise DecisionError(
            f"the item is {item.state}: overruling has to say whether the fault is there",
            Where(None, None, item.id),
            "choose 'fault' or 'no fault'",
        )
    if opposite is not None and decision.finds not in (None, opposite):
        raise DecisionError(
            "this says the same as the tool", Where(None, None, item.id), "choose agree"
        )
    return opposite or decision.finds


def undo_draft(
    fold: Fold, job: JobEvidence, item: str, by: str, saw: Sequence[str], key: str
) -> Draft:
    """An undo ready to be appended; raises as `Record.undo` says."""
    check_name(by)
    now = current(fold, job, item, saw)
    if now.decision is None:
        step = "decide it" if now.status == "conflict" else ""
        raise DecisionError("there is no decision to take back", Where(None, None, item), step)
    data = {"item": item, "of": now.decision.id, "saw": list(now.token)}
    checked(UndoData, data)
    return Draft("undo", data, by, key)


def photos_of(job: JobEvidence, item: Item) -> tuple[str, ...]:
    """Photos that an item is judged by: those it points at, else all of its fitting.

    Parameters
    ----------
    job : JobEvidence
    item : Item
    """
    pointed = tuple(dict.fromkeys(e.photo for e in item.evidence))
    if pointed or item.subject.kind != "fitting":
        return pointed
    return next((f.photos for f in job.checklist.fittings if f.label == item.subject.id), ())


def needs_showing(item: Item) -> bool:
    """Whether an item has to be opened before it is decided: it weighs `stop`."""
    return item.weight == "stop"


def shown_draft(job: JobEvidence, item: str, by: str, photos: Sequence[str], key: str) -> Draft:
    """A showing ready to be appended; raises as `Record.shown` says."""
    check_name(by)
    asked = item_of(job, item)
    wanted = photos_of(job, asked)
    seen = [p for p in dict.fromkeys(photos) if p in job.photos]
    if wanted and not set(wanted) & set(seen):
        raise DecisionError(
            "none of this item's photos was on screen", Where(None, None, item), "open one of them"
        )
    data = {"item": item, "item_digest": job.digests[item], "photos": seen}
    checked(ShownData, data)
    return Draft("shown", data, by, key)


def retake_request(item: Item) -> str:
    """The words a fitter is sent: the caution first, what to photograph, the other way out.

    Parameters
    ----------
    item : Item
    """
    words = texts()
    request = item.request or words.request.get(_request_kind(item), "One sharp photo of it.")
    return f"{item.subject.kind.capitalize()} {item.subject.id}: {words.settle(request)}"


def _request_kind(item: Item) -> str:
    check = texts().check.get(item.check)
    return check.request if check else ""
