"""What harm does to findings: each finding of the unharmed photo, and what became of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from pydantic import BaseModel, ConfigDict, Field
from shapely import Polygon, box

from audit.bench.harms import Affine, Harm, magnification, map_points
from audit.bench.match import PHOTO, match_photo
from audit.bench.truth import Truth, TruthItem
from audit.measure.contract import Box, FindingRecord, LookRecord

MIN_INSIDE = 0.8
"""A finding with less of its box in the harmed picture counts as cut away."""
MAX_FALSE_TURNS = 0.05
"""Of what was clear, how much may turn to a flag at any one level."""
Said = Literal["flag", "clear", "unsure", "silent", "refused"]
SAID: tuple[Said, ...] = ("flag", "clear", "unsure", "silent", "refused")
"""Silent: no finding answers, in a photo that was read; refused: none, and another is asked for."""


@dataclass(frozen=True)
class Change:
    """One finding before and after harm. `right`: the state before was the truth's, where known."""

    photo: str
    check: str
    of: str
    before: Said
    after: Said
    box_px: Box | None = None
    right: bool | None = None
    why: str = ""


@dataclass(frozen=True, eq=False)
class Places:
    """How the two pictures lie to each other.

    Parameters
    ----------
    affine : numpy.ndarray
        2x3, px of the unharmed to px of the harmed picture.
    size : (int, int)
        Width and height of the harmed picture, px.
    px_per_mm : float
        True scale of the unharmed picture at the work.
    cuts : bool
        Whether part of the picture is lost.
    """

    affine: Affine
    size: tuple[int, int]
    px_per_mm: float
    cuts: bool = False

    def outline(self, of: Box) -> np.ndarray:
        """Corners (4, 2) of a box of the unharmed picture, px of the harmed one."""
        x0, y0, x1, y1 = of
        corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]], np.float64)
        return map_points(self.affine, corners)

    def mapped(self, of: Box) -> Box:
        """Upright box round the mapped corners of a box."""
        corners = self.outline(of)
        (x0, y0), (x1, y1) = corners.min(axis=0), corners.max(axis=0)
        return float(x0), float(y0), float(x1), float(y1)

    def inside(self, of: Box) -> float:
        """Share 0 to 1 of a box that is still in the harmed picture."""
        shape = Polygon(self.outline(of))
        if shape.area <= 0:
            return 0.0
        return float(shape.intersection(box(0, 0, *self.size)).area / shape.area)

    def kept(self, finding: FindingRecord) -> bool:
        """Whether what was asked can still be asked of the harmed picture."""
        if finding.of == PHOTO or finding.box_px is None:
            # Nobody can tell whether what spoke for it lies in the part that was lost.
            return not self.cuts
        return self.inside(finding.box_px) >= MIN_INSIDE


def changes(
    before: LookRecord, after: LookRecord, places: Places, truth: Truth | None = None
) -> list[Change]:
    """Tell what became of each finding of the unharmed photo, and what is new.

    Findings are matched one to one as `audit.bench.match` does with truth
    items: same check, and boxes with IoU of 0.3 or centres within 3 mm, after
    the boxes of the unharmed photo are mapped. What was cut away is left out,
    and so is a finding of the harmed photo that answers it.

    Parameters
    ----------
    before, after : LookRecord
    places : Places
    truth : Truth, optional
        Tells which of the findings before were right.

    Returns
    -------
    list of Change
    """
    asked = [_as_item(f, places) for f in before.findings]
    source = {id(item): f for item, f in zip(asked, before.findings, strict=True)}
    right = _right(before, truth)
    scale = places.px_per_mm * magnification(places.affine)
    out: list[Change] = []
    for pair in match_photo(asked, after.findings, scale):
        if pair.item is None:
            assert pair.finding is not None
            new = pair.finding
            out.append(_change(before.photo, new, _none(before), new.state, why=new.why))
            continue
        old = source[id(pair.item)]
        if places.kept(old):
            state: Said = _none(after) if pair.finding is None else pair.finding.state
            why = "" if pair.finding is None else pair.finding.why
            known = right.get(id(old))
            out.append(_change(before.photo, old, old.state, state, known, why))
    return out


def _as_item(finding: FindingRecord, places: Places) -> TruthItem:
    where = None if finding.box_px is None else places.mapped(finding.box_px)
    flagged = finding.state == "flag"
    return TruthItem(check=finding.check, of=finding.of, fault=flagged, box_px=where)


def _none(look: LookRecord) -> Said:
    return "silent" if look.outcome == "read" else "refused"


def _change(
    photo: str,
    finding: FindingRecord,
    before: Said,
    after: Said,
    right: bool | None = None,
    why: str = "",
) -> Change:
    return Change(photo, finding.check, finding.of, before, after, finding.box_px, right, why)


def _right(look: LookRecord, truth: Truth | None) -> dict[int, bool]:
    """Which flags and clears are the truth's, by the id of the finding; no item: no fault.

    Of a check the truth says nothing of, nothing is known.
    """
    if truth is None:
        return {}
    asked = {item.check for item in truth.items}
    pairs = match_photo(truth.items, look.findings, truth.scale.px_per_mm)
    return {
        id(p.finding): (p.finding.state == "flag") == bool(p.item and p.item.fault)
        for p in pairs
        if p.finding is not None and p.finding.state != "unsure" and p.finding.check in asked
    }


class _Figures(BaseModel):
    model_config = ConfigDict(frozen=True)


class LevelCounts(_Figures):
    """Counts at one level of one harm, over all photos.

    `findings`, `flags` and `clears` are those of the unharmed photos that could
    be compared; `X_to_Y` adds up to them. `silent_to_Y` are findings of the
    harmed photos that nothing answered before. `refused` counts harmed photos
    of which another is asked for, `photos` all that were compared.
    """

    level: float
    photos: int = 0
    findings: int = 0
    flags: int = 0
    clears: int = 0
    flag_to_flag: int = 0
    flag_to_clear: int = 0
    flag_to_unsure: int = 0
    flag_to_silent: int = 0
    flag_to_refused: int = 0
    clear_to_clear: int = 0
    clear_to_flag: int = 0
    clear_to_unsure: int = 0
    clear_to_silent: int = 0
    clear_to_refused: int = 0
    unsure_to_flag: int = 0
    unsure_to_clear: int = 0
    unsure_to_unsure: int = 0
    unsure_to_silent: int = 0
    unsure_to_refused: int = 0
    silent_to_flag: int = 0
    silent_to_clear: int = 0
    silent_to_unsure: int = 0
    refused: int = 0


class Flip(_Figures):
    """One change that matters, to look at: a flag lost to clear or silence, a clear turned flag."""

    harm: str
    level: float
    photo: str
    check: str
    of: str
    before: Said
    after: Said
    box_px: Box | None
    right: bool | None
    why: str


class HarmCounts(_Figures):
    """One harm at its levels, in the order told."""

    harm: str
    unit: str
    grows: bool
    levels: tuple[LevelCounts, ...]


class HarmResult(_Figures):
    """All that `lidoff.harm/1` holds."""

    schema_: Literal["lidoff.harm/1"] = Field(
        "lidoff.harm/1", alias="schema", serialization_alias="schema"
    )
    folder: str
    photos: int
    harms: tuple[HarmCounts, ...]
    flips: tuple[Flip, ...] = ()
    failures: tuple[str, ...] = ()

    model_config = ConfigDict(frozen=True, populate_by_name=True)


@dataclass(frozen=True)
class Compared:
    """One photo at one level: what changed, and whether another photo is asked for."""

    changes: Sequence[Change]
    refused: bool


def count_level(level: float, compared: Sequence[Compared]) -> LevelCounts:
    """Count the changes of all photos at one level."""
    counts: dict[str, int] = dict.fromkeys(LevelCounts.model_fields, 0)
    del counts["level"]
    counts["photos"] = len(compared)
    counts["refused"] = sum(c.refused for c in compared)
    for change in (each for c in compared for each in c.changes):
        # What is new in a photo whose unharmed state was refused is new all the same.
        before = "silent" if change.before == "refused" else change.before
        counts[f"{before}_to_{change.after}"] += 1
        counts["findings"] += before != "silent"
        counts["flags"] += before == "flag"
        counts["clears"] += before == "clear"
    return LevelCounts(level=level, **counts)


def flips(harm: Harm, level: float, compared: Iterable[Compared]) -> list[Flip]:
    """List the changes that speak against the bars, and flags that fell silent."""
    watched = {("flag", "clear"), ("flag", "silent"), ("clear", "flag")}
    return [
        Flip(harm=harm.name, level=level, **vars(change))
        for c in compared
        for change in c.changes
        if (change.before, change.after) in watched
    ]


@dataclass(frozen=True)
class Bars:
    """Whether the two bars hold at every level; without flags or clears they are unmeasured."""

    flags: int
    clears: int
    flag_to_clear: int
    worst_clear_to_flag: float
    worst_at: str

    @property
    def flags_held(self) -> bool:
        """There were flags, and none turned clear."""
        return self.flags > 0 and self.flag_to_clear == 0

    @property
    def clears_held(self) -> bool:
        """There were clears, and no level turned more than 5 % of its own to flags."""
        return self.clears > 0 and self.worst_clear_to_flag <= MAX_FALSE_TURNS

    @property
    def held(self) -> bool:
        """Both bars."""
        return self.flags_held and self.clears_held


def bars(harms: Iterable[HarmCounts]) -> Bars:
    """Judge the two bars."""
    flags, clears, lost, worst, at = 0, 0, 0, 0.0, ""
    for harm in harms:
        for counts in harm.levels:
            flags, clears = flags + counts.flags, clears + counts.clears
            lost += counts.flag_to_clear
            share = counts.clear_to_flag / counts.clears if counts.clears else 0.0
            if share > worst:
                worst, at = share, f"{harm.harm} {counts.level:g} {harm.unit}"
    return Bars(flags, clears, lost, worst, at)
