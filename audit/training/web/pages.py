"""Pages of practice: the start, a bare photo, and the truth beside the marks."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import cast, get_args

from flask import Blueprint, Response, abort, redirect, render_template, url_for
from flask.typing import ResponseReturnValue
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.errors import PhotoError, Where
from audit.record.errors import DecisionError
from audit.review.bodies import read_body
from audit.review.pictures import LONGER_SIDE, Size
from audit.review.words import count, moment
from audit.training.export import as_csv, as_json
from audit.training.schedule import Deck
from audit.training.scoring import MOST_MARKS, Given, Kind, Mark, score
from audit.training.sets import PracticePhoto
from audit.training.store import Round
from audit.training.web.context import practice
from audit.training.web.result import drawn, rows, summary

blueprint = Blueprint("pages", __name__)
_LAST = 12
_MOST_S = 6 * 3600.0
"""A photo left open overnight tells no time."""


class _Answer(BaseModel):
    model_config = ConfigDict(extra="forbid")
    photo: str = Field(max_length=40)
    kind: Kind
    marks: list[Mark] = Field(max_length=MOST_MARKS)
    seconds: float | None = Field(None, ge=0, allow_inf_nan=False)
    key: str = Field(min_length=8, max_length=100)


@blueprint.get("/")
def start() -> ResponseReturnValue:
    """How it works, what is due, and how it went so far."""
    here = practice()
    rounds = here.results.rounds()
    mine = [(n, r) for n, r in enumerate(rounds, start=1) if r.trainee == here.trainee]
    return render_template(
        "start.html",
        set=here.set,
        deck=here.deck(),
        history=here.history(),
        last=[(n, r, summary(r)) for n, r in reversed(mine[-_LAST:])],
        now=here.clock(),
        until=until,
        results_file=here.results.path,
    )


@blueprint.get("/checks")
def checks() -> ResponseReturnValue:
    """What there is to look for, with why and source."""
    return render_template("checks.html")


@blueprint.get("/next")
def next_photo() -> ResponseReturnValue:
    """Go to the photo that is due, or back to the start."""
    found = practice().deck().next
    if found is None:
        return redirect(url_for("pages.start"))
    return redirect(url_for("pages.look", key=practice().set.photos[found].key))


@blueprint.get("/ahead")
def ahead() -> ResponseReturnValue:
    """Go to a photo that is not due yet; it counts nothing."""
    deck = practice().deck()
    found = deck.next or next((k for _, k in deck.later), None)
    if found is None:
        return redirect(url_for("pages.start"))
    return redirect(url_for("pages.look", key=practice().set.photos[found].key))


@blueprint.get("/look/<key>")
def look(key: str) -> ResponseReturnValue:
    """One bare photo to judge; nothing on the page tells what it shows."""
    here = practice()
    photo = here.set.by_key(key) or abort(404)
    deck = here.deck()
    return render_template(
        "look.html",
        photo=photo,
        screen_width=_screen_width(photo.sheet.size_px),
        counts=deck.is_due(photo.sha256),
        left=len(deck.due) + len(deck.new),
    )


@blueprint.post("/do/answer")
def answer() -> ResponseReturnValue:
    """Score one answer and keep it, before anything of the truth is shown."""
    here, body = practice(), read_body(_Answer)
    photo = here.set.by_key(body.photo)
    if photo is None:
        raise DecisionError("the set has no such photo", next_step="go to the start page")
    given = _given(body, photo)
    made = Round(
        at=here.clock(),
        trainee=here.trainee,
        set=here.set.name,
        photo=photo.sha256,
        title=photo.title,
        given=given,
        sheet=photo.sheet,
        score=score(photo.sheet, given),
        seconds=None if body.seconds is None else min(body.seconds, _MOST_S),
        counted=here.deck().is_due(photo.sha256),
    )
    number = here.results.append(made, body.key)
    return {"to": url_for("pages.result", number=number)}


def _given(body: _Answer, photo: PracticePhoto) -> Given:
    width, height = photo.sheet.size_px
    if not all(0 <= x <= width and 0 <= y <= height for x, y in (m.at_px for m in body.marks)):
        raise DecisionError("a mark lies outside of the photo", next_step="put it anew")
    try:
        return Given(kind=body.kind, marks=tuple(body.marks))
    except ValidationError as exc:
        raise DecisionError(
            "an answer is marks, or one of the other two", next_step="take the marks away, or show"
        ) from exc


@blueprint.get("/round/<int:number>")
def result(number: int) -> ResponseReturnValue:
    """The truth beside the marks."""
    here = practice()
    rounds = here.results.rounds()
    made = rounds[number - 1] if 0 < number <= len(rounds) else None
    if made is None or made.trainee != here.trainee:
        abort(404)
    photo = here.set.photos.get(made.photo)
    deck = here.deck()
    return render_template(
        "round.html",
        round=made,
        photo=photo,
        screen_width=_screen_width(made.sheet.size_px),
        rows=rows(made),
        drawn=drawn(made),
        summary=summary(made),
        back=_back(deck, made, here.clock()),
        more=len(deck.due) + len(deck.new),
    )


def _back(deck: Deck, made: Round, now: datetime) -> str:
    """When this photo comes again, in words."""
    if not made.counted:
        return "It was not due, so this round counts nothing."
    due = next((d for d, k in deck.later if k == made.photo), None)
    return f"This photo comes back {until(due, now)}." if due else "This photo is due again."


def until(due: datetime, now: datetime) -> str:
    """When something is due, as a person says it.

    Examples
    --------
    >>> from datetime import UTC
    >>> at = datetime(2026, 11, 25, 9, 0, tzinfo=UTC)
    >>> until(at + timedelta(minutes=10), at), until(at + timedelta(days=2), at)
    ('in 10 minutes', 'in 2 days, on 27 Nov 2026')
    """
    minutes = max(1, round((due - now) / timedelta(minutes=1)))
    if minutes < 90:
        return f"in {count(minutes, 'minute')}"
    if minutes < 36 * 60:
        return f"in {count(round(minutes / 60), 'hour')}"
    return f"in {count(round(minutes / 1440), 'day')}, on {moment(due).split(',')[0]}"


def _screen_width(size: tuple[int, int]) -> int:
    return round(size[0] * min(1.0, LONGER_SIDE["screen"] / max(size)))


@blueprint.get("/photo/<key>/<size>")
def photo(key: str, size: str) -> ResponseReturnValue:
    """A photo's pixels, upright, and nothing else of its file."""
    here = practice()
    found = here.set.by_key(key)
    if found is None or size not in get_args(Size):
        abort(404)
    changed = PhotoError(
        "the photo is not the one that was read", Where(found.title), "start practice again"
    )
    data = here.pictures.jpeg(found.path, found.sha256, cast(Size, size), changed, found.cover)
    response = Response(data, mimetype="image/jpeg")
    response.headers["Cache-Control"] = "private, max-age=86400, immutable"
    return response


@blueprint.get("/results.<ending>")
def results(ending: str) -> ResponseReturnValue:
    """This trainee's results as a file."""
    kinds = {"csv": (as_csv, "text/csv"), "json": (as_json, "application/json")}
    if ending not in kinds:
        abort(404)
    make, kind = kinds[ending]
    response = Response(make(practice().rounds()), mimetype=kind)
    response.headers["Content-Disposition"] = f'attachment; filename="practice.{ending}"'
    return response
