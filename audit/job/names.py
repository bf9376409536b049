"""Names within a job: given once, meaning something, and staying inside the folder.

Works on the data before it is validated, so that a wrong number elsewhere does
not hide a fitting in a room that does not exist. A reference that differs from
its declaration in case or blanks only is taken for it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Any

from audit.errors import JobError, LidoffError, Where
from audit.job.explain import choose_from, did_you_mean, shown
from audit.job.files import PHOTOS, PhotoFile, inside, photo_index
from audit.job.grammar import label_key
from audit.job.text import same_key
from audit.resources import models_dir

DEFAULT_REGION = "international"


@cache
def regions() -> tuple[str, ...]:
    """Names of the regions whose rules are shipped."""
    return tuple(sorted(p.stem for p in (models_dir() / "regions").glob("*.toml")))


Place = Callable[[tuple[str | int, ...]], Where]


def check_names(
    root: Path,
    raw: dict[str, Any],
    photos: Sequence[PhotoFile],
    where: Place,
    problems: list[LidoffError],
) -> dict[str, int]:
    """Check labels, references and files; bring references to the spelling declared.

    Parameters
    ----------
    root : path
        The job folder.
    raw : dict
        The job's data; references in it are rewritten.
    photos : sequence of PhotoFile
    where : callable
        From a path in the data to file, row, field.
    problems : list of LidoffError
        Added to.

    Returns
    -------
    dict of str to int
        Path of a photo to the index of the `[[photo]]` entry that speaks of it.
    """
    labels = _once(raw, "fitting", "label", label_key, where, problems)
    rooms = _once(raw, "room", "name", same_key, where, problems)
    circuits = _once(raw, "circuit", "id", same_key, where, problems)
    _refer(raw, "fitting", "room", rooms, same_key, where, problems)
    _refer(raw, "fitting", "circuit", circuits, same_key, where, problems)
    _refer(raw, "photo", "fitting", labels, label_key, where, problems)
    _refer(raw, "declaration", "fitting", labels, label_key, where, problems)
    if not raw.get("fitting"):
        problems.append(
            JobError(
                "the job has no fittings",
                Where("job.toml"),
                "write a [[fitting]] table for each, or give them in fittings.csv",
            )
        )
    _region(raw, where, problems)
    _house_rules(root, raw, where, problems)
    return _photo_entries(raw, photos, where, problems)


def _tables(raw: Mapping[str, Any], table: str) -> Iterator[tuple[int, dict[str, Any]]]:
    found = raw.get(table)
    for index, entry in enumerate(found if isinstance(found, list) else []):
        if isinstance(entry, dict):
            yield index, entry


def _once(
    raw: Mapping[str, Any], table: str, field: str, key_of: Callable[[str], str],
    where: Place, problems: list[LidoffError],
) -> dict[str, str]:  # fmt: skip
    """Names by key; a second one of the same key is a problem."""
    first: dict[str, tuple[str, Where]] = {}
    for index, entry in _tables(raw, table):
        name = entry.get(field)
        if not isinstance(name, str) or not name.strip():
            continue
        place = where((table, index, field))
        key = key_of(name)
        if not any(c.isalnum() for c in key):
            problems.append(
                JobError(
                    f"{shown(name)} holds no letter or digit", place, "give it a name one can say"
                )
            )
        elif key in first:
            other, earlier = first[key]
            alike = "" if other == name else f" (as {other!r}, which differs in case or signs only)"
            problems.append(
                JobError(
                    f"{table} {shown(name)} is given twice, first in {_line(earlier)}{alike}",
                    place,
                    "give each its own",
                )
            )
        else:
            first[key] = (name.strip(), place)
    return {key: name for key, (name, _) in first.items()}


def _line(where: Where) -> str:
    return f"{where.file}:{where.row}" if where.row else str(where.file)


def _refer(
    raw: Mapping[str, Any], table: str, field: str, known: Mapping[str, str],
    key_of: Callable[[str], str], where: Place, problems: list[LidoffError],
) -> None:  # fmt: skip
    for index, entry in _tables(raw, table):
        name = entry.get(field)
        if not isinstance(name, str) or not name.strip():
            continue
        declared = known.get(key_of(name))
        if declared is not None:
            entry[field] = declared
            continue
        step = choose_from(name, list(known.values()))
        if not known:
            step = f"this job has no {field} yet: declare it in a [[{field}]] table"
        place = where((table, index, field))
        problems.append(JobError(f"there is no {field} {shown(name)}", place, step))


def _region(raw: Mapping[str, Any], where: Place, problems: list[LidoffError]) -> None:
    job = raw.get("job")
    name = job.get("region") if isinstance(job, dict) else None
    if isinstance(job, dict) and isinstance(name, str) and name not in regions():
        match = next((r for r in regions() if same_key(r) == same_key(name)), None)
        if match:
            job["region"] = match
            return
        # Only a slip of the pen is refused: a region that nobody knows falls back to the
        # base, which the checklist says, and a house file may bring a region of its own.
        step = did_you_mean(name, regions())
        if step and not raw.get("house_rules"):
            problems.append(
                JobError(f"there is no region {name[:60]!r}", where(("job", "region")), step)
            )


def _house_rules(
    root: Path, raw: Mapping[str, Any], where: Place, problems: list[LidoffError]
) -> None:
    name = raw.get("house_rules")
    if not isinstance(name, str) or not name:
        return
    place = where(("house_rules",))
    path = inside(name)
    try:
        if path is None or not (root / path).resolve().is_relative_to(root):
            problems.append(_leaves(name, place))
        elif not (root / path).is_file():
            problems.append(JobError(f"there is no file {shown(name)}", place, "correct the name"))
    except (OSError, ValueError, RuntimeError):
        problems.append(JobError(f"{name[:60]!r} can't be a file name", place, "correct the name"))


def _leaves(name: str, place: Where) -> LidoffError:
    return JobError(
        f"{name[:60]!r} leads out of the job folder",
        place,
        "copy the file into the job and write its name only",
    )


def _photo_entries(
    raw: Mapping[str, Any], photos: Sequence[PhotoFile], where: Place, problems: list[LidoffError]
) -> dict[str, int]:
    index_of = photo_index(photos)
    entries: dict[str, int] = {}
    for index, entry in _tables(raw, "photo"):
        name = entry.get("file")
        if not isinstance(name, str) or not name:
            continue
        place = where(("photo", index, "file"))
        path = inside(name)
        if path is None:
            problems.append(_leaves(name, place))
            continue
        hits = index_of.get(same_key(path.as_posix()), [])
        exact = [h for h in hits if h in {path.as_posix(), f"{PHOTOS}/{path.as_posix()}"}]
        hits = exact or hits
        if not hits:
            near = choose_from(name, [p.name for p in photos], "one of those in photos")
            near = near or "put it into the folder photos, or correct the name"
            problems.append(JobError(f"there is no photo {name[:60]!r}", place, near))
        elif len(hits) > 1:
            problems.append(
                JobError(
                    f"{name[:60]!r} may be {' or '.join(hits[:3])}",
                    place,
                    "write the folder too",
                )
            )
        elif hits[0] in entries:
            problems.append(
                JobError(f"photo {name[:60]!r} has two entries", place, "join them into one")
            )
        else:
            entries[hits[0]] = index
    return entries
