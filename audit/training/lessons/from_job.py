"""Faults of a job's photos that a person holds to be there; never the tool's own states."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from audit.checklist.models import Evidence, PhotoEntry
from audit.errors import RecordError, UsageError, Where
from audit.job.explain import did_you_mean
from audit.measure.contract import Box, CheckId, FindingRecord, LookRecord
from audit.photo.decode import read_photo
from audit.record.evidence import JobEvidence, load_evidence, photo_path
from audit.record.state import standings
from audit.record.store import FILE
from audit.record.types import Agree, SeenOnSite, Standing
from audit.record.verify import verify_job
from audit.report.views import value_words
from audit.settings import Settings
from audit.training.lessons.door import box_area, card_label_area, clear_for_lessons
from audit.training.lessons.from_truth import CHECKS
from audit.training.lessons.sheets import Fault, PhotoFaults

_AGREED = "Flagged by the tool, and agreed by a person who looked at this photo."
_ON_SITE = "Found by a person on site."
_OVERRULED = "Found by a person; the tool had not flagged it."


@dataclass(frozen=True)
class Confirmed:
    """What a person holds to be wrong in one photo.

    Parameters
    ----------
    entry : PhotoEntry
    faults : tuple of Fault
    """

    entry: PhotoEntry = field(repr=False)
    faults: tuple[Fault, ...]


@dataclass(frozen=True)
class JobFaults:
    """A job's photos with confirmed faults.

    Parameters
    ----------
    job : JobEvidence
    photos : dict of str to Confirmed
        By name as the checklist has it.
    without_place : int
        Faults that a person holds to be there, for which no place in a photo is confirmed.
    """

    job: JobEvidence = field(repr=False)
    photos: dict[str, Confirmed]
    without_place: int


def confirmed_faults(root: Path) -> JobFaults:
    """Read what was decided of a job. Nothing is written.

    Raises
    ------
    RecordError
        When the record is damaged, or does not hold against the job.
    UsageError
        When nobody has confirmed a fault that a photo shows.
    """
    if not (root / FILE).is_file():
        raise _nothing(root, "nothing in this job is decided yet")
    verified = verify_job(root)
    if verified.problems:
        raise verified.problems[0]
    job = load_evidence(root)
    found: dict[str, list[Fault]] = {}
    without = 0
    for standing in standings(verified.fold, job).standings.values():
        if not standing.finds_fault or standing.item.check not in CHECKS:
            continue
        faults = _faults(standing)
        without += not faults
        for photo, fault in faults.items():
            found.setdefault(photo, []).append(fault)
    entries = {p.file: p for p in job.checklist.photos}
    photos = {f: Confirmed(entries[f], tuple(v)) for f, v in sorted(found.items()) if f in entries}
    if not photos:
        why = "no fault that a photo shows is confirmed by a person"
        more = f" ({without} without a place in a photo)" if without else ""
        raise _nothing(root, why + more)
    return JobFaults(job, photos, without)


def _nothing(root: Path, why: str) -> UsageError:
    return UsageError(why, Where(root), f"decide the items with: lidoff review {root.name}")


def _faults(standing: Standing) -> dict[str, Fault]:
    """One fault a photo, where a person's decision tells which place is meant."""
    assert standing.decision is not None
    item, decision = standing.item, standing.decision.decision
    agreed = isinstance(decision, Agree)
    shown = [e for e in item.evidence if e.box_px is not None and (not agreed or e.state == "flag")]
    if not agreed and len(shown) != 1:
        return {}  # the person said that it is there, not which of these places is meant
    known = _AGREED if agreed else _ON_SITE if isinstance(decision, SeenOnSite) else _OVERRULED
    by_photo: dict[str, list[Evidence]] = {}
    for evidence in shown:
        by_photo.setdefault(evidence.photo, []).append(evidence)
    check: CheckId = item.check  # type: ignore[assignment] # held against CHECKS by the caller
    return {
        photo: Fault(
            check,
            tuple(_place(check, e, measured=agreed) for e in some),
            _length(standing, some) if agreed else "",
            known,
        )
        for photo, some in by_photo.items()
    }


def _place(check: CheckId, evidence: Evidence, *, measured: bool) -> FindingRecord:
    return FindingRecord(
        check=check,
        of=evidence.of or "photo",
        state="flag",
        box_px=evidence.box_px,
        value_mm=evidence.value_mm if measured else None,
        u95_mm=evidence.u95_mm if measured else None,
        score=1.0,
        why="",  # free words may name a fitting or a person: none leave
    )


def _length(standing: Standing, shown: Sequence[Evidence]) -> str:
    """The measured length with its uncertainty; of several places their range."""
    mm = sorted(e.value_mm for e in shown if e.value_mm is not None)
    if not mm:
        return ""
    value = standing.item.value
    if len(mm) == 1:
        if value is not None and value.value == mm[0]:
            return value_words(value.model_copy(update={"limit": None}))
        u95 = next(e.u95_mm for e in shown if e.value_mm is not None)
        return f"{mm[0]:.1f} mm" if u95 is None else f"{mm[0]:.1f} ± {u95:.1f} mm"
    return f"{mm[0]:.1f} to {mm[-1]:.1f} mm, in {len(mm)} places"


def choose(faults: JobFaults, names: Iterable[str]) -> list[Confirmed]:
    """The photos that a person named.

    Raises
    ------
    UsageError
        When the job has no such photo, or no fault in it is confirmed.
    """
    known = {p.file for p in faults.job.checklist.photos}
    found = []
    for name in dict.fromkeys(names):
        if name in faults.photos:
            found.append(faults.photos[name])
        elif name in known:
            raise UsageError(
                "no fault in this photo is confirmed by a person", Where(name), "see --list"
            )
        else:
            near = did_you_mean(name, list(faults.photos))
            raise UsageError("the job has no such photo", Where(name), near or "see --list")
    return found


def _card_is_known(look: LookRecord) -> bool:
    """Whether the reading of this very photo says where its card lies, or that it saw none of it."""
    card = look.card
    if card is None:
        return False
    return card.corners_px is not None or card.lost_at == "no marker candidates"


def photo_faults(
    faults: JobFaults,
    confirmed: Confirmed,
    checks: Sequence[CheckId],
    settings: Settings,
    covers: Sequence[Box] = (),
) -> PhotoFaults:
    """A job's photo with its confirmed faults, let out through the door.

    Raises
    ------
    PhotoError
        When it can't be read.
    RecordError
        When it is not the photo that was decided on.
    NotForLessons
        When it must not leave.
    """
    entry = confirmed.entry
    photo = read_photo(photo_path(faults.job.root, entry.file), settings)
    if photo.sha256 != entry.sha256:
        raise RecordError("this is not the photo that was decided on", Where(entry.file))
    areas = [box_area(b) for b in covers]
    known = _card_is_known(entry.look)
    if known and entry.look.card and entry.look.card.corners_px:
        areas.append(card_label_area(entry.look.card.corners_px))
    cleared = clear_for_lessons(photo, entry.view, entry.file, areas, card_known=known)
    wanted = tuple(f for f in confirmed.faults if f.check in checks)
    others = tuple(f.check for f in confirmed.faults if f.check not in checks)
    # Cables as the tool read them are drawn only where a person agreed with that reading.
    agreed = {p.of for f in wanted if f.known == _AGREED for p in f.places}
    ends = tuple(e for e in entry.look.ends if e.id in agreed)
    cables = tuple(
        c for c in entry.look.cables if c.id in agreed or c.id in {e.cable for e in ends}
    )
    cpc = tuple(c for c in entry.look.cpc if c.cable in agreed)
    kept = {"cables": cables, "ends": ends, "cpc": cpc, "findings": ()}
    look = entry.look.model_copy(update=kept)
    return PhotoFaults(cleared.picture, look, wanted, others, cleared.covered)
