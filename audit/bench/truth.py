"""Truth files of a benchmark folder: `NAME.truth.json` beside each photo.

Field names are those of `lidoff.look/1` (`audit.measure.contract`), with exact
values; `items` says for each thing a check is asked of whether the fault is
there, how big it is, and how much of it the camera can see.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from fnmatch import fnmatch
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from audit.errors import JobError, PhotoError, UsageError, Where
from audit.measure.contract import Box, CheckId, EntryKind, Point
from audit.measure.declared import Declared

SUFFIX = ".truth.json"
IDS_SUFFIX = ".ids.png"
NOT_PHOTOS = {".json", ".csv", ".txt", ".md", ".toml", ".jsonl"}


class _Model(BaseModel):
    model_config = ConfigDict(frozen=True, extra="allow")


class TruthItem(_Model):
    """One check asked of one thing in one photo, with the right answer.

    `size_mm` is exact and null for checks without a length; `visible` is the
    share 0..1 of the faulty length that the camera sees. `how` tells faults apart that one check asks of: `laid-bare`
    is copper where insulation is missing along a core, `late-sleeve` a CPC that is bare before its sleeve.
    """

    check: CheckId
    of: str
    fault: bool
    size_mm: float | None = None
    visible: float = Field(1.0, ge=0, le=1)
    box_px: Box | None = None
    how: str | None = None


class TruthEntry(_Model):
    """The two lines a cable crosses: the wall's outer face, and the grip.

    `grip_px` runs outer edge (two points), then inner edge (two points).
    """

    kind: EntryKind
    wall_px: tuple[Point, Point] | None = None
    grip_px: tuple[Point, Point, Point, Point] | None = None


class TruthCable(_Model):
    """One cable as it is; what more its truth tells is kept as it stands, for fitting alone."""

    id: str
    entry: TruthEntry


class TruthCard(_Model):
    """The site card as it lies in the picture; `found` is whether it can be found at all."""

    found: bool
    markers_seen: tuple[int, ...] | None = None
    corners_px: tuple[Point, Point, Point, Point] | None = None


class TruthScale(_Model):
    """Scale at the work, given whether or not a card is in the picture."""

    px_per_mm: float = Field(gt=0)


class Truth(_Model):
    """Everything known of one photo."""

    photo: str
    usable: bool
    scale: TruthScale
    tags: tuple[str, ...] = ()
    declared: Declared | None = None
    card: TruthCard | None = None
    cables: tuple[TruthCable, ...] = ()
    items: tuple[TruthItem, ...] = ()

    @field_validator("tags", mode="before")
    @classmethod
    def _tags_as_words(cls, tags: Any) -> Any:
        """Take tags written as a table: {"light": "torch"} is "light:torch"; numbers are no tags."""
        return tuple(_words(tags)) if isinstance(tags, dict) else tags

    @property
    def markers_visible(self) -> int:
        """Markers of the site card wholly in the picture, 0 to 4."""
        if self.card is None:
            return 0
        if self.card.markers_seen is None:
            return 4 if self.card.found else 0
        return len(self.card.markers_seen)


def _words(tags: dict[str, Any]) -> Iterator[str]:
    for key, value in tags.items():
        for each in sorted(set(value)) if isinstance(value, list) else [value]:
            if isinstance(each, bool):
                yield f"{key}:{'yes' if each else 'no'}"
            elif isinstance(each, str) and each:
                yield f"{key}:{each}"


@dataclass(frozen=True)
class Case:
    """One photo of a benchmark folder with the files that belong to it."""

    photo: Path
    truth_file: Path
    ids: Path | None

    @property
    def name(self) -> str:
        """File name of the photo."""
        return self.photo.name


def load_truth(path: Path) -> Truth:
    """Read one truth file.

    Raises
    ------
    JobError
        When it can't be read, is not JSON, or a field is missing or wrong.
    """
    step = "write it again, see docs/reference/bench.md"
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
        return Truth.model_validate(data)
    except (OSError, UnicodeDecodeError) as exc:
        raise JobError(f"the truth file can't be read ({exc})", Where(path), step) from exc
    except json.JSONDecodeError as exc:
        raise JobError(f"not JSON ({exc.msg})", Where(path, row=exc.lineno), step) from exc
    except ValidationError as exc:
        first = exc.errors()[0]
        field = ".".join(str(part) for part in first["loc"])
        raise JobError(first["msg"], Where(path, field=field), step) from exc


def find_cases(folder: Path, only: str = "*") -> list[Case]:
    """List the photos of a benchmark folder that have a truth file, by name.

    Parameters
    ----------
    folder : Path
    only : str
        Shell pattern that the photo's file name, or its stem, must match.

    Raises
    ------
    UsageError
        When the folder is missing or holds no truth file that matches.
    JobError
        When a truth file has no photo beside it.
    """
    if not folder.is_dir():
        raise UsageError("no such folder", Where(folder))
    cases = [_case(path) for path in sorted(folder.glob(f"*{SUFFIX}"))]
    chosen = [c for c in cases if fnmatch(c.name, only) or fnmatch(c.photo.stem, only)]
    if not chosen:
        what = "no photo with a truth file" + (f" matches {only!r}" if only != "*" else "")
        raise UsageError(what, Where(folder), f"a benchmark folder holds NAME.jpg and NAME{SUFFIX}")
    return chosen


def _case(truth_file: Path) -> Case:
    stem = truth_file.name.removesuffix(SUFFIX)
    ids = truth_file.with_name(stem + IDS_SUFFIX)
    beside = [
        path
        for path in sorted(truth_file.parent.glob(f"{_escape(stem)}.*"))
        if path.stem == stem and path.suffix.lower() not in NOT_PHOTOS
    ]
    if not beside:
        raise PhotoError("no photo beside the truth file", Where(truth_file), "put the photo there")
    return Case(beside[0], truth_file, ids if ids.is_file() else None)


def _escape(stem: str) -> str:
    return "".join(f"[{c}]" if c in "*?[" else c for c in stem)
