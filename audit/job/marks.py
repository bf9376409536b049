"""Marks that a person put on photos: `lidoff.marks/1`.

A file is a list of marks, bare or under `marks` beside `schema`:

    {"schema": "lidoff.marks/1", "marks": [
      {"photo": "F01-inside.jpg", "sha256": "…", "kind": "grip", "of": "c1",
       "points_px": [[812.0, 431.5], [846.0, 560.0]], "by": "A. Person",
       "at": "2026-05-31T13:05:00Z"}]}

px are of the upright full-size photo, x right, y down, origin at the top left
corner of the top left pixel. Fields that are not known are kept.
"""

from __future__ import annotations

import json
import math
import os
import re
import tempfile
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path, PurePosixPath
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import PydanticCustomError

from audit.errors import JobError, JobProblems, LidoffError, Where
from audit.job.explain import choose_from, explain
from audit.job.text import decode, read_bytes, same_key

SCHEMA: Literal["lidoff.marks/1"] = "lidoff.marks/1"

MarkKind = Literal["grip", "wall", "sheath_edge", "terminal_face", "length"]
Px = Annotated[float, Field(ge=-1e5, le=1e5, allow_inf_nan=False)]
Point = tuple[Px, Px]


def _hash(value: str) -> str:
    value = value.lower()
    if not re.fullmatch("[0-9a-f]{64}", value):
        raise PydanticCustomError("hash", "a SHA-256 hash has 64 hexadecimal digits")
    return value


def _line(points: tuple[Point, ...]) -> tuple[Point, ...]:
    if len(points) < 2 or all(math.dist(points[0], p) < 0.5 for p in points[1:]):
        raise PydanticCustomError("points", "a mark needs two points that lie apart")
    return points


class Mark(BaseModel):
    """One mark.

    Parameters
    ----------
    photo : str
        File name, with or without folders.
    sha256 : str or None
        Hash of the photo's bytes, lower-case hex; the mark holds for that picture only.
    kind : str
        grip, wall, sheath_edge, terminal_face or length.
    of : str or None
        What it belongs to: `c1`, `e1`, `photo`.
    points_px : tuple of (x, y)
        Two points or more, in px.
    by : str or None
        Who put it.
    at : datetime or None
        When, with its offset from UTC.
    """

    model_config = ConfigDict(frozen=True, extra="allow")

    photo: Annotated[str, Field(min_length=1, max_length=1024)]
    sha256: Annotated[str, AfterValidator(_hash)] | None = None
    kind: MarkKind
    of: Annotated[str, Field(max_length=64)] | None = None
    points_px: Annotated[
        tuple[Point, ...], Field(min_length=1, max_length=1000), AfterValidator(_line)
    ]
    by: Annotated[str, Field(max_length=200)] | None = None
    at: datetime | None = None

    def holds_for(self, photo: str, sha256: str) -> bool:
        """Whether the mark was put on this picture.

        Parameters
        ----------
        photo : str
            Path or name of the photo.
        sha256 : str
            Hash of its bytes, lower-case hex.
        """
        if self.sha256 is not None:
            return self.sha256 == sha256
        return same_photo(self.photo, photo)


def same_photo(one: str, other: str) -> bool:
    """Whether two paths name the same photo: equal to the end of the shorter one."""
    first = PurePosixPath(same_key(one.replace("\\", "/"))).parts
    second = PurePosixPath(same_key(other.replace("\\", "/"))).parts
    count = min(len(first), len(second))
    return count > 0 and first[-count:] == second[-count:]


def read_marks(
    path: Path,
    name: str | None = None,
    *,
    photos: Sequence[str] | None = None,
    hashed: bool = False,
) -> tuple[Mark, ...]:
    """Read a file of marks.

    Parameters
    ----------
    path : path
    name : str, optional
        How messages name the file.
    photos : sequence of str, optional
        Photos there are; a mark on any other is a problem.
    hashed : bool
        Whether each mark must carry the photo's hash, as marks kept in a job
        must: a photo put in later under the same name is another picture.

    Raises
    ------
    JobError
        The file can't be read at all.
    JobProblems
        Everything wrong in it.
    """
    name = name or str(path)
    data = _json(decode(read_bytes(path, name), name, legacy=False)[0], name)
    marks: list[Mark] = []
    problems: list[LidoffError] = []
    for index, entry in enumerate(data):
        try:
            mark = Mark.model_validate(entry)
        except ValidationError as exc:
            problems += [_problem(index, e["loc"], *explain(Mark, e), name)
                         for e in exc.errors(include_url=False)]  # fmt: skip
            continue
        if hashed and mark.sha256 is None:
            problems.append(
                _problem(index, ("sha256",), "the photo's hash is missing", "put it anew", name)
            )
        if photos is not None and not any(same_photo(mark.photo, p) for p in photos):
            step = choose_from(mark.photo, [PurePosixPath(p).name for p in photos])
            problems.append(
                _problem(index, ("photo",), f"there is no photo {mark.photo[:60]!r}", step, name)
            )
        marks.append(mark)
    if problems:
        raise JobProblems(problems)
    return tuple(marks)


def _problem(index: int, path: Iterable[str | int], what: str, step: str, name: str) -> LidoffError:
    field = ".".join(str(p + 1) if isinstance(p, int) else p for p in path)
    return JobError(what, Where(name, None, f"mark {index + 1} {field}".strip()), step)


def _json(text: str, name: str) -> list[Any]:
    try:
        data = json.loads(text)
        # Half a character, as \\ud800 gives, could never be written down again.
        json.dumps(data, ensure_ascii=False).encode("utf-8")
    except json.JSONDecodeError as exc:
        raise JobError(
            f"not valid JSON, column {exc.colno}: {exc.msg.lower()}",
            Where(name, exc.lineno),
            "correct it, or delete the file and put the marks anew",
        ) from exc
    except (RecursionError, ValueError) as exc:
        raise JobError(
            "nested too deeply, or a number or character that can't be stored",
            Where(name),
            "delete the file and put the marks anew",
        ) from exc
    if isinstance(data, dict):
        if data.get("schema") != SCHEMA:
            raise JobError(
                f"the schema is not {SCHEMA}",
                Where(name, None, "schema"),
                "give a file of marks that this version writes",
            )
        data = data.get("marks")
    if not isinstance(data, list):
        raise JobError(
            "this holds no list of marks", Where(name), f'write "marks": [ … ] ({SCHEMA})'
        )
    return data


def dump_marks(marks: Iterable[Mark]) -> str:
    """Marks as the text of a file, sorted keys, unknown fields kept."""
    body = {"schema": SCHEMA, "marks": [m.model_dump(mode="json") for m in marks]}
    return json.dumps(body, ensure_ascii=False, indent=1, sort_keys=True, allow_nan=False) + "\n"


def write_marks(path: Path, marks: Iterable[Mark]) -> None:
    """Write a file of marks whole or not at all.

    Raises
    ------
    JobError
        When it can't be written.
    """
    text = dump_marks(marks)
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=".marks-", dir=path.parent)
        with os.fdopen(handle, "w", encoding="utf-8", newline="\n") as out:
            out.write(text)
            out.flush()
            os.fsync(out.fileno())
        Path(temporary).replace(path)
    except OSError as exc:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)
        raise JobError(
            f"the marks can't be written ({exc.strerror})",
            Where(path),
            "check the folder and the space left; the old file is as it was",
        ) from exc
