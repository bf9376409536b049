"""What decisions rest on: the checklist, and the hashes of all it was made from."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache, cached_property
from pathlib import Path, PurePosixPath
from typing import Any

from pydantic import ValidationError

from audit import __version__
from audit.checklist.models import Checklist, Item
from audit.errors import JobError, RecordError, Where
from audit.job.files import PHOTOS, find_photos
from audit.record.canonical import digest, sha256
from audit.resources import models_dir

CHECKLIST = "out/checklist.json"
FACTS = ("*.toml", "*.csv", "marks.json")
"""Files of the job folder in which facts are declared: its own, and house rules."""
_CHUNK = 1 << 20


@dataclass(frozen=True)
class JobEvidence:
    """A job's checklist with what stands behind it.

    Parameters
    ----------
    root : pathlib.Path
        The job folder.
    checklist : Checklist
    checklist_sha256 : str
        Of the file.
    photos : mapping of str to (str or None)
        SHA-256 by path as the checklist names it; None where a photo could not be read.
    facts : mapping of str to str
        SHA-256 of `job.toml` and what stands beside it.
    rules_sha256 : str
        Of all shipped rules and tables.
    tool : mapping of str to str
        Name, version and fingerprint of what made the checklist.
    """

    root: Path
    checklist: Checklist = field(repr=False)
    checklist_sha256: str
    photos: Mapping[str, str | None] = field(repr=False)
    facts: Mapping[str, str] = field(repr=False)
    rules_sha256: str
    tool: Mapping[str, str]

    @cached_property
    def items(self) -> Mapping[str, Item]:
        """Items by id."""
        return {i.id: i for i in self.checklist.items}

    @cached_property
    def digests(self) -> Mapping[str, str]:
        """Digest of each item as the checklist has it, by id."""
        return {i.id: item_digest(i, self.photos) for i in self.checklist.items}

    @property
    def record_data(self) -> dict[str, Any]:
        """What the record keeps of it."""
        return {
            "checklist_sha256": self.checklist_sha256,
            "photos": [{"file": f, "sha256": h} for f, h in sorted(self.photos.items())],
            "facts": [{"file": f, "sha256": h} for f, h in sorted(self.facts.items())],
            "rules_sha256": self.rules_sha256,
            "tool": dict(self.tool),
            "items": len(self.checklist.items),
        }


def item_digest(item: Item, photos: Mapping[str, str | None]) -> str:
    """Digest of an item and of the photos it points at.

    Any change of state, figures, wording or picture gives another digest, and
    a decision made on the old one has to be made again.

    Parameters
    ----------
    item : Item
    photos : mapping of str to (str or None)
        SHA-256 by path.
    """
    seen = sorted({e.photo for e in item.evidence})
    return digest(
        {
            "item": item.model_dump(mode="json"),
            "photos": [[name, photos.get(name)] for name in seen],
        }
    )


def load_evidence(root: Path) -> JobEvidence:
    """Read the checklist that was made for a job, and hash the declared facts.

    Photos' hashes are those that were taken when the photos were read;
    `drift` holds them against the disk.

    Raises
    ------
    JobError
        When there is no checklist, or it is damaged.
    """
    data = read_checklist_bytes(root)
    checklist = parse_checklist(data)
    return JobEvidence(
        root=root,
        checklist=checklist,
        checklist_sha256=sha256(data),
        photos={
            p.file: p.sha256 or _hash_or_none(photo_path(root, p.file)) for p in checklist.photos
        },
        facts=fact_hashes(root),
        rules_sha256=rules_hash(),
        tool={
            "name": "lidoff",
            "version": checklist.tool.version,
            "fingerprint": checklist.tool.fingerprint,
        },
    )


def read_checklist_bytes(root: Path) -> bytes:
    """The checklist's file.

    Raises
    ------
    JobError
        When there is none.
    """
    try:
        return (root / CHECKLIST).read_bytes()
    except OSError as exc:
        raise JobError(
            f"there is no checklist to decide on ({exc.strerror})",
            Where(CHECKLIST),
            f"make it with: lidoff audit {root.name}",
        ) from exc


def parse_checklist(data: bytes, name: str = CHECKLIST) -> Checklist:
    """Read a checklist.

    Raises
    ------
    JobError
        When it is none.
    """
    try:
        return Checklist.model_validate_json(data)
    except ValidationError as exc:
        first = exc.errors(include_url=False, include_input=False)[0]
        place = ".".join(str(p) for p in first["loc"]) or None
        raise JobError(
            f"this is no checklist of this version ({first['msg'].lower()})",
            Where(name, None, place),
            "make it again with: lidoff audit DIR",
        ) from exc


def photo_path(root: Path, file: str) -> Path:
    """A photo of the checklist on the disk.

    Parameters
    ----------
    root : pathlib.Path
    file : str
        As the checklist names it: from `photos/` on.

    Raises
    ------
    RecordError
        When the name leads out of the folder.
    """
    name = PurePosixPath(file)
    if name.is_absolute() or ".." in name.parts or "\\" in file or not name.parts:
        raise RecordError("a photo's name leads out of the job folder", Where(file))
    return root / PHOTOS / name


def hash_file(path: Path) -> str:
    """SHA-256 of a file, read in pieces.

    Raises
    ------
    OSError
    """
    found = hashlib.sha256()
    with path.open("rb") as file:
        while piece := file.read(_CHUNK):
            found.update(piece)
    return found.hexdigest()


def _hash_or_none(path: Path) -> str | None:
    try:
        return hash_file(path)
    except OSError:
        return None


def fact_hashes(root: Path) -> dict[str, str]:
    """SHA-256 of the files of declared facts, by name."""
    files = {p.name: p for pattern in FACTS for p in root.glob(pattern) if p.is_file()}
    return {name: h for name in sorted(files) if (h := _hash_or_none(files[name])) is not None}


@cache
def rules_hash() -> str:
    """SHA-256 over all shipped rules and tables, by path and content; lessons decide nothing."""
    top = models_dir()
    found = (p for p in top.rglob("*.toml") if p.relative_to(top).parts[0] != "lessons")
    files = sorted(found, key=lambda p: p.relative_to(top).as_posix())
    return digest([[p.relative_to(top).as_posix(), hash_file(p)] for p in files])


class DriftCache:
    """Hashes of photos, taken again only when size or time of a file changed."""

    def __init__(self) -> None:
        self._known: dict[Path, tuple[int, int, str]] = {}

    def hash(self, path: Path) -> str | None:
        """SHA-256 of a file, or None when it is not there."""
        try:
            info = path.stat()
            kept = self._known.get(path)
            if kept is not None and kept[:2] == (info.st_size, info.st_mtime_ns):
                return kept[2]
            found = hash_file(path)
        except OSError:
            return None
        self._known[path] = (info.st_size, info.st_mtime_ns, found)
        return found


def drift(job: JobEvidence, cache_: DriftCache | None = None) -> tuple[str, ...]:
    """What changed on the disk since the checklist was made, in words.

    Parameters
    ----------
    job : JobEvidence
    cache_ : DriftCache, optional
        Kept between calls, unchanged files are not read again.
    """
    return tuple(_drift(job, cache_ or DriftCache()))


def _drift(job: JobEvidence, known: DriftCache) -> Iterator[str]:
    for file, expected in sorted(job.photos.items()):
        found = known.hash(photo_path(job.root, file))
        if found is None and expected is not None:
            yield f"photo {file} is gone"
        elif found != expected:
            yield f"photo {file} is another one"
    named = {photo_path(job.root, f) for f in job.photos}
    for photo in find_photos(job.root).photos:
        if job.root / photo.path not in named:
            yield f"photo {photo.path.removeprefix(f'{PHOTOS}/')} was added"
    yield from changed_files(job.facts, fact_hashes(job.root))
    if job.rules_sha256 != rules_hash():
        yield "the rules are other ones"
    if job.tool.get("version") != __version__:
        yield f"the checklist was made by version {job.tool.get('version')} of the tool"


def changed_files(
    then: Mapping[str, str | None], now: Mapping[str, str | None], what: str = ""
) -> Iterator[str]:
    """Differences between two sets of hashed files, in words."""
    lead = f"{what} " if what else ""
    for file in sorted({*then, *now}):
        if file not in now:
            yield f"{lead}{file} is gone"
        elif file not in then:
            yield f"{lead}{file} was added"
        elif then[file] != now[file]:
            yield f"{lead}{file} changed"
