"""The index of a folder of practice photos: `set.toml`, one `[[photo]]` for each photo and its truth."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.errors import JobError, Where
from audit.training.handed import read_toml
from audit.training.order import COLOURS, Order, check_order

INDEX = "set.toml"


class _Photo(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    name: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{0,60}$")]
    title: Annotated[str, Field(min_length=1, max_length=120)]
    checks: list[str]
    difficulty: int
    seed: int
    view: str
    cables: int
    card: bool
    sizes: list[str]
    mm: dict[str, float] = {}
    sheath: str | None = None
    colours: str = COLOURS[0]
    light: str | None = None
    poor: str = ""


class _Set(BaseModel):
    model_config = ConfigDict(extra="forbid", strict=True)

    schema_: Annotated[Literal["lidoff.practice/1"], Field(alias="schema")]
    photo: list[_Photo]


@dataclass(frozen=True)
class PracticePhoto:
    """One photo of a set: its name (NAME.jpg, NAME.truth.json), what it is called, how it was made."""

    name: str
    title: str
    order: Order

    @property
    def file(self) -> str:
        """Name of the photo's file."""
        return f"{self.name}.jpg"

    @property
    def truth_file(self) -> str:
        """Name of its truth's file."""
        return f"{self.name}.truth.json"


def read_set(path: Path) -> list[PracticePhoto]:
    """Read and check a `set.toml`.

    Raises
    ------
    JobError
        When it can't be read, is not TOML, or a field is wrong.
    UsageError
        When a photo's order is one that can't be met.
    """
    photos = [_checked(photo, path) for photo in _parsed(read_toml(path), path).photo]
    names = [p.name for p in photos]
    if twice := sorted({n for n in names if names.count(n) > 1}):
        raise JobError(f"{twice[0]!r} is given twice", Where(path, field="photo.name"))
    return photos


def _parsed(data: dict[str, Any], path: Path) -> _Set:
    try:
        return _Set.model_validate(data)
    except ValidationError as exc:
        first = exc.errors()[0]
        place = ".".join(str(part + 1 if isinstance(part, int) else part) for part in first["loc"])
        raise JobError(first["msg"], Where(path, field=place)) from exc


def _checked(photo: _Photo, path: Path) -> PracticePhoto:
    where = Where(path, field=f"photo {photo.name}")
    if photo.cables != len(photo.sizes):
        raise JobError(f"{photo.cables} cables, but {len(photo.sizes)} sizes", where)
    order = Order(
        photo.seed, tuple(photo.checks), photo.mm, tuple(photo.sizes), photo.view, photo.card,
        photo.difficulty, photo.sheath, photo.colours, photo.light, photo.poor,
    )  # fmt: skip
    check_order(order, where)
    return PracticePhoto(photo.name, photo.title, order)
