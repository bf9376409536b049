"""The second look: some fittings are judged before the tool's states are shown."""

from __future__ import annotations

from flask import Blueprint, abort, redirect, render_template, url_for
from flask.typing import ResponseReturnValue
from pydantic import BaseModel, ConfigDict, Field

from audit.record.blind import JUDGED, blind_items
from audit.record.errors import DecisionError
from audit.record.types import Judged
from audit.review.acts import reviewer
from audit.review.bodies import read_body
from audit.review.context import review
from audit.review.door import who
from audit.review.pages import PhotoPane, ask_who, present

blueprint = Blueprint("second_look", __name__)
blueprint.before_request(ask_who)


class _Judge(BaseModel):
    model_config = ConfigDict(extra="forbid")
    item: str = Field(max_length=40)
    judged: Judged
    key: str = Field(min_length=8, max_length=100)


@blueprint.get("/second-look")
def all_of_it() -> ResponseReturnValue:
    """Which fittings were drawn, how, and how well reviewer and tool agree."""
    basis, state = present()
    drawn = [
        s for s in basis.subjects.values() if s.kind == "fitting" and s.id in state.blind.fittings
    ]
    draws = review().desk.record.fold().draws
    return render_template(
        "second_look.html",
        list=basis.checklist,
        blind=state.blind,
        drawn=drawn,
        share=draws[-1].share if draws else review().desk.share,
    )


@blueprint.get("/second-look/<name>")
def fitting(name: str) -> ResponseReturnValue:
    """One drawn fitting: its bare photos, and the questions that they answer."""
    basis, state = present()
    found = basis.subjects.get(name)
    if found is None or found.kind != "fitting":
        abort(404)
    if not state.blind.hides(found.id):
        return redirect(url_for("pages.subject", name=name))
    waiting = state.blind.to_judge[found.id]
    items = [i for i in blind_items(basis.evidence, found.id) if i.id in waiting]
    items.sort(key=lambda i: i.check)  # any order but one that tells the states
    return render_template(
        "blind.html",
        list=basis.checklist,
        subject=found,
        items=items,
        judged=JUDGED,
        photos=[PhotoPane(p, bare=True) for p in found.photos],
        by=who(),
    )


@blueprint.post("/do/judge")
def judge() -> ResponseReturnValue:
    """Record one judgement made on the bare photos."""
    by, body = reviewer(), read_body(_Judge)
    basis, _ = review().desk.adopted(by)
    item = basis.items.get(body.item)
    if item is None:
        raise DecisionError(
            "the checklist has no such item any more", next_step="load the page again"
        )
    review().desk.record.judge_blind(basis.evidence, item.id, body.judged, by=by, key=body.key)
    state = review().desk.record.state(basis.evidence)
    slug = basis.subject_of(item).slug
    return {
        "left": len(state.blind.to_judge.get(item.subject.id, ())),
        "to": url_for("pages.subject", name=slug),
    }
