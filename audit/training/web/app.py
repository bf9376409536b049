"""The application of the practice pages: guarded and worded as the review pages are."""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path

import jinja2
from flask import Blueprint, Flask, url_for
from markupsafe import Markup

from audit.review.access import WRITE_LIMIT
from audit.review.shell import common_templates, guarded, tell_errors
from audit.training.web import pages
from audit.training.web.context import NAME, Practice
from audit.training.words import check_words, practice_texts


def create_app(what: Practice, *, bounded: bool = True) -> Flask:
    """Make the application.

    Parameters
    ----------
    what : Practice
    bounded : bool
        Whether the rate of requests is bounded.

    Returns
    -------
    flask.Flask
    """
    app = Flask("audit.training.web", static_folder="static", template_folder="templates")
    app.extensions[NAME] = what
    beside = Path(str(files("audit.review").joinpath("static")))
    shared = Blueprint("shared", __name__, static_folder=beside, static_url_path="/shared")
    guarded(app, what.access, [shared, pages.blueprint], lambda _: WRITE_LIMIT, bounded=bounded)
    common_templates(app, [jinja2.PackageLoader("audit.review", "templates")])
    env = app.jinja_env
    env.globals.update(
        shared_file=lambda name: url_for("shared.static", filename=name),
        texts=practice_texts(),
        checks=check_words(),
        trainee=what.trainee,
        signs=Markup(env.get_template("signs.svg").render()),
    )
    tell_errors(app, "your results are as they were")
    return app
