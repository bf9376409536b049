"""Lessons as pages: one file each, opens with no network, light and dark, narrow and in print."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from audit import __version__
from audit.training.lessons.course import CourseLesson
from audit.training.lessons.door import Shot
from audit.training.lessons.sheets import Sheet
from audit.training.lessons.texts import sheet_texts

ANSWERS, HANDOUT = "answers", "to be judged"
COURSE = "Ten lessons on opened downlights"


def _embedded(shot: Shot) -> Markup:
    # Base64 holds no character that means anything in HTML.
    return Markup("data:image/jpeg;base64," + base64.b64encode(shot.jpeg).decode())


def _drawing(svg: str) -> Markup:
    """A drawing of our own making, whose words are escaped where it is made."""
    return Markup(svg)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=PackageLoader("audit.training.lessons", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(embedded=_embedded, drawing=_drawing)
    environment.tests["photo"] = lambda content: isinstance(content, Shot)
    return environment


def _page(template: str, **data: Any) -> str:
    texts = sheet_texts()
    return _environment().get_template(template).render(version=__version__, texts=texts, **data)


def sheets_page(sheets: Sequence[Sheet]) -> str:
    """All sheets with their answers, as one HTML file.

    Parameters
    ----------
    sheets : sequence of Sheet
    """
    return _page("sheets.html.j2", title=sheet_texts().title, kind=ANSWERS, sheets=sheets)


def handout_page(sheets: Sequence[Sheet]) -> str:
    """Bare photos and questions, as one HTML file; no answer is in it.

    Parameters
    ----------
    sheets : sequence of Sheet
    """
    return _page("handout.html.j2", title=sheet_texts().title, kind=HANDOUT, sheets=sheets)


def course_page(course: Sequence[CourseLesson]) -> str:
    """The course as one HTML file.

    Parameters
    ----------
    course : sequence of CourseLesson
    """
    return _page("course.html.j2", title=COURSE, kind="the course", course=course)


def answers_page(course: Sequence[CourseLesson]) -> str:
    """Answers to the course's questions, as one HTML file.

    Parameters
    ----------
    course : sequence of CourseLesson
    """
    return _page("answers.html.j2", title=COURSE, kind=ANSWERS, course=course)
