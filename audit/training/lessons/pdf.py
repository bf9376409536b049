"""Lessons as PDF: tagged, every picture with its words, the same bytes for the same content."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import typst

from audit.errors import ResourceError
from audit.report.pdf_data import drawable
from audit.training.lessons.course import CourseLesson, CoursePicture
from audit.training.lessons.door import Shot
from audit.training.lessons.html import ANSWERS, COURSE, HANDOUT
from audit.training.lessons.sheets import Ribbon, Sheet
from audit.training.lessons.texts import sheet_texts

_HERE = Path(__file__).parent
_UNITS_PER_MM = 3.6
"""Drawing units of a ribbon for each mm on paper."""


class _Files:
    """Pictures given names in the folder that typst reads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._names: dict[bytes, str] = {}

    def shot(self, shot: Shot | None) -> dict[str, Any] | None:
        """A picture as the template reads it; one file for the same bytes."""
        if shot is None:
            return None
        name = self._names.setdefault(shot.jpeg, f"picture-{len(self._names)}.jpg")
        path = self._folder / name
        if not path.exists():
            path.write_bytes(shot.jpeg)
        return {"file": name, "alt": shot.alt, "tall": round(shot.size[1] / shot.size[0], 4)}


def sheets_pdf(sheets: Sequence[Sheet]) -> bytes:
    """All sheets with their answers, two to a page.

    Raises
    ------
    ResourceError
        When it can't be set.
    """
    with _folder() as folder:
        files = _Files(folder)
        data = {
            "title": sheet_texts().title,
            "kind": ANSWERS,
            "sheets": [_sheet(s, files) for s in sheets],
        }
        return _set(folder, "sheets.typ", data)


def handout_pdf(sheets: Sequence[Sheet]) -> bytes:
    """Bare photos and questions, two to a page; no answer is in it.

    Raises
    ------
    ResourceError
        When it can't be set.
    """
    texts = sheet_texts()
    with _folder() as folder:
        files = _Files(folder)
        rows = [
            {
                "number": s.number,
                "question": s.question,
                "bare": files.shot(s.bare),
                "caution": texts.caution,
            }
            for s in sheets
        ]
        data = {
            "title": texts.title,
            "kind": HANDOUT,
            "tasks": list(texts.tasks),
            "note": texts.note,
            "sheets": rows,
        }
        return _set(folder, "handout.typ", data)


def course_pdf(course: Sequence[CourseLesson], *, answers: bool) -> bytes:
    """The course, or its answers.

    Raises
    ------
    ResourceError
        When it can't be set.
    """
    with _folder() as folder:
        files = _Files(folder)
        data = {
            "title": COURSE,
            "kind": ANSWERS if answers else "the course",
            "caution": sheet_texts().caution,
            "lessons": [_lesson(e, files, answers=answers) for e in course],
        }
        return _set(folder, "answers.typ" if answers else "course.typ", data)


def _lesson(lesson: CourseLesson, files: _Files, *, answers: bool) -> dict[str, Any]:
    questions = [
        {"ask": q.ask, "answer": q.answer} if answers else {"ask": q.ask} for q in lesson.questions
    ]
    shared = {"number": lesson.number, "title": lesson.title, "questions": questions}
    if answers:
        return shared
    return shared | {
        "idea": lesson.idea,
        "body": list(lesson.body),
        "look_for": list(lesson.look_for),
        "caution": list(lesson.caution),
        "elsewhere": lesson.elsewhere,
        "sources": list(lesson.sources),
        "pictures": [_picture(p, files) for p in lesson.pictures],
    }


def _picture(picture: CoursePicture, files: _Files) -> dict[str, Any]:
    shared = {"caption": picture.caption, "broad": picture.broad}
    if isinstance(picture.content, Shot):
        return shared | {"shot": files.shot(picture.content), "svg": None}
    wide, tall = _extent(picture.content)
    return shared | {
        "shot": None,
        "svg": drawable(picture.content),
        "alt": picture.alt,
        "wide": round(min(wide / _UNITS_PER_MM, 182.0 if picture.broad else 86.0), 1),
        "tall": round(min(tall / _UNITS_PER_MM, 86.0), 1),
    }


def _extent(svg: str) -> tuple[float, float]:
    """Width and height of a drawing, in its units."""
    box = svg.partition('viewBox="')[2].partition('"')[0].split()
    return float(box[2]), float(box[3])


def _sheet(sheet: Sheet, files: _Files) -> dict[str, Any]:
    return {
        "number": sheet.number,
        "name": sheet.name,
        "bare": files.shot(sheet.bare),
        "marked": files.shot(sheet.marked),
        "close": files.shot(sheet.close),
        "sound": files.shot(sheet.sound),
        "ribbon": _ribbon(sheet.ribbon),
        "wrong": sheet.wrong,
        "known": sheet.known,
        "why": sheet.why,
        "right": sheet.right,
        "also": sheet.also,
        "caution": list(sheet.caution),
        "sources": list(sheet.sources),
    }


def _ribbon(ribbon: Ribbon | None) -> dict[str, Any] | None:
    if ribbon is None:
        return None
    return {
        "svg": drawable(ribbon.svg),
        "alt": f"The cable drawn to scale: {ribbon.words}",
        "width": round(_extent(ribbon.svg)[0] / _UNITS_PER_MM, 1),
    }


def _folder() -> Any:
    return _AsPath(prefix="lidoff-")


class _AsPath(tempfile.TemporaryDirectory[str]):
    """A temporary folder that is entered as a path."""

    def __enter__(self) -> Path:  # type: ignore[override]
        return Path(super().__enter__())


def _set(folder: Path, template: str, data: dict[str, Any]) -> bytes:
    (folder / "data.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
    for name in (template, "common.typ"):
        (folder / name).write_bytes((_HERE / name).read_bytes())
    try:
        pdf = typst.compile(
            folder / template,
            root=folder,
            format="pdf",
            ignore_system_fonts=True,  # else the bytes depend on the machine
            pdf_standards=["a-2a", "ua-1"],
            timestamp=0,  # when it was made tells of a day and a place of work
        )
    except typst.TypstError as exc:
        raise ResourceError(f"the lessons can't be set ({exc})") from exc
    return bytes(pdf)
