"""The application: routes put together, guarded, and never showing a traceback."""

from __future__ import annotations

from flask import Flask, url_for

from audit.checklist.models import STATE_WORDS
from audit.report.ribbon import in_words
from audit.report.views import subject_words, value_words
from audit.review import acts, door, measure, pages, second_look, signing, words
from audit.review.access import COSTLY_LIMIT, SECRET_LIMIT, WRITE_LIMIT
from audit.review.context import NAME, Review
from audit.review.desk import item_key, slug
from audit.review.pictures import photo_key
from audit.review.shell import common_templates, guarded, tell_errors


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
    modules = (door, pages, acts, measure, second_look, signing)
    guarded(app, what.access, [m.blueprint for m in modules], _bound, bounded=bounded)
    _templates(app)
    tell_errors(app, "the record is as it was")
    return app


def _bound(endpoint: str) -> str:
    if endpoint in ("door.let_in", "signing.sign"):
        return SECRET_LIMIT
    if endpoint in ("signing.make_pack", "measure.keep"):
        return COSTLY_LIMIT
    return WRITE_LIMIT


def _templates(app: Flask) -> None:
    """Share drawings and words with the report, so that both read as one."""
    common_templates(app)
    env = app.jinja_env
    env.filters.update(
        subject=subject_words,
        value=value_words,
        decided=words.decided,
        photo_key=photo_key,
        item_key=item_key,
    )
    env.globals.update(
        shared_file=lambda name: url_for("static", filename=name),
        state_words=STATE_WORDS,
        agree_words=words.AGREE,
        needs_finding=words.needs_finding,
        in_words=in_words,
        slug=slug,
    )
