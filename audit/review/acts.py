"""Acts that are recorded: an item shown, decided, taken back."""

from __future__ import annotations

from flask import Blueprint, render_template
from flask.typing import ResponseReturnValue
from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from audit.checklist.models import Item
from audit.checklist.texts import texts
from audit.record.decisions import photos_of
from audit.record.errors import ConflictError, DecisionError
from audit.record.record import JobState
from audit.record.store import utc_now
from audit.record.types import Agree, Choice, Decision, Finds, Overrule, Retake, SeenOnSite
from audit.review.ask import ask
from audit.review.bodies import read_body
from audit.review.context import review
from audit.review.desk import Basis
from audit.review.door import who
from audit.review.rows import hidden

blueprint = Blueprint("acts", __name__)
_AHEAD_S = 300.0
"""Clocks of two machines may differ by so much."""


class _Act(BaseModel):
    model_config = ConfigDict(extra="forbid")
    item: str = Field(max_length=40)
    digest: str = Field(max_length=64)
    key: str = Field(min_length=8, max_length=100)


class _Shown(_Act):
    photos: list[str] = Field(default_factory=list, max_length=100)


class _Undo(_Act):
    saw: list[str] = Field(max_length=64)


class _Decide(_Undo):
    choice: Choice
    reason: str = Field("", max_length=4000)
    finds: Finds | None = None
    request: str = Field("", max_length=4000)
    who: str = Field("", max_length=200)
    when: AwareDatetime | None = None
    note: str = Field("", max_length=4000)


def reviewer() -> str:
    """Who is reviewing.

    Raises
    ------
    DecisionError
        When this browser did not say so.
    """
    name = who()
    if name is None:
        raise DecisionError("nobody has said who is reviewing", next_step="say it under 'You'")
    return name


def _asked(body: _Act, by: str) -> tuple[Basis, JobState, Item]:
    """The item an act is about, if it is still the one that was on screen."""
    basis, state = review().desk.adopted(by)
    item = basis.items.get(body.item)
    if item is None:
        raise DecisionError(
            "the checklist has no such item any more", next_step="load the page again"
        )
    if hidden(item, state):
        raise DecisionError("this fitting is judged before its states are shown",
                            next_step="judge it first")  # fmt: skip
    standing = state.standings[item.id]
    if body.digest != standing.digest:
        raise ConflictError(standing)
    return basis, state, item


def fragment(basis: Basis, item: Item, by: str) -> str:
    """One item's part of the page as it stands now."""
    state = review().desk.record.state(basis.evidence)
    return render_template("ask.html", ask=ask(basis, state.standings[item.id], by))


@blueprint.errorhandler(ConflictError)
def conflict(error: ConflictError) -> ResponseReturnValue:
    """Show how the item stands now; nothing was recorded."""
    basis = review().desk.basis()
    shown = fragment(basis, basis.evidence.items[error.standing.item.id], who() or "")
    return {"what": error.what, "next": error.next_step, "html": shown}, 409


@blueprint.post("/do/shown")
def shown() -> ResponseReturnValue:
    """Record that an item was open with its photo on screen."""
    by, body = reviewer(), read_body(_Shown)
    basis, _, item = _asked(body, by)
    files = [basis.photos[p].file for p in body.photos if p in basis.photos]
    if not ask(basis, review().desk.record.state(basis.evidence).standings[item.id], by).must_see:
        files = list(photos_of(basis.evidence, item))  # none of them can be on screen
    review().desk.record.shown(basis.evidence, item.id, by=by, photos=files, key=body.key)
    return _now(basis, item, by)


@blueprint.post("/do/decide")
def decide() -> ResponseReturnValue:
    """Record one decision on one item."""
    by, body = reviewer(), read_body(_Decide)
    basis, _, item = _asked(body, by)
    review().desk.record.decide(
        basis.evidence, item.id, _decision(body), by=by, saw=body.saw, key=body.key
    )
    return _now(basis, item, by)


@blueprint.post("/do/undo")
def undo() -> ResponseReturnValue:
    """Take the decision on an item back, by a further entry."""
    by, body = reviewer(), read_body(_Undo)
    basis, _, item = _asked(body, by)
    review().desk.record.undo(basis.evidence, item.id, by=by, saw=body.saw, key=body.key)
    return _now(basis, item, by)


def _now(basis: Basis, item: Item, by: str) -> ResponseReturnValue:
    state = review().desk.record.state(basis.evidence)
    return {"html": fragment(basis, item, by), "seq": state.seq}


def _decision(body: _Decide) -> Decision:
    match body.choice:
        case "agree":
            return Agree()
        case "overrule":
            return Overrule(body.reason.strip(), body.finds)
        case "retake":
            if not body.request.strip():
                raise DecisionError("a request needs words", next_step="say what to photograph")
            return Retake(_with_caution(body.request.strip()))
        case "seen on site":
            return _seen(body)


def _with_caution(request: str) -> str:
    """Whatever was taken out of it, a request opens with the caution."""
    caution = texts().caution
    return request if caution in request else f"{caution} {request}"


def _seen(body: _Decide) -> SeenOnSite:
    if not body.who.strip():
        raise DecisionError("who saw it on site is missing", next_step="give the name")
    if body.when is None:
        raise DecisionError("when it was seen is missing", next_step="give day and time")
    if (body.when - utc_now()).total_seconds() > _AHEAD_S:
        raise DecisionError("it can't have been seen in the future", next_step="correct the time")
    if body.finds is None:
        raise DecisionError("what was seen is missing", next_step="say fault or no fault")
    return SeenOnSite(body.who.strip(), body.when, body.finds, body.note.strip())
