"""The way in: the one-time code where one is wanted, and who is reviewing."""

from __future__ import annotations

from urllib.parse import urlsplit

from flask import Blueprint, redirect, render_template, request, session, url_for
from flask.typing import ResponseReturnValue
from pydantic import BaseModel, ConfigDict, Field

from audit.record.payloads import check_name
from audit.review.bodies import read_body
from audit.review.context import review

blueprint = Blueprint("door", __name__)


class _Code(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)
    code: str = Field(max_length=64)


class _Name(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)
    name: str = Field(max_length=200)
    key: str = Field(min_length=8, max_length=100)


@blueprint.get("/enter")
def enter() -> ResponseReturnValue:
    """Ask for the code that stands in the terminal."""
    if not review().access.code_wanted or session.get("in"):
        return redirect(url_for("pages.start"))
    return render_template("enter.html")


@blueprint.post("/do/enter")
def let_in() -> ResponseReturnValue:
    """Let a browser in that knows the code; each code lets one in."""
    if not review().access.use(read_body(_Code).code):
        return {"what": "this is not the code", "next": "read it again in the terminal"}, 403
    session["in"] = True
    return {"to": url_for("pages.start")}


@blueprint.get("/you")
def you() -> ResponseReturnValue:
    """Ask who is reviewing."""
    return render_template("you.html", name=who() or "", to=_back(request.args.get("to", "/")))


@blueprint.post("/do/name")
def name() -> ResponseReturnValue:
    """Keep who is reviewing in this browser; the first one draws the second look."""
    body = read_body(_Name)
    session["who"] = check_name(" ".join(body.name.split()))
    review().desk.draw(session["who"], body.key)
    return {"name": session["who"]}


def who() -> str | None:
    """Who is reviewing in this browser, or None."""
    found = session.get("who")
    return found if isinstance(found, str) and found else None


def _back(to: str) -> str:
    """A path of ours, whatever was asked for."""
    parts = urlsplit(to)
    inside = to.startswith("/") and not to.startswith(("//", "/\\")) and not parts.netloc
    return to if inside and to.isprintable() and "\\" not in to else "/"
