"""What every set of local pages shares: guards, templates, and errors told in one line."""

from __future__ import annotations

import logging
from collections.abc import Callable, Iterable
from typing import Any

import jinja2
from flask import Blueprint, Flask, Response, render_template, request
from flask.typing import ResponseReturnValue
from markupsafe import Markup
from werkzeug.exceptions import HTTPException, SecurityError

from audit.checklist.texts import texts
from audit.errors import LidoffError, PhotoError, RecordError, ResourceError
from audit.report.html import drawing, sentence
from audit.review import words
from audit.review.access import Access, protect

_log = logging.getLogger("lidoff.pages")


def guarded(
    app: Flask,
    access: Access,
    blueprints: Iterable[Blueprint],
    bound: Callable[[str], str],
    *,
    bounded: bool = True,
) -> None:
    """Put guards and routes into an application.

    Parameters
    ----------
    app : flask.Flask
    access : Access
        Who may talk to the pages.
    blueprints : iterable of flask.Blueprint
    bound : callable
        The bound on the rate of an endpoint that takes a POST.
    bounded : bool
        Whether the rate of requests is bounded.
    """
    app.config["RATELIMIT_ENABLED"] = bounded
    limiter = protect(app, access)
    app.extensions["lidoff-limiter"] = limiter  # its decorators hold it weakly
    for blueprint in blueprints:
        app.register_blueprint(blueprint)
    for rule in list(app.url_map.iter_rules()):
        if "POST" in (rule.methods or ()):
            limit: Any = limiter.limit(bound(rule.endpoint))
            app.view_functions[rule.endpoint] = limit(app.view_functions[rule.endpoint])
    for endpoint in ("static", "shared.static"):
        if endpoint in app.view_functions:
            limiter.exempt(app.view_functions[endpoint])


def common_templates(app: Flask, behind: Iterable[jinja2.BaseLoader] = ()) -> None:
    """Strict templates with the drawings and words that the report has too.

    Parameters
    ----------
    app : flask.Flask
    behind : iterable of jinja2.BaseLoader
        Where a template is looked for that the application itself has not.
    """
    own = app.jinja_loader
    assert own is not None
    env = app.jinja_env
    env.loader = jinja2.ChoiceLoader(
        [own, *behind, jinja2.PackageLoader("audit.report", "templates")]
    )
    env.undefined = jinja2.StrictUndefined
    env.trim_blocks = env.lstrip_blocks = True
    env.filters.update(drawing=drawing, sentence=sentence, moment=words.moment)
    shapes = env.get_template("shapes.svg").render().replace(' style="position:absolute"', "")
    env.globals.update(
        shapes=Markup(shapes),
        count=words.count,
        caution=texts().caution,
        aid=texts().aid,
        unconfirmed=texts().unconfirmed,
    )


def tell_errors(app: Flask, whole: str) -> None:
    """Answer every error by a page or by JSON, never by a traceback.

    Parameters
    ----------
    app : flask.Flask
    whole : str
        What is still as it was after a fault in the tool.
    """

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
        return _answer(500, f"a fault in the tool; {whole}", "load the page again")


def _answer(code: int, what: str, next_step: str) -> ResponseReturnValue:
    if request.path.startswith("/do/") or request.path == "/news":
        return {"what": what, "next": next_step}, code
    if isinstance(request.routing_exception, SecurityError):
        return Response(f"{what}\n", code, mimetype="text/plain")  # no address to build links with
    page = render_template("told.html", what=what, next_step=next_step, code=code)
    return page, code
