"""The checklist as one self-contained page: opens with no network, prints, fits a phone."""

from __future__ import annotations

import base64
from collections.abc import Iterator
from datetime import datetime
from functools import cache
from pathlib import Path

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from audit.checklist.models import STATE_WORDS, Checklist
from audit.report.views import PageView, PictureSource, subject_words, value_words


def embedded(path: Path) -> Markup:
    """A JPEG file as a data URI."""
    # Base64 holds no character that means anything in HTML.
    return Markup("data:image/jpeg;base64," + base64.b64encode(path.read_bytes()).decode())


def drawing(svg: str) -> Markup:
    """An SVG element of our own making, whose texts are escaped where it is made."""
    return Markup(svg)


def moment(text: str) -> str:
    """A time as it stands in the checklist (ISO 8601, UTC) for a person."""
    return datetime.fromisoformat(text).strftime("%d %B %Y, %H:%M UTC").lstrip("0")


def sentence(text: str) -> str:
    """A text as a sentence: capital first, full stop last."""
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text[-1:] in (".", "?", "!", ")", "") else ".")


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("audit.report", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        embedded=embedded,
        drawing=drawing,
        subject=subject_words,
        value=value_words,
        sentence=sentence,
        moment=moment,
    )
    environment.globals.update(state_words=STATE_WORDS)
    return environment


def page(checklist: Checklist, pictures: PictureSource) -> Iterator[str]:
    """Render the page piece by piece, so that memory does not grow with the pictures.

    Parameters
    ----------
    checklist : Checklist
    pictures : callable
        Gives the folder and the pictures of one photo, or None where there are none.

    Yields
    ------
    str
        HTML text; the pieces follow each other in one UTF-8 file.
    """
    view = PageView(checklist, pictures)
    yield from _environment().get_template("checklist.html.j2").generate(page=view, list=view.list)
