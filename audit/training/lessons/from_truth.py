"""Faults of photos whose truth is known: `NAME.truth.json` beside each."""

from __future__ import annotations

import contextlib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, get_args

from PIL import Image
from pydantic import ValidationError

from audit.bench.truth import SUFFIX, Case, Truth, TruthItem, find_cases
from audit.errors import JobError, UsageError, Where
from audit.job.explain import did_you_mean
from audit.measure.contract import SCHEMA, Box, CheckId, FindingRecord, LookRecord
from audit.photo.decode import read_photo
from audit.report.pictures import crop_box
from audit.resources import practice_dir
from audit.settings import Settings
from audit.training.handed import read_truth
from audit.training.lessons.door import (
    Cleared,
    NotForLessons,
    Shot,
    bare,
    box_area,
    card_label_area,
    clear_for_lessons,
)
from audit.training.lessons.sheets import Fault, PhotoFaults

CHECKS: tuple[CheckId, ...] = get_args(CheckId)
_LEAST_VISIBLE = 0.5
"""Share of a fault that the camera must see before it is worth a sheet."""
_LEAST_MM = 1.0
_SOUND_VISIBLE = 0.8
_KNOWN = "Known from the photo's truth file, not from the tool."
_OLD = ("red", "black")
_LEAST_PART = 0.55
"""A sound example shows at least this share of its photo's width."""
_BEST_VIEWS: Mapping[CheckId, tuple[str, ...]] = {
    "core-outside-enclosure": ("entry", "inside", "closed"),
    "core-outside-grip": ("entry", "inside"),
    "copper-beyond-terminal": ("terminals", "inside"),
    "cpc-cut-short": ("terminals", "inside"),
    "cpc-unsleeved": ("inside", "terminals"),
    "core-colours": ("inside", "terminals"),
}


@dataclass(frozen=True)
class Known:
    """One photo with its truth.

    Parameters
    ----------
    case : Case
    truth : Truth
    look : LookRecord
        The truth in the words of the look contract.
    """

    case: Case
    truth: Truth = field(repr=False)
    look: LookRecord = field(repr=False)

    @property
    def name(self) -> str:
        """File name without its ending."""
        return self.case.photo.stem

    @property
    def view(self) -> str | None:
        """What the photo shows, where its truth says so."""
        view = (self.truth.model_extra or {}).get("view")
        return view if isinstance(view, str) else None


def known_photos(folder: Path) -> list[Known]:
    """All photos of a folder that have a truth file, by name.

    Raises
    ------
    UsageError
        When the folder holds none.
    JobError
        When a truth file is not one.
    """
    return [_known(case) for case in find_cases(folder)]


def _known(case: Case) -> Known:
    truth, raw = read_truth(case.truth_file)
    try:
        look = LookRecord.model_validate(_as_look(raw))
    except (ValidationError, TypeError, AttributeError) as exc:
        place = None
        if isinstance(exc, ValidationError):
            place = ".".join(str(p) for p in exc.errors()[0]["loc"])
        raise JobError(
            "the truth file does not describe cables as it should",
            Where(case.truth_file, field=place),
            "write it again, see docs/reference/bench.md",
        ) from exc
    return Known(case, truth, look)


def _as_look(raw: dict[str, Any]) -> dict[str, Any]:
    """Truth has the look contract's field names; only where a line is from differs."""
    cables = [
        {
            "sheath": "unknown",
            **c,
            "entry": {**c["entry"], "from": "mark"},
            "reading": _joined(c.get("reading", ())),
        }
        for c in raw.get("cables", ())
    ]
    return {
        "schema": SCHEMA,
        "photo": raw["photo"],
        "sha256": None,
        "size_px": raw.get("size_px"),
        "outcome": "read",
        "usable": raw["usable"],
        "scale": {"px_per_mm": raw["scale"]["px_per_mm"], "u95_rel": 0.0, "from": "marks"},
        "cables": cables,
        "ends": raw.get("ends", ()),
        "cpc": raw.get("cpc", ()),
    }


def _joined(reading: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """A reading in which wall and grip stand once each, also where the sheath ends under them.

    Such a sheath is drawn as far as it reaches, under the wall or the grip.
    """
    out: list[dict[str, Any]] = []
    for segment in reading:
        last = out[-1] if out else {}
        if segment.get("what") in ("wall", "grip") and last.get("what") == segment["what"]:
            path = [*last.get("path_px", ()), *segment.get("path_px", ())]
            out[-1] = {**last, "to_mm": segment.get("to_mm"), "path_px": path}
            if len(out) > 1 and out[-2].get("what") == "sheath":
                out[-2] = {**out[-2], "to_mm": segment.get("from_mm")}
        else:
            out.append(segment)
    return out


def choose(photos: Sequence[Known], names: Iterable[str]) -> list[Known]:
    """The photos that a person named, in that order.

    Raises
    ------
    UsageError
        When there is no such photo, or it has no truth file.
    """
    by_name = {k.case.photo.name: k for k in photos} | {k.name: k for k in photos}
    found = []
    for name in dict.fromkeys(names):
        if name not in by_name:
            near = did_you_mean(name, [k.name for k in photos])
            raise UsageError(
                "no photo of this name with a truth file", Where(name), near or f"it needs {SUFFIX}"
            )
        found.append(by_name[name])
    return list(dict.fromkeys(found))


def candidates(photo: Known) -> list[tuple[CheckId, int]]:
    """Checks of which a photo shows a fault well enough, and in how many places."""
    shown = [(c, len(_shown(photo, c))) for c in CHECKS]
    return [(c, n) for c, n in shown if n]


def _shown(photo: Known, check: CheckId) -> list[TruthItem]:
    if not photo.truth.usable:
        return []
    return [
        i
        for i in photo.truth.items
        if i.check == check
        and i.fault
        and i.visible >= _LEAST_VISIBLE
        and (i.size_mm is None or i.size_mm >= _LEAST_MM)
    ]


def pick(photos: Sequence[Known], checks: Sequence[CheckId], each: int) -> dict[str, list[CheckId]]:
    """Which photo stands for which check: the clearest, and each photo for one check if it can.

    Parameters
    ----------
    photos : sequence of Known
    checks : sequence of str
    each : int
        At most so many photos a check.

    Returns
    -------
    dict
        Checks by name of the photo.
    """
    chosen: dict[str, list[CheckId]] = {}
    for check in checks:
        ranked = sorted(
            (p for p in photos if _shown(p, check)),
            key=lambda p: (p.name in chosen, len(candidates(p)), -_clearness(p, check), p.name),
        )
        for photo in ranked[:each]:
            chosen.setdefault(photo.name, []).append(check)
    return chosen


def _clearness(photo: Known, check: CheckId) -> float:
    """Length in px that the camera sees, of the best place."""
    scale = photo.truth.scale.px_per_mm
    return max(i.visible * (i.size_mm or 5.0) * scale for i in _shown(photo, check))


def photo_faults(
    photo: Known, checks: Sequence[CheckId], settings: Settings, covers: Sequence[Box] = ()
) -> PhotoFaults:
    """A photo with its faults of some checks, let out through the door.

    Raises
    ------
    PhotoError
        When it can't be read.
    NotForLessons
        When it must not leave.
    """
    cleared = opened(photo, settings, covers)
    faults = tuple(f for c in checks if (f := fault(photo, c)) is not None)
    others = tuple(c for c, _ in candidates(photo) if c not in checks)
    return PhotoFaults(cleared.picture, photo.look, faults, others, cleared.covered)


def opened(photo: Known, settings: Settings, covers: Sequence[Box] = ()) -> Cleared:
    """Read a photo and let it out; its truth tells where a card lies that can't be found."""
    name = photo.case.photo.name
    areas = [box_area(b) for b in covers]
    card: dict[str, Any] = (photo.truth.card.model_extra or {}) if photo.truth.card else {}
    if card.get("present") and card.get("corners_px"):
        areas.append(card_label_area(card["corners_px"]))
    read = read_photo(photo.case.photo, settings)
    ours = photo.case.photo.parent == practice_dir()
    return clear_for_lessons(read, photo.view, name, areas, card_known=ours and "present" in card)


def fault(photo: Known, check: CheckId) -> Fault | None:
    """What a photo shows of one check; None when it shows no fault of it."""
    shown = _shown(photo, check)
    if not shown:
        return None
    places = tuple(_place(photo, item) for item in shown)
    if check == "core-colours":
        places = tuple(_coloured(photo)) or places
    return Fault(check, places, _length([i.size_mm for i in shown]), _KNOWN)


def _place(photo: Known, item: TruthItem) -> FindingRecord:
    return FindingRecord(
        check=item.check,
        of=item.of,
        state="flag",
        box_px=item.box_px,
        value_mm=item.size_mm,
        u95_mm=None if item.size_mm is None else 0.0,
        score=1.0,
        why="",
    )


def _coloured(photo: Known) -> Iterator[FindingRecord]:
    """Ends of the cores in older colours: where old and new meet, that is what is to be seen."""
    old = {e.cable for e in photo.look.ends if e.colour == "red"}
    for end in photo.look.ends:
        if end.cable in old and end.colour in _OLD and end.box_px is not None:
            yield FindingRecord(
                check="core-colours", of=end.id, state="flag", box_px=end.box_px, score=1.0, why=""
            )


def _length(sizes: Sequence[float | None]) -> str:
    """Lengths in words, to a tenth of a mm."""
    mm = sorted(s for s in sizes if s is not None)
    if not mm:
        return ""
    if len(mm) == 1 or round(mm[0], 1) == round(mm[-1], 1):
        return f"{mm[-1]:.1f} mm"
    return f"{mm[0]:.1f} to {mm[-1]:.1f} mm, in {len(mm)} places"


def sound_examples(
    photos: Sequence[Known], checks: Iterable[CheckId], settings: Settings
) -> dict[CheckId, Shot]:
    """For each check the part of a photo in which all is well with it; none where the set has none.

    A photo without any fault is taken before one with faults of other checks, the view that
    shows the thing best before others, one in the colours of today, and one that shows no other
    check yet.
    """
    made: dict[CheckId, Shot] = {}
    used: set[str] = set()
    for check in dict.fromkeys(checks):
        usable = [p for p in photos if p.truth.usable and _sound(p, check)]
        for photo in sorted(usable, key=lambda p: _soundness(p, check, used)):
            with contextlib.suppress(NotForLessons):
                picture = opened(photo, settings).picture
                made[check] = bare(_part(picture, photo, check), "")
                used.add(photo.name)
                break
    return made


def _soundness(photo: Known, check: CheckId, used: set[str]) -> tuple[object, ...]:
    """Sort key: the best first."""
    views = _BEST_VIEWS[check]
    worse = views.index(photo.view) if photo.view in views else len(views)
    scale = photo.truth.scale.px_per_mm
    older = any(e.colour == "red" for e in photo.look.ends)
    return (_faults(photo) > 0, older, worse, photo.name in used, -scale, photo.name)


def _part(picture: Image.Image, photo: Known, check: CheckId) -> Image.Image:
    """The part of a sound photo round the things that the check is asked of."""
    boxes = [i.box_px for i in photo.truth.items if i.check == check and i.box_px is not None]
    if not boxes:
        return picture
    least = _LEAST_PART * picture.width
    if check in ("core-outside-enclosure", "core-outside-grip"):
        boxes = boxes[:1]  # one entry, near; terminals are shown together
    x0, y0 = min(b[0] for b in boxes), min(b[1] for b in boxes)
    x1, y1 = max(b[2] for b in boxes), max(b[3] for b in boxes)
    wide = max(x1 - x0, (y1 - y0) / 0.75, least)
    middle = ((x0 + x1) / 2, (y0 + y1) / 2)
    area = (middle[0] - wide / 2, middle[1] - 1.0, middle[0] + wide / 2, middle[1] + 1.0)
    return picture.crop(crop_box(_shrunk(area), picture.size, None))


def _shrunk(area: Box) -> Box:
    """A box that `crop_box` grows back to this one's width."""
    middle, half = (area[0] + area[2]) / 2, (area[2] - area[0]) / 2 / 1.9
    return (middle - half, area[1], middle + half, area[3])


def _sound(photo: Known, check: CheckId) -> bool:
    asked = [i for i in photo.truth.items if i.check == check]
    if check == "core-colours":  # asked of the photo as a whole; some truth files name faults alone
        inside = photo.view in _BEST_VIEWS[check] and not any(i.fault for i in asked)
        return inside and any(e.colour == "brown" for e in photo.look.ends)
    return bool(asked) and all(not i.fault and i.visible >= _SOUND_VISIBLE for i in asked)


def _faults(photo: Known) -> int:
    return sum(i.fault for i in photo.truth.items)


def is_check(name: str) -> CheckId:
    """A photo check by its id.

    Raises
    ------
    UsageError
        When no photo can show it, or there is no such check.
    """
    if name not in CHECKS:
        near = did_you_mean(name, list(CHECKS))
        raise UsageError(
            f"there is no check {name!r} that photos show", next_step=near or ", ".join(CHECKS)
        )
    return name
