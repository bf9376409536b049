"""Wording of lessons and sheets, from `models/lessons/*.toml`, checked when it is read.

A figure that the rules hold is written as `{value-id}` and filled in from the region, so that
a lesson can never say another figure than the tool works with; its source is added to the
lesson's own.
"""

from __future__ import annotations

import re
from functools import cache
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, ValidationError

from audit.errors import ModelsError, Where
from audit.measure.contract import CheckId, CpcSeen
from audit.resources import load_toml, models_dir
from audit.rules.catalogue import catalogue
from audit.rules.reference import number
from audit.rules.region import Region, shipped
from audit.rules.types import Source, Value, Verified
from audit.settings import Settings

REGION = "gb-eng"
"""Whose values the texts are filled with; what differs elsewhere is said in words."""
SHEETS = "lessons/sheets.toml"
HOW_MANY = 10
_MOST_GISTS = 2
"""What one clause says is told so many times at most: checks and values often share one."""
_VALUE = re.compile(r"\{((?:setting:)?[A-Za-z0-9_/.-]+)\}")
_SETTING = "setting:"

Text = Annotated[str, StringConstraints(strip_whitespace=True, min_length=12)]
Name = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9-]*$")]


class _Row(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", str_strip_whitespace=True)


class SourceText(_Row):
    """Where something a lesson says comes from, and how far that was verified."""

    standard: str = ""
    edition: str = ""
    clause: str = ""
    verified: Verified
    gist: str = Field(min_length=5)

    @property
    def source(self) -> Source:
        """As the rules hold it."""
        return Source(self.standard, self.edition, self.clause, self.verified, self.gist)


class Question(_Row):
    """A question to a trainee, and its answer, which is printed apart."""

    ask: Text
    answer: Text


class PhotoPicture(_Row):
    """A rendered photo of the practice set, bare or with its faults of some checks drawn in."""

    photo: Name
    mark: tuple[CheckId, ...] = Field(
        (), description="Checks whose places are drawn; none: the photo stays bare."
    )
    caption: Text
    alt: Text


class Drawing(_Row):
    """A drawing made from data by the function of this name."""

    drawing: Name
    data: dict[str, Any] = Field(default_factory=dict)
    caption: Text
    alt: Text


class Lesson(_Row):
    """One lesson of the course: one idea."""

    schema_: Literal["lidoff.lesson/1"] = Field(alias="schema")
    number: int = Field(ge=1, le=HOW_MANY)
    id: Name
    title: str = Field(min_length=4, max_length=60)
    idea: Text
    body: tuple[Text, ...] = Field(min_length=2)
    look_for: tuple[Text, ...] = Field(min_length=3)
    caution: tuple[Text, ...] = Field(min_length=1)
    elsewhere: Text = Field(description="What differs in other countries, and how to find out.")
    checks: tuple[str, ...] = Field((), description="Checks whose sources are this lesson's too.")
    question: tuple[Question, ...] = Field(min_length=3)
    source: tuple[SourceText, ...] = Field(min_length=1)
    picture: tuple[PhotoPicture | Drawing, ...] = Field(min_length=1)


class CheckText(_Row):
    """What a sheet says of one check."""

    name: str = Field(min_length=4, max_length=48)
    wrong: Text = Field(description="Where a length is known, {length} stands for it.")
    wrong_unmeasured: Text
    wrong_as: dict[CpcSeen, Text] = Field(
        default_factory=dict, description="In its place, where one thing is known of the CPC."
    )
    right: Text
    caution: Text
    has_length: bool = Field(True, description="Whether a length in mm can be asked for.")


class SheetTexts(_Row):
    """Everything that stands on a sheet and is not the photo's."""

    schema_: Literal["lidoff.lesson-sheets/1"] = Field(alias="schema")
    title: str
    caution: Text
    tasks: tuple[Text, ...] = Field(min_length=2)
    task_of_length: Text
    note: Text
    check: dict[CheckId, CheckText]

    def tasks_of(self, check: CheckId) -> list[str]:
        """What the handout asks of a photo; no length of a fault that has none."""
        length = [self.task_of_length] if self.check[check].has_length else []
        return [*self.tasks, *length]


def read_lesson(data: dict[str, Any], name: str) -> Lesson:
    """Check one lesson.

    Parameters
    ----------
    data : dict
        As TOML gives it.
    name : str
        Of the file, for messages.

    Raises
    ------
    ModelsError
        When a field is missing or wrong, or a check or a value is not known.
    """
    try:
        lesson = Lesson.model_validate(data)
    except ValidationError as exc:
        raise _wrong(exc, name) from exc
    for check in lesson.checks:
        if check not in catalogue():
            raise ModelsError(f"there is no check {check!r}", Where(name, field="checks"))
    for text in _texts(lesson):
        fill(text, name)
    return lesson


def _wrong(exc: ValidationError, name: str) -> ModelsError:
    first = exc.errors(include_url=False, include_input=False)[0]
    place = ".".join(str(part) for part in first["loc"])
    return ModelsError(first["msg"], Where(name, field=place), "install lidoff again")


@cache
def lessons() -> tuple[Lesson, ...]:
    """The course, in order.

    Raises
    ------
    ModelsError
        When a file is not as it should be, or a lesson is missing.
    """
    folder = models_dir() / "lessons"
    names = [f"lessons/{p.name}" for p in sorted(folder.glob("[0-9][0-9]-*.toml"))]
    found = tuple(sorted((read_lesson(load_toml(n), n) for n in names), key=lambda e: e.number))
    if [e.number for e in found] != list(range(1, HOW_MANY + 1)):
        raise ModelsError(
            f"the course needs lessons 1 to {HOW_MANY}", Where("lessons"), "install lidoff again"
        )
    return found


@cache
def sheet_texts() -> SheetTexts:
    """The wording of sheets.

    Raises
    ------
    ModelsError
        When the file is not as it should be.
    """
    try:
        return SheetTexts.model_validate(load_toml(SHEETS))
    except ValidationError as exc:
        raise _wrong(exc, SHEETS) from exc


def region() -> Region:
    """The region whose values fill the texts."""
    return shipped(REGION)


def _value(identity: str, name: str) -> Value:
    found = region().values.get(identity)
    if found is None:
        raise ModelsError(f"there is no value {identity!r}", Where(name), "install lidoff again")
    return found


def fill(text: str, name: str = "lessons") -> str:
    """A text with its figures: `{zone2-reach-m}` becomes `0.6 m`.

    `{setting:copper_limit_mm}` is the default of a setting of this tool, without its unit.

    Raises
    ------
    ModelsError
        When there is no such value or setting.
    """

    def figure(match: re.Match[str]) -> str:
        if match[1].startswith(_SETTING):
            return _setting(match[1].removeprefix(_SETTING), name)
        return number(_value(match[1], name))

    return _VALUE.sub(figure, text)


def _setting(identity: str, name: str) -> str:
    default = getattr(Settings(), identity, None)
    if default is None:
        raise ModelsError(f"there is no setting {identity!r}", Where(name), "install lidoff again")
    return f"{default:g}"


def values_in(lesson: Lesson) -> list[Value]:
    """The region's values that a lesson's words use, each once, in order."""
    used = [m[1] for text in _texts(lesson) for m in _VALUE.finditer(text)]
    ids = [i for i in dict.fromkeys(used) if not i.startswith(_SETTING)]
    return [_value(identity, lesson.id) for identity in ids]


def _texts(lesson: Lesson) -> list[str]:
    pictures = [t for p in lesson.picture for t in (p.caption, p.alt)]
    asked = [t for q in lesson.question for t in (q.ask, q.answer)]
    return [
        lesson.idea, *lesson.body, *lesson.look_for, *lesson.caution, lesson.elsewhere,
        *pictures, *asked,
    ]  # fmt: skip


def sources_of(lesson: Lesson) -> list[str]:
    """Sources of a lesson in words: its own, its values', its checks'; each once.

    Each says edition and clause where there is one, and how far it was verified.
    """
    own = [s.source for s in lesson.source]
    own += [v.source for v in values_in(lesson)]
    own += [s for c in lesson.checks for s in catalogue()[c].sources]
    return source_lines(own)


def source_lines(sources: list[Source]) -> list[str]:
    """Sources in words with what they say; those of one place in one line."""
    gists: dict[str, list[str]] = {}
    for source in sources:
        practice = source.verified is Verified.PRACTICE
        key = "Common practice, no source" if practice else str(source)
        held = gists.setdefault(key, [])
        if source.gist and source.gist not in held and (practice or len(held) < _MOST_GISTS):
            held.append(source.gist)
    return [f"{key}: {'; '.join(said)}." if said else f"{key}." for key, said in gists.items()]
