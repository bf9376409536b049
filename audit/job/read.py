"""Read a job folder: facts, fittings, photos on disk, marks; everything wrong in one go.

`job.toml`, `fittings.csv` and `declarations.csv` are joined into one set of declared facts; every
entry keeps the file and line it came from, so that whatever is said of it
later can point there.
"""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from audit.errors import JobError, JobProblems, LidoffError, Where
from audit.job.explain import choose_from, explain, shown, unknown_field
from audit.job.facts import JobFacts, PhotoEntry
from audit.job.files import PHOTOS, PhotoFile, find_photos, there
from audit.job.fitting_rows import DECLARATIONS_FILE, FITTINGS_FILE, add_rows
from audit.job.marks import Mark, read_marks
from audit.job.names import check_names
from audit.job.plausible import problems as implausible
from audit.job.shape import misplaced
from audit.job.sources import JOB_FILE, FieldPath, Sources
from audit.job.text import decode, read_bytes
from audit.job.toml_text import parse_toml
from audit.settings import Settings

MARKS_FILE = "marks.json"
MOST_PROBLEMS = 200
"""Problems told in one go; after so many the rest is most likely the same mistake again."""


@dataclass(frozen=True)
class Job:
    """One job folder, read and found valid.

    Parameters
    ----------
    root : path
        The folder, absolute.
    facts : JobFacts
    settings : Settings
        Those given, over those of the job's `[settings]`.
    sources : Sources
        Where each entry stands.
    photos : tuple of PhotoFile
        All files in `photos/`, in the order of their names.
    entries : mapping of str to PhotoEntry
        `[[photo]]` entries by the path of the photo they speak of.
    marks : tuple of Mark
    remarks : tuple of LidoffError
        What is odd but does not stop anything.
    """

    root: Path
    facts: JobFacts
    settings: Settings
    sources: Sources
    photos: tuple[PhotoFile, ...]
    entries: Mapping[str, PhotoEntry]
    marks: tuple[Mark, ...]
    remarks: tuple[LidoffError, ...]


def load_job(folder: Path | str, settings: Settings | None = None) -> Job:
    """Read a job folder without looking at pixels.

    Parameters
    ----------
    folder : path
        Holds `job.toml`, `photos/`, and where wanted `fittings.csv`, `declarations.csv` and
        `marks.json`.
    settings : Settings, optional
        Fields that were set in it win over the job's `[settings]`.

    Raises
    ------
    JobError
        The folder or its `job.toml` can't be read at all.
    JobProblems
        Everything that is wrong, in the order of files and rows.
    """
    root = Path(folder)
    _folder(root)
    root = root.resolve()
    text, _ = decode(read_bytes(root / JOB_FILE, JOB_FILE), JOB_FILE, legacy=False)
    toml = parse_toml(text, JOB_FILE)
    problems: list[LidoffError] = []
    raw = dict(toml.data)
    rows = add_rows(root, "fitting", raw, problems)
    declared = add_rows(root, "declaration", raw, problems)
    sources = Sources(toml.lines, rows, declared)
    used = _settings(raw, settings, sources, problems)
    _drop_misplaced(raw, sources, problems)
    found = find_photos(root)
    entries = check_names(root, raw, found.photos, sources.where, problems)
    facts = _facts(raw, sources, problems)
    problems += found.problems
    marks = _marks(root, found.photos, problems)
    if problems or facts is None:
        raise JobProblems(_in_order(problems))
    by_path = {path: facts.photos[index] for path, index in entries.items()}
    remarks = tuple(found.remarks) + (() if found.photos else (_no_photos(),))
    return Job(root, facts, used, sources, tuple(found.photos), by_path, marks, remarks)


def _no_photos() -> LidoffError:
    return JobError("there are no photos yet", Where(f"{PHOTOS}/"), "put the photos in")


def _folder(root: Path) -> None:
    try:
        if not root.exists():
            raise JobError(
                "there is no such folder", Where(root), "make one with: lidoff new FOLDER"
            )
        if not root.is_dir():
            raise JobError("this is not a folder", Where(root), "name the folder of the job")
        if there(root, JOB_FILE) is None:
            raise JobError(
                f"this folder holds no {JOB_FILE}, so it is no job",
                Where(root),
                "make a job with: lidoff new FOLDER",
            )
    except (OSError, ValueError, RuntimeError) as exc:
        raise JobError(
            f"the folder can't be read ({getattr(exc, 'strerror', None) or exc})",
            Where(root),
            "check its name and that you may read it",
        ) from exc


def _settings(
    raw: dict[str, Any], given: Settings | None, sources: Sources, problems: list[LidoffError]
) -> Settings:
    mine = raw.pop("settings", {})
    given = given or Settings()
    if not isinstance(mine, dict):
        problems.append(
            JobError("settings is not a table", sources.where(("settings",)), "write [settings]")
        )
        return given
    raw["settings"] = {}
    for key in [k for k in mine if k not in Settings.model_fields]:
        problems.append(
            JobError(
                f"there is no setting {shown(key)}",
                sources.where(("settings", key)),
                choose_from(key, list(Settings.model_fields)),
            )
        )
        mine = {k: v for k, v in mine.items() if k != key}
    for key in [k for k, v in mine.items() if isinstance(v, bool)]:
        problems.append(
            JobError(
                "true or false is not a number", sources.where(("settings", key)), "write a number"
            )
        )
        mine = {k: v for k, v in mine.items() if k != key}
    wanted = {name: getattr(given, name) for name in given.model_fields_set}
    try:
        settings = Settings(**{**mine, **wanted})
    except ValidationError as exc:
        for error in exc.errors(include_url=False):
            what, step = explain(Settings, error)
            where = sources.where(("settings", *error["loc"]))
            problems.append(JobError(what, where, step))
        return given
    raw["settings"] = mine
    return settings


def _drop_misplaced(raw: dict[str, Any], sources: Sources, problems: list[LidoffError]) -> None:
    """Tell of unknown fields and of yes or no in place of numbers, and take them out."""
    for path, kind in list(misplaced(JobFacts, raw)):
        if kind == "unknown":
            what, step = unknown_field(JobFacts, path)
        else:
            what, step = "true or false is not a number", "write a number"
        problems.append(JobError(what, sources.where(path), step))
        holder: Any = raw
        for part in path[:-1]:
            holder = holder[part]
        del holder[path[-1]]


def _facts(raw: dict[str, Any], sources: Sources, problems: list[LidoffError]) -> JobFacts | None:
    facts: JobFacts | None = None
    try:
        facts = JobFacts.model_validate(raw)
        sound: JobFacts | None = facts
    except ValidationError as exc:
        errors = exc.errors(include_url=False)
        for error in errors:
            what, step = explain(JobFacts, error)
            problems.append(JobError(what, sources.where(tuple(error["loc"])), step))
        sound = _without(raw, [tuple(e["loc"]) for e in errors])
    places = {str(p.where) for p in problems}
    for wrong in implausible(sound) if sound else []:
        where = sources.where(wrong.path)
        # Names that clash or don't exist were told already, with a suggestion.
        if str(where) not in places:
            problems.append(JobError(wrong.what, where, wrong.next_step))
    return facts


def _without(raw: dict[str, Any], wrong: list[FieldPath]) -> JobFacts | None:
    """The facts without the fields that are wrong, so that the others can be judged; or None."""
    data = deepcopy(raw)
    for path in wrong:
        end = len(path)
        while end and not isinstance(path[end - 1], str):
            end -= 1
        holder: Any = data
        try:
            for part in path[: end - 1]:
                holder = holder[part]
            del holder[path[end - 1]]
        except (KeyError, IndexError, TypeError):
            continue
    try:
        return JobFacts.model_validate(data)
    except ValidationError:
        return None


def _marks(root: Path, photos: list[PhotoFile], problems: list[LidoffError]) -> tuple[Mark, ...]:
    try:
        path = there(root, MARKS_FILE)
        if path is None:
            return ()
        return read_marks(path, MARKS_FILE, photos=[p.path for p in photos], hashed=True)
    except JobProblems as several:
        problems += several.problems
    except JobError as problem:
        problems.append(problem)
    return ()


def _in_order(problems: list[LidoffError]) -> list[LidoffError]:
    order = {JOB_FILE: 0, FITTINGS_FILE: 1, DECLARATIONS_FILE: 2}

    def key(problem: LidoffError) -> tuple[int, str, int]:
        where = problem.where or Where()
        return order.get(str(where.file), 3), str(where.file), where.row or 0

    ordered = sorted(problems, key=key)
    if len(ordered) > MOST_PROBLEMS:
        more = len(ordered) - MOST_PROBLEMS
        ordered = ordered[:MOST_PROBLEMS]
        ordered.append(JobError(f"{more} more like these", None, "put the first ones right"))
    return ordered
