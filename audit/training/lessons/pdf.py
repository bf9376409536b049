"""Lessons as PDF: tagged, every picture with its words, the same bytes for the same content."""

from __future__ import annotations

import json
import re
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
"""Drawing units for each mm on paper, where there is room."""
_LARGER, _ROOM = 1.35, 70.0
"""Letters of a ribbon on paper are so many times larger; units added for them at its right."""


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
                "tasks": texts.tasks_of(s.check),
                "bare": files.shot(s.bare),
                "caution": texts.caution,
            }
            for s in sheets
        ]
        data = {
            "title": texts.title,
            "kind": HANDOUT,
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
        "sources": _columns(lesson.sources, 3),
        "pictures": _pictures(lesson.pictures, files),
    }


def _columns(lines: Sequence[str], count: int) -> list[list[str]]:
    """Lines in columns of about the same length, in order."""
    if len(lines) <= count:
        return [[line] for line in lines] + [[] for _ in range(count - len(lines))]
    share = sum(map(len, lines)) / count
    columns: list[list[str]] = [[] for _ in range(count)]
    done = 0
    for line in lines:
        columns[min(count - 1, int((done + len(line) / 2) / share))].append(line)
        done += len(line)
    return columns


def _pictures(pictures: Sequence[CoursePicture], files: _Files) -> list[dict[str, Any]]:
    """Pictures, two to a row; one that is left over stands alone in its row."""
    made = [{**_picture(p, files), "alone": False} for p in pictures]
    narrow = [m for m in made if not m["broad"]]
    if len(narrow) % 2:
        narrow[-1]["alone"] = True
    return made


def _picture(picture: CoursePicture, files: _Files) -> dict[str, Any]:
    shared = {"caption": picture.caption, "broad": picture.broad}
    if isinstance(picture.content, Shot):
        return shared | {"shot": files.shot(picture.content), "svg": None}
    svg = for_paper(picture.content) if picture.broad else _unframed(drawable(picture.content))
    wide, tall = _fitted(svg, *((160.0, 30.0) if picture.broad else (86.0, 68.0)))
    return shared | {"shot": None, "svg": svg, "alt": picture.alt, "wide": wide, "tall": tall}


def _extent(svg: str) -> tuple[float, float]:
    """Width and height of a drawing, in its units."""
    box = svg.partition('viewBox="')[2].partition('"')[0].split()
    return float(box[2]), float(box[3])


def _unframed(svg: str) -> str:
    """A drawing as wide as its own extent: a width meant for a page would leave it margins."""
    wide, _ = _extent(svg)
    return re.sub(r'(<svg [^>]*?) width="[\d.]+"', rf'\1 width="{wide:g}"', svg, count=1)


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
    svg = for_paper(ribbon.svg)
    wide, tall = _fitted(svg, 136.0, 31.0)
    alt = f"The cable drawn to scale: {ribbon.words}"
    return {"svg": svg, "alt": alt, "wide": wide, "tall": tall}


def _fitted(svg: str, widest: float, tallest: float) -> tuple[float, float]:
    """Width and height in mm within bounds, to the drawing's proportions."""
    wide, tall = _extent(svg)
    scale = min(1 / _UNITS_PER_MM, widest / wide, tallest / tall)
    return round(wide * scale, 1), round(tall * scale, 1)


def for_paper(svg: str) -> str:
    """A ribbon with the embedded font, its words larger: on paper it is drawn smaller."""
    larger = re.sub(
        r'font-size="([\d.]+)"', lambda m: f'font-size="{float(m[1]) * _LARGER:.1f}"', drawable(svg)
    )
    # Words at the right end need the room that they were given for the smaller letters.
    wide, _ = _extent(svg)
    return larger.replace(f'viewBox="0 0 {wide:.1f} ', f'viewBox="0 0 {wide + _ROOM:.1f} ', 1)


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
