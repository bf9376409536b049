"""From a choice of photos to files: everything is made before the first is written."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from audit.batch.atomic import write_bytes
from audit.errors import LidoffError, PhotoError, UsageError, Where
from audit.measure.contract import Box, CheckId
from audit.resources import practice_dir
from audit.settings import Settings
from audit.training.lessons import from_job, from_truth, html, pdf
from audit.training.lessons.course import make_course
from audit.training.lessons.door import NotForLessons, Shot
from audit.training.lessons.sheets import PhotoFaults, Sheet, make_sheets

SOUND_ALT = "Another fitting, in which this is as it should be."


@dataclass(frozen=True)
class Choice:
    """What a person chose.

    Parameters
    ----------
    photos : tuple of str
        Names of photos that may be used.
    all_photos : bool
        All may be used: somebody has looked at each.
    checks : tuple of str
        Empty: all that photos show.
    each : int or None
        At most so many sheets a check.
    covers : mapping of str to tuple of box
        Areas to cover by hand, px of the upright photo, by the photo's name.
    """

    photos: tuple[str, ...] = ()
    all_photos: bool = False
    checks: tuple[CheckId, ...] = ()
    each: int | None = None
    covers: Mapping[str, tuple[Box, ...]] = field(default_factory=dict)

    @property
    def wanted(self) -> tuple[CheckId, ...]:
        """Checks to make sheets of."""
        return self.checks or from_truth.CHECKS

    @property
    def none(self) -> bool:
        """Whether no photo was chosen."""
        return not (self.photos or self.all_photos)


@dataclass(frozen=True)
class Made:
    """Sheets, and what could not be used.

    Parameters
    ----------
    sheets : tuple of Sheet
    refused : tuple of LidoffError
        Photos that were chosen and can't be used, with the reason.
    notes : tuple of str
    """

    sheets: tuple[Sheet, ...]
    refused: tuple[LidoffError, ...] = ()
    notes: tuple[str, ...] = field(default=())


def parse_covers(said: Iterable[str]) -> dict[str, tuple[Box, ...]]:
    """Areas to cover, as `NAME:x0,y0,x1,y1`, by name.

    Raises
    ------
    UsageError
        When one is not written like that.
    """
    found: dict[str, tuple[Box, ...]] = {}
    for text in said:
        name, _, numbers = text.rpartition(":")
        try:
            x0, y0, x1, y1 = (float(n) for n in numbers.split(","))
        except ValueError:
            raise UsageError(
                f"not an area to cover: {text!r}", next_step="write NAME:x0,y0,x1,y1 in px"
            ) from None
        found[name] = (*found.get(name, ()), (x0, y0, x1, y1))
    return found


def from_practice(choice: Choice, settings: Settings) -> Made:
    """Sheets from the shipped photos; they are our own, so all may be used."""
    known = from_truth.known_photos(practice_dir())
    return _from_known(known, choice, settings, each=2 if choice.each is None else choice.each)


def from_folder(folder: Path, choice: Choice, settings: Settings) -> Made:
    """Sheets from photos with truth files.

    Raises
    ------
    UsageError
        When no photo was chosen, or none shows a fault of the checks asked for.
    """
    known = from_truth.known_photos(folder)
    _must_choose(choice, folder)
    return _from_known(known, choice, settings, each=choice.each)


def _from_known(
    known: Sequence[from_truth.Known], choice: Choice, settings: Settings, *, each: int | None
) -> Made:
    chosen = from_truth.choose(known, choice.photos) if choice.photos else list(known)
    picked = from_truth.pick(chosen, choice.wanted, each or len(chosen))
    by_name = {k.name: k for k in chosen}

    def read(name: str) -> PhotoFaults:
        known = by_name[name]
        covers = choice.covers.get(name, ()) or choice.covers.get(known.case.photo.name, ())
        return from_truth.photo_faults(known, picked[name], settings, covers)

    return _made(picked, read, settings, choice)


def from_record(folder: Path, choice: Choice, settings: Settings) -> Made:
    """Sheets from a job's faults that a person confirmed.

    Raises
    ------
    UsageError
        When nothing is confirmed, or no photo was chosen.
    RecordError
        When the record does not hold.
    """
    faults = from_job.confirmed_faults(folder)
    _must_choose(choice, folder)
    names = choice.photos or tuple(faults.photos)
    chosen = {c.entry.file: c for c in from_job.choose(faults, names)}
    left = dict.fromkeys(choice.wanted, choice.each or len(chosen))
    picked: dict[str, list[CheckId]] = {}
    for name, confirmed in chosen.items():
        for fault in confirmed.faults:
            if left.get(fault.check, 0) > 0:
                left[fault.check] -= 1
                picked.setdefault(name, []).append(fault.check)

    def read(name: str) -> PhotoFaults:
        covers = choice.covers.get(name, ())
        return from_job.photo_faults(faults, chosen[name], picked[name], settings, covers)

    notes = []
    if faults.without_place:
        notes.append(
            f"{faults.without_place} confirmed faults have no place in a photo that a person "
            "confirmed: no sheet is made of them"
        )
    return _made(picked, read, settings, choice, notes)


def _must_choose(choice: Choice, folder: Path) -> None:
    if choice.none:
        raise UsageError(
            "no photo is chosen, and none is used unless a person chose it",
            Where(folder),
            "see them with --list, look at each, then name them with --photo, or give --all-photos",
        )


def _made(
    names: Iterable[str],
    read: Callable[[str], PhotoFaults],
    settings: Settings,
    choice: Choice,
    notes: Sequence[str] = (),
) -> Made:
    photos: list[PhotoFaults] = []
    refused: list[LidoffError] = []
    for name in names:
        try:
            photos.append(read(name))
        except (PhotoError, NotForLessons) as problem:
            refused.append(problem)
    faults = [f for p in photos for f in p.faults]
    if not faults:
        if refused:
            raise refused[0]
        asked = ", ".join(choice.checks) or "any check"
        raise UsageError(
            f"no chosen photo shows a fault of {asked} that is known", next_step="see --list"
        )
    sound = _sound([f.check for f in faults], settings)
    return Made(tuple(make_sheets(photos, sound)), tuple(refused), tuple(notes))


def _sound(checks: Sequence[CheckId], settings: Settings) -> Mapping[CheckId, Shot]:
    known = from_truth.known_photos(practice_dir())
    shots = from_truth.sound_examples(known, checks, settings)
    return {check: shot.told(SOUND_ALT) for check, shot in shots.items()}


def sheet_files(sheets: Sequence[Sheet]) -> dict[str, bytes]:
    """Files of some sheets by name: handout and answers apart, each for print and as a page."""
    return {
        "lesson-handout.pdf": pdf.handout_pdf(sheets),
        "lesson-answers.pdf": pdf.sheets_pdf(sheets),
        "lesson-handout.html": html.handout_page(sheets).encode(),
        "lesson-answers.html": html.sheets_page(sheets).encode(),
    }


def course_files(settings: Settings) -> dict[str, bytes]:
    """Files of the course by name; answers apart."""
    course = make_course(practice_dir(), settings)
    return {
        "course.pdf": pdf.course_pdf(course, answers=False),
        "course-answers.pdf": pdf.course_pdf(course, answers=True),
        "course.html": html.course_page(course).encode(),
        "course-answers.html": html.answers_page(course).encode(),
    }


def must_be_writable(folder: Path) -> None:
    """Try a folder before the work is done.

    Raises
    ------
    UsageError
        When nothing can be written there.
    """
    probe = folder / ".lidoff-lesson"
    try:
        write_bytes(probe, b"")
    except OSError as exc:
        raise _unwritable(folder, exc) from exc
    finally:
        with contextlib.suppress(OSError):
            probe.unlink()


def write_files(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files, each whole or not at all.

    Raises
    ------
    UsageError
        When the folder can't be written.
    """
    try:
        for name, data in files.items():
            write_bytes(folder / name, data)
    except OSError as exc:
        raise _unwritable(folder, exc) from exc


def _unwritable(folder: Path, exc: OSError) -> UsageError:
    reason = exc.strerror or str(exc)
    return UsageError(
        f"nothing can be written there ({reason})", Where(folder), "give another folder with --out"
    )
