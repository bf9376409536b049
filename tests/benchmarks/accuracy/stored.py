"""The figures the page is written from, as they lie in `docs/accuracy/`."""

from __future__ import annotations

import hashlib
import json
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.bench.rows import Verdict
from audit.bench.score import SCHEMA as BENCH
from audit.bench.score import BenchResult
from audit.errors import JobError, Where
from audit.measure.contract import Box
from audit.resources import models_dir

ROOT = Path(__file__).resolve().parents[3]
SETS = ("report", "third", "other")
HARM, WORST, MEASURED = "lidoff.harm/1", "lidoff.worst/1", "lidoff.measured/1"
READ_WITH = ("cables.toml", "card.toml", "photo_limits.toml", "materials/*")
"""Data files that reading a photo depends on, within `models/`."""

Model = TypeVar("Model", bound=BaseModel)


class _Figures(BaseModel):
    model_config = ConfigDict(frozen=True)


class HarmLevel(_Figures):
    """What became of the findings of all photos at one level of one harm.

    `findings`, `flags` and `clears` count those of the photos as they are;
    `refused` counts spoiled photos of which another is asked for, of `photos`.
    """

    level: float
    photos: int | None = None
    findings: int
    flag_to_clear: int
    flag_to_unsure: int
    flag_to_silent: int
    clear_to_flag: int
    clear_to_unsure: int
    unsure_to_flag: int
    unsure_to_clear: int
    refused: int
    flags: int
    clears: int


class Harm(_Figures):
    """One way to spoil a photo, at rising levels of `unit`."""

    harm: str
    unit: str
    levels: tuple[HarmLevel, ...]


class Harms(_Figures):
    """All harms that were tried on the photos of one folder (`lidoff.harm/1`)."""

    folder: str
    photos: int
    harms: tuple[Harm, ...]
    failures: tuple[str, ...] = ()


class Worst(_Figures):
    """One of the worst: what is true, what was said, and where; lengths in mm, boxes in px."""

    photo: str
    check: str
    of: str
    verdict: Verdict
    true_mm: float | None
    visible: float | None
    said_mm: float | None
    score: float | None
    why: str
    truth_box: Box | None
    said_box: Box | None
    picture: str
    """File name within `docs/img/accuracy/`."""


class WorstList(_Figures):
    """The worst rows of one folder, in the order of `lidoff bench --worst` (`lidoff.worst/1`)."""

    folder: str
    of_rows: int
    """How many rows count against the tool in all."""
    items: tuple[Worst, ...]


class Run(_Figures):
    """When and with what one file of figures was measured."""

    date: str
    """ISO 8601, UTC."""
    version: str
    photos: int
    photos_sha256: str | None
    """Digest of the photos and truth files; None where the photos are not at hand."""
    models_sha256: str | None
    """Digest of the data files reading depends on; None where nobody noted them."""


class Measured(_Figures):
    """One run for each file of figures (`lidoff.measured/1`)."""

    runs: dict[str, Run] = Field(default_factory=dict)


@dataclass(frozen=True)
class Stored:
    """Everything the page is written from; None for what has not been measured."""

    sets: dict[str, BenchResult]
    measured: Measured
    harms: Harms | None
    worst: WorstList | None
    provenance: dict[str, Any]
    """What `models/materials/materials.toml` tells of the forests in the tree."""
    further: dict[str, Any] | None
    """What `models/materials/further.toml` tells of the trees that were grown further; None where none were."""
    joint: dict[str, Any] | None
    """What `models/materials/joint.toml` tells of the trees that join both looks' maps; None without them."""
    nearness: dict[str, Any] | None
    """What `models/materials/nearness.toml` tells of the trees that tell how near the camera was; None without them."""
    spots: dict[str, Any] | None
    """What `models/materials/spots.toml` tells of the trees that tell spots that look like a fault; None without them."""
    sleeves: dict[str, Any] | None
    """What `models/materials/sleeves.toml` tells of the trees that tell a CPC bare before its sleeve; None without them."""
    limits_from: str
    """What `models/photo_limits.toml` tells of the photos its limits lie between."""
    models_now: str


def load(folder: Path, schema: str, kind: type[Model], name: str) -> Model | None:
    """Read one file of figures; None where it is missing.

    Raises
    ------
    JobError
        When it is not JSON, of another schema, or lacks a field.
    """
    path = folder / name
    return read(path, schema, kind) if path.is_file() else None


def read(path: Path, schema: str, kind: type[Model]) -> Model:
    """Read a file of figures; see `load`."""
    step = "measure again"
    try:
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as exc:
        raise JobError(f"the figures can't be read ({exc})", Where(path), step) from exc
    except json.JSONDecodeError as exc:
        raise JobError(f"not JSON ({exc.msg})", Where(path, row=exc.lineno), step) from exc
    if not isinstance(data, dict) or data.get("schema") != schema:
        raise JobError(f"figures of another kind than {schema}", Where(path, field="schema"), step)
    try:
        return kind.model_validate(data)
    except ValidationError as exc:
        first = exc.errors()[0]
        field = ".".join(str(part) for part in first["loc"])
        raise JobError(first["msg"], Where(path, field=field), step) from exc


def load_all(folder: Path) -> Stored:
    """Read all figures of a folder, and what the models in the tree tell of themselves."""
    sets = {name: load(folder, BENCH, BenchResult, f"{name}.json") for name in SETS}
    models = models_dir()
    limits = (models / "photo_limits.toml").read_text(encoding="utf-8")
    materials = (models / "materials" / "materials.toml").read_text(encoding="utf-8")
    return Stored(
        sets={name: result for name, result in sets.items() if result is not None},
        measured=load(folder, MEASURED, Measured, "measured.json") or Measured(),
        harms=load(folder, HARM, Harms, "harm.json"),
        worst=load(folder, WORST, WorstList, "worst.json"),
        provenance=tomllib.loads(materials),
        further=_table(models / "materials" / "further.toml"),
        joint=_table(models / "materials" / "joint.toml"),
        nearness=_table(models / "materials" / "nearness.toml"),
        spots=_table(models / "materials" / "spots.toml"),
        sleeves=_table(models / "materials" / "sleeves.toml"),
        limits_from=limits.replace("\n# ", " ").partition(", from ")[2].partition(".")[0],
        models_now=models_digest(),
    )


def _table(path: Path) -> dict[str, Any] | None:
    return tomllib.loads(path.read_text("utf-8")) if path.is_file() else None


def text_of(figures: BaseModel, schema: str) -> str:
    """Write figures as JSON, their schema first."""
    data = {"schema": schema, **figures.model_dump(mode="json", by_alias=True)}
    return json.dumps(data, indent=1, ensure_ascii=False) + "\n"


def models_digest(folder: Path | None = None) -> str:
    """SHA-256 over names and contents of the data files reading depends on."""
    return _digest(model_files(folder))


def model_files(folder: Path | None = None) -> list[Path]:
    """List the data files reading depends on, by name."""
    folder = folder or models_dir()
    return sorted(p for pattern in READ_WITH for p in folder.glob(pattern) if p.is_file())


def photos_digest(folder: Path) -> str:
    """SHA-256 over names and contents of the photos and truth files of a benchmark folder."""
    return _digest(p for p in sorted(folder.iterdir()) if not p.name.endswith(".ids.png"))


def _digest(paths: Iterable[Path]) -> str:
    whole = hashlib.sha256()
    for path in paths:
        one = hashlib.sha256(path.read_bytes()).hexdigest()
        whole.update(f"{path.name} {one}\n".encode())
    return whole.hexdigest()
