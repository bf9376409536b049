"""Sets of photos to practise on: a folder with truths, or photos of a job that a person chose."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from PIL import Image

from audit.bench.truth import Case, Truth, find_cases
from audit.checklist.models import PhotoEntry
from audit.errors import JobError, PhotoError, UsageError, Where
from audit.job.explain import did_you_mean
from audit.job.text import writable
from audit.record.canonical import sha256
from audit.record.evidence import load_evidence, photo_path
from audit.record.record import Record
from audit.record.store import FILE
from audit.record.types import Standing
from audit.training.answers import Sheet, from_decisions, from_truth
from audit.training.handed import read_toml, read_truth

LISTING = "set.toml"
Cover = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class PracticePhoto:
    """One photo to practise on.

    Parameters
    ----------
    path : pathlib.Path
    sha256 : str
    title : str
        Shown after it was judged only: it may tell what there is to see.
    sheet : Sheet
    facts : mapping of str to str
        What a fitter would know before looking.
    level : int
        How hard it is held to be, from 1; 0 when not said. Easy ones come first.
    cover : tuple of points
        Corners of what is painted over: a card with names on it.
    """

    path: Path
    sha256: str
    title: str
    sheet: Sheet = field(repr=False)
    facts: Mapping[str, str] = field(default_factory=dict)
    level: int = 0
    cover: Cover = ()

    @property
    def key(self) -> str:
        """Its name in addresses; nothing in it tells what the photo shows."""
        return self.sha256[:16]


@dataclass(frozen=True)
class PracticeSet:
    """Photos with their answers, by SHA-256.

    Parameters
    ----------
    name : str
    photos : mapping of str to PracticePhoto
    notes : tuple of str
        What whoever starts it should know.
    """

    name: str
    photos: Mapping[str, PracticePhoto]
    notes: tuple[str, ...] = ()

    def by_key(self, key: str) -> PracticePhoto | None:
        """A photo by its name in addresses."""
        return next((p for p in self.photos.values() if p.key == key), None)


def from_folder(folder: Path) -> PracticeSet:
    """Read a folder of photos, each with `NAME.truth.json`, and `set.toml` where there is one.

    Raises
    ------
    UsageError
        When there is no such folder, or nothing in it to practise on.
    JobError
        When a truth file or the listing is damaged.
    PhotoError
        When a photo is missing or can't be read.
    """
    if not folder.is_dir():
        raise UsageError("there is no such set of photos", Where(folder), "give a folder")
    listed = _listing(folder / LISTING)
    photos: dict[str, PracticePhoto] = {}
    for case in find_cases(folder):
        made = _photo(case, read_truth(case.truth_file)[0], listed)
        photos.setdefault(made.sha256, made)
    return PracticeSet(writable(folder.name), photos)


def _listing(path: Path) -> dict[str, dict[str, Any]]:
    """Rows of `set.toml` by the photo's name without its ending."""
    if not path.exists():
        return {}
    data = read_toml(path)
    try:
        rows = data.get("photo", [])
        return {Path(str(row["name"])).stem: row for row in rows}
    except (KeyError, TypeError, AttributeError) as exc:
        raise JobError(
            "each [[photo]] of the listing needs a name", Where(path, field="photo"), "correct it"
        ) from exc


def _photo(case: Case, truth: Truth, listed: Mapping[str, Mapping[str, Any]]) -> PracticePhoto:
    data, size = _read(case.photo)
    row = listed.get(case.photo.stem, {})
    return PracticePhoto(
        path=case.photo,
        sha256=sha256(data),
        title=writable(str(row.get("title") or case.photo.stem)),
        sheet=from_truth(truth, size),
        facts=_facts(truth),
        level=_level(row.get("difficulty")),
    )


def _level(said: object) -> int:
    return said if isinstance(said, int) and 0 <= said < 100 else 0


def _read(path: Path) -> tuple[bytes, tuple[int, int]]:
    """Bytes and upright size; the picture itself is decoded when it is shown."""
    try:
        if not path.is_file():
            raise OSError("no regular file")  # a pipe would block for ever
        data = path.read_bytes()
        with Image.open(path) as image:
            turned = image.getexif().get(0x0112, 1) in (5, 6, 7, 8)
            width, height = image.size
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as exc:
        raise PhotoError(
            "the photo can't be read", Where(path), "put the photo there again"
        ) from exc
    return data, (height, width) if turned else (width, height)


def _facts(truth: Truth) -> dict[str, str]:
    """What a fitter knows before looking; nothing of what there is to find."""
    said = truth.declared
    if said is None:
        return {}
    facts = {
        "View": said.view,
        "Cables": None if said.cables is None else str(said.cables),
        "Cable size": said.cable_size,
        "Cores in terminals": None if said.terminals is None else str(said.terminals),
        "Maker's own lead": "yes" if said.factory_lead else None,
    }
    return {k: v for k, v in facts.items() if v}


def from_job(root: Path, chosen: Sequence[str]) -> PracticeSet:
    """Photos of a job that a person chose, with what a person decided of them.

    Parameters
    ----------
    root : pathlib.Path
        A job folder with its checklist and record.
    chosen : sequence of str
        Photos as the checklist names them; none is taken that is not named.

    Raises
    ------
    UsageError
        When none is chosen, or a name is not one of the job's.
    JobError
        When a photo has no decided item, or there is no checklist.
    """
    evidence = load_evidence(root)
    entries = {p.file: p for p in evidence.checklist.photos}
    if not chosen:
        raise UsageError(
            "no photo of this job was chosen for practice",
            Where(root),
            "name each with --photo; none is taken by itself",
        )
    if not (root / FILE).exists():  # opening it would begin one
        raise JobError(
            "nobody has decided anything of this job", Where(FILE), "decide it with lidoff review"
        )
    standings = Record.open(root).state(evidence).standings
    photos: dict[str, PracticePhoto] = {}
    for number, name in enumerate(dict.fromkeys(chosen), start=1):
        entry = entries.get(name) or entries.get(f"photos/{name}")
        if entry is None:
            near = did_you_mean(name, list(entries))
            raise UsageError(f"the job has no photo {name!r}", Where(root), near or "see out/")
        sheet = _decided_sheet(entry, standings)
        made = _of_job(root, entry, sheet, number)
        photos.setdefault(made.sha256, made)
    note = (
        "photos of a job are shown without names, place and device, and a card that was found in "
        "one is painted over; look yourself whether anything else in a picture tells whose it is"
    )
    return PracticeSet("a job", photos, (note,))


def _decided_sheet(entry: PhotoEntry, standings: Mapping[str, Standing]) -> Sheet:
    if entry.look.size_px is None or entry.sha256 is None or entry.look.outcome != "read":
        raise PhotoError("this photo was not read", Where(entry.file), "choose another photo")
    sheet = from_decisions(entry, standings)
    if sheet is None:
        raise JobError(
            "nobody has decided anything of this photo",
            Where(entry.file),
            "decide its items with lidoff review, or choose another photo",
        )
    return sheet


def _of_job(root: Path, entry: PhotoEntry, sheet: Sheet, number: int) -> PracticePhoto:
    path = photo_path(root, entry.file)
    data, _ = _read(path)
    if sha256(data) != entry.sha256:
        raise PhotoError(
            "the photo is not the one that was read", Where(entry.file), "run lidoff audit again"
        )
    card = entry.look.card
    return PracticePhoto(
        path=path,
        sha256=sha256(data),
        title=f"Photo {number}",
        sheet=sheet,
        facts={"View": entry.view} if entry.view else {},
        cover=_grown(card.corners_px) if card and card.found and card.corners_px else (),
    )


def _grown(corners: Sequence[tuple[float, float]], by: float = 1.03) -> Cover:
    """Corners moved off their middle by a little, for what the outline is off."""
    x = sum(p[0] for p in corners) / len(corners)
    y = sum(p[1] for p in corners) / len(corners)
    return tuple((x + (px - x) * by, y + (py - y) * by) for px, py in corners)
