"""The application: routes put together, guarded, and never showing a traceback."""

from __future__ import annotations

import logging
from typing import Any

import jinja2
from flask import Flask, Response, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup
from werkzeug.exceptions import HTTPException, SecurityError

from audit.checklist.models import STATE_WORDS
from audit.checklist.texts import texts
from audit.errors import LidoffError, PhotoError, RecordError, ResourceError
from audit.report.html import drawing, sentence
from audit.report.ribbon import in_words
from audit.report.views import subject_words, value_words
from audit.review import acts, door, measure, pages, second_look, signing, words
from audit.review.access import COSTLY_LIMIT, SECRET_LIMIT, WRITE_LIMIT, protect
from audit.review.context import NAME, Review
from audit.review.desk import item_key, slug
from audit.review.pictures import photo_key

_log = logging.getLogger("lidoff.review")


def create_app(what: Review, *, bounded: bool = True) -> Flask:
    """Make the application.

    Parameters
    ----------
    what : Review
    bounded : bool
        Whether the rate of requests is bounded.

    Returns
    -------
    flask.Flask
    """
    app = Flask("audit.review", static_folder="static", template_folder="templates")
    app.extensions[NAME] = what
    app.config["RATELIMIT_ENABLED"] = bounded
    limiter = protect(app, what.access)
    app.extensions[f"{NAME}-limiter"] = limiter  # its decorators hold it weakly
    for module in (door, pages, acts, measure, second_look, signing):
        app.register_blueprint(module.blueprint)
    for rule in list(app.url_map.iter_rules()):
        if "POST" in (rule.methods or ()):
            limit: Any = limiter.limit(_bound(rule.endpoint))
            app.view_functions[rule.endpoint] = limit(app.view_functions[rule.endpoint])
    limiter.exempt(app.view_functions["static"])
    _templates(app)
    _errors(app)
    return app


def _bound(endpoint: str) -> str:
    if endpoint in ("door.let_in", "signing.sign"):
        return SECRET_LIMIT
    if endpoint in ("signing.make_pack", "measure.keep"):
        return COSTLY_LIMIT
    return WRITE_LIMIT


def _templates(app: Flask) -> None:
    """Share drawings and words with the report, so that both read as one."""
    own = app.jinja_loader
    assert own is not None
    shared = jinja2.PackageLoader("audit.report", "templates")
    env = app.jinja_env
    env.loader = jinja2.ChoiceLoader([own, shared])
    env.undefined = jinja2.StrictUndefined
    env.trim_blocks = env.lstrip_blocks = True
    env.filters.update(
        drawing=drawing,
        sentence=sentence,
        subject=subject_words,
        value=value_words,
        moment=words.moment,
        decided=words.decided,
        photo_key=photo_key,
        item_key=item_key,
    )
    shapes = env.get_template("shapes.svg").render().replace(' style="position:absolute"', "")
    env.globals.update(
        shapes=Markup(shapes),
        state_words=STATE_WORDS,
        agree_words=words.AGREE,
        needs_finding=words.needs_finding,
        count=words.count,
        in_words=in_words,
        slug=slug,
        caution=texts().caution,
        aid=texts().aid,
        unconfirmed=texts().unconfirmed,
    )


def _errors(app: Flask) -> None:
    @app.errorhandler(HTTPException)
    def http(error: HTTPException) -> ResponseReturnValue:
        code = error.code or 400
        if code < 400:  # a redirect of the router
            return error
        said = {
            401: "this browser was not let in",
            404: "there is nothing at this address",
            413: "too much was sent at once",
            429: "too many requests; wait a minute",
        }
        return _answer(code, said.get(code, (error.description or error.name).rstrip(".")), "")

    @app.errorhandler(LidoffError)
    def ours(error: LidoffError) -> ResponseReturnValue:
        code = 422
        if isinstance(error, PhotoError):
            code = 404
        elif isinstance(error, ResourceError | RecordError):
            code = 503
        return _answer(code, error.what, error.next_step)

    @app.errorhandler(Exception)
    def other(error: Exception) -> ResponseReturnValue:
        _log.exception("%s %s", request.method, request.path)
        return _answer(500, "a fault in the tool; the record is as it was", "load the page again")


def _answer(code: int, what: str, next_step: str) -> ResponseReturnValue:
    if request.path.startswith("/do/") or request.path == "/news":
        return {"what": what, "next": next_step}, code
    if isinstance(request.routing_exception, SecurityError):
        return Response(f"{what}\n", code, mimetype="text/plain")  # no address to build links with
    page = render_template("told.html", what=what, next_step=next_step, code=code)
    return page, code
