"""The course put together: texts filled with the rules' figures, pictures made."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from audit.errors import ModelsError, Where
from audit.measure.contract import FindingRecord, LookRecord
from audit.settings import Settings
from audit.training.lessons import drawings
from audit.training.lessons.door import Shot, bare, marked
from audit.training.lessons.from_truth import Known, fault, known_photos, opened
from audit.training.lessons.texts import (
    Drawing,
    Lesson,
    PhotoPicture,
    Question,
    fill,
    lessons,
    region,
    sheet_texts,
    sources_of,
)


@dataclass(frozen=True)
class CoursePicture:
    """A picture of a lesson.

    Parameters
    ----------
    caption, alt : str
    content : Shot or str
        A photo, or a drawing as SVG.
    broad : bool
        A strip that takes the whole width.
    """

    caption: str
    alt: str
    content: Shot | str = field(repr=False)
    broad: bool = False


@dataclass(frozen=True)
class CourseLesson:
    """A lesson ready to be set; all texts filled.

    Parameters
    ----------
    number : int
    id, title, idea, elsewhere : str
    body, look_for, caution, sources : tuple of str
    questions : tuple of Question
    pictures : tuple of CoursePicture
    """

    number: int
    id: str
    title: str
    idea: str
    elsewhere: str
    body: tuple[str, ...]
    look_for: tuple[str, ...]
    caution: tuple[str, ...]
    sources: tuple[str, ...]
    questions: tuple[Question, ...]
    pictures: tuple[CoursePicture, ...]


def make_course(folder: Path, settings: Settings) -> list[CourseLesson]:
    """All ten lessons.

    Parameters
    ----------
    folder : pathlib.Path
        Of the practice photos.
    settings : Settings

    Raises
    ------
    ModelsError
        When a text, a photo or a drawing is missing.
    """
    photos = {k.name: k for k in known_photos(folder)}
    return [_lesson(e, photos, settings) for e in lessons()]


def _lesson(lesson: Lesson, photos: Mapping[str, Known], settings: Settings) -> CourseLesson:
    def filled(texts: Sequence[str]) -> tuple[str, ...]:
        return tuple(fill(t, lesson.id) for t in texts)

    questions = [Question(ask=fill(q.ask), answer=fill(q.answer)) for q in lesson.question]
    return CourseLesson(
        number=lesson.number,
        id=lesson.id,
        title=lesson.title,
        idea=fill(lesson.idea),
        elsewhere=fill(lesson.elsewhere),
        body=filled(lesson.body),
        look_for=filled(lesson.look_for),
        caution=(sheet_texts().caution, *filled(lesson.caution)),
        sources=tuple(sources_of(lesson)),
        questions=tuple(questions),
        pictures=tuple(_picture(p, lesson, photos, settings) for p in lesson.picture),
    )


def _picture(
    picture: PhotoPicture | Drawing, lesson: Lesson, photos: Mapping[str, Known], settings: Settings
) -> CoursePicture:
    caption, alt = fill(picture.caption), fill(picture.alt)
    if isinstance(picture, Drawing):
        place = f"lesson{lesson.number}-{lesson.picture.index(picture)}"
        svg = drawings.draw(picture.drawing, picture.data, region(), place)
        return CoursePicture(caption, alt, svg, broad=picture.drawing == "ribbon")
    known = photos.get(picture.photo)
    if known is None:
        raise ModelsError(
            f"lesson {lesson.number} shows a photo {picture.photo!r} that is not in the set",
            Where(lesson.id),
            "install lidoff again",
        )
    shown = opened(known, settings).picture
    if not picture.mark:
        return CoursePicture(caption, alt, bare(shown, alt))
    return CoursePicture(caption, alt, marked(shown, _record(known, picture), alt))


def _record(known: Known, picture: PhotoPicture) -> LookRecord:
    """Places of the named checks, from truth, and the lines of their cables."""
    places: list[FindingRecord] = []
    for check in picture.mark:
        found = fault(known, check)
        if found is None:
            raise ModelsError(
                f"photo {picture.photo!r} shows no fault of {check!r} to outline",
                Where("lessons"),
                "install lidoff again",
            )
        places += found.places
    concerned = {p.of for p in places}
    cables = tuple(c for c in known.look.cables if c.id in concerned)
    return known.look.model_copy(update={"findings": tuple(places), "cables": cables})
