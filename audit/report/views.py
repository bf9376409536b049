"""The checklist arranged for reading: what each section of the page shows."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from audit.checklist.models import (
    HOLD_POINTS,
    STATES,
    Checklist,
    Evidence,
    Fitting,
    HoldPoint,
    Item,
    PhotoEntry,
    Room,
    SubjectKind,
    Value,
    worst_first,
)
from audit.checklist.texts import texts
from audit.measure.contract import LookRecord
from audit.report.annotate import Place, places
from audit.report.overlay import Tag, margin_tags, overlay_svg
from audit.report.pictures import Crop, Pictures
from audit.report.ribbon import in_words, ribbon_svg

_NOT_THE_WORK = ("plate", "face", "above")
"""Views that answer no photo check: what is unsure in them would only clutter the page."""


@dataclass(frozen=True)
class Request:
    """Something that would settle open items of one subject."""

    number: int
    text: str
    items: tuple[Item, ...]


@dataclass(frozen=True)
class Ribbon:
    """One cable's ribbon with its name and its words."""

    name: str
    svg: str
    words: str


class PhotoView:
    """One photo with its outlines, crops and ribbons.

    Parameters
    ----------
    entry : PhotoEntry
    number : int
        Of the photo on the page.
    folder : path or None
        Where its pictures are.
    pictures : Pictures or None
    """

    def __init__(
        self, entry: PhotoEntry, number: int, folder: Path | None, pictures: Pictures | None
    ) -> None:
        self.entry = entry
        self.look = entry.look
        self.anchor = f"photo-{number}"
        self._folder = folder
        self.pictures = pictures
        self.places: tuple[Place, ...] = places(_shown(entry))

    def file(self, name: str) -> Path:
        """Path of one picture."""
        assert self._folder is not None
        return self._folder / name

    @cached_property
    def overlay(self) -> str:
        """Outlines as SVG."""
        return overlay_svg(self.look, self.tags, self.rest)

    @cached_property
    def tags(self) -> tuple[Tag, ...]:
        """Numbers of the places, in the margins of the photo."""
        return margin_tags(self.places, self.look.size_px or (1, 1))

    @cached_property
    def rest(self) -> tuple[Place, ...]:
        """Places whose numbers have no room in the margins, the last in rank."""
        tagged = {tag.place.number for tag in self.tags}
        return tuple(place for place in self.places if place.number not in tagged)

    @cached_property
    def has_paths(self) -> bool:
        """Whether there are followed paths to show."""
        return any(len(s.path_px) > 1 for c in self.look.cables for s in c.reading)

    def crop(self, place: Place) -> Crop | None:
        """The enlarged picture of one place."""
        if self.pictures is None:
            return None
        return next((c for c in self.pictures.crops if c.number == place.number), None)

    def anchor_of(self, evidence: Evidence) -> tuple[str, int | None]:
        """Anchor and number of the place that a piece of evidence lies in."""
        for place in self.places:
            for finding in place.findings:
                if (finding.of, finding.box_px, finding.state) == (
                    evidence.of,
                    evidence.box_px,
                    evidence.state,
                ):
                    return f"{self.anchor}-{place.number}", place.number
        return self.anchor, None

    @cached_property
    def ribbons(self) -> tuple[Ribbon, ...]:
        """Ribbons of its cables."""
        return tuple(
            Ribbon(
                f"Cable {cable.id}, {cable.sheath} sheath",
                ribbon_svg(cable, f"{self.anchor}-r{number}"),
                in_words(cable),
            )
            for number, cable in enumerate(self.look.cables)
            if cable.reading
        )


class Section:
    """The items of one subject, arranged worst first, and what would settle the open ones."""

    def __init__(self, items: Sequence[Item], anchor: Callable[[Item], str]) -> None:
        self.items = sorted(items, key=worst_first)
        self.anchor = anchor

    @cached_property
    def counts(self) -> Mapping[str, int]:
        """Items by state, worst first."""
        found = Counter(i.state for i in self.items)
        return {state: found.get(state, 0) for state in STATES}

    @cached_property
    def worst(self) -> str | None:
        """Worst state, or None without items."""
        return next((s for s, n in self.counts.items() if n), None)

    @cached_property
    def stops(self) -> int:
        """Flagged items of weight stop."""
        return sum(i.state == "flag" and i.weight == "stop" for i in self.items)

    @cached_property
    def pressing(self) -> list[Item]:
        """Flagged or unsure: shown in full."""
        return [i for i in self.items if i.state in ("flag", "unsure")]

    @cached_property
    def missing(self) -> list[Item]:
        """Nothing supplied: shown briefly."""
        return [i for i in self.items if i.state == "missing"]

    @cached_property
    def clear(self) -> list[Item]:
        """No fault seen: shown briefly."""
        return [i for i in self.items if i.state == "clear"]

    @cached_property
    def asks(self) -> bool:
        """Whether anything is asked for, so that the caution has to stand above it."""
        return any(i.open and i.request for i in self.items)

    @cached_property
    def requests(self) -> tuple[Request, ...]:
        """Photos that would settle photo checks that are unsure or missing; each once."""
        by_text: dict[str, list[Item]] = {}
        for item in self.items:
            wanted = item.state in ("unsure", "missing") and item.check in texts().check
            if wanted and item.request:
                by_text.setdefault(item.request, []).append(item)
        return tuple(
            Request(number, text, tuple(items))
            for number, (text, items) in enumerate(by_text.items(), start=1)
        )

    def request_of(self, item: Item) -> Request | None:
        """The request that would settle one item."""
        return next((r for r in self.requests if item in r.items), None)


@dataclass(frozen=True)
class FittingView:
    """One fitting's section."""

    fitting: Fitting
    anchor: str
    section: Section
    photos: tuple[PhotoView, ...]


@dataclass(frozen=True)
class RoomView:
    """One room's section; `room` is None for fittings whose room is not said."""

    room: Room | None
    section: Section
    fittings: tuple[FittingView, ...]


PictureSource = Callable[[PhotoEntry], tuple[Path, Pictures] | None]


class PageView:
    """Everything the page's template reads.

    Parameters
    ----------
    checklist : Checklist
    pictures : callable
        Gives folder and pictures of one photo, or None.
    """

    def __init__(self, checklist: Checklist, pictures: PictureSource) -> None:
        self.list = checklist
        self._anchors = {item.id: f"item-{n}" for n, item in enumerate(checklist.items, start=1)}
        self._by_subject: dict[tuple[SubjectKind, str], list[Item]] = {}
        for item in checklist.items:
            self._by_subject.setdefault((item.subject.kind, item.subject.id), []).append(item)
        self.photos = [
            PhotoView(entry, n, *(pictures(entry) or (None, None)))
            for n, entry in enumerate(checklist.photos, start=1)
        ]
        self._photo = {p.entry.file: p for p in self.photos}
        self._fittings = {
            f.label: self._fitting(f, n) for n, f in enumerate(checklist.fittings, start=1)
        }

    def anchor(self, item: Item) -> str:
        """Anchor of an item."""
        return self._anchors[item.id]

    def _section(self, kind: SubjectKind, identity: str) -> Section:
        return Section(self._by_subject.get((kind, identity), []), self.anchor)

    def _fitting(self, fitting: Fitting, number: int) -> FittingView:
        photos = tuple(self._photo[f] for f in fitting.photos if f in self._photo)
        section = self._section("fitting", fitting.label)
        return FittingView(fitting, f"fitting-{number}", section, photos)

    @cached_property
    def fittings(self) -> list[FittingView]:
        """All fittings, in the job's order."""
        return list(self._fittings.values())

    @cached_property
    def rooms(self) -> list[RoomView]:
        """Rooms with their fittings; last, fittings whose room is not said."""
        names = {r.name for r in self.list.rooms}
        views = [
            RoomView(
                room,
                self._section("room", room.name),
                tuple(v for v in self.fittings if v.fitting.room == room.name),
            )
            for room in self.list.rooms
        ]
        stray = tuple(v for v in self.fittings if v.fitting.room not in names)
        if stray:
            views.append(RoomView(None, Section([], self.anchor), stray))
        return views

    @cached_property
    def circuits(self) -> list[tuple[str, Section]]:
        """Circuits that have items."""
        pairs = [(c, self._section("circuit", c)) for c in self.list.circuits]
        return [(c, s) for c, s in pairs if s.items]

    @cached_property
    def job(self) -> Section:
        """Items of the job as a whole."""
        items = [i for i in self.list.items if i.subject.kind == "job"]
        return Section(items, self.anchor)

    @cached_property
    def hold_points(self) -> list[HoldPoint]:
        """The hold points that are looked at."""
        return [self.list.hold_point] if self.list.hold_point else list(HOLD_POINTS)

    def stops(self, hold_point: HoldPoint) -> list[Item]:
        """Flags of weight stop at one hold point."""
        return self._stops(hold_point, ("flag",))

    def unsettled(self, hold_point: HoldPoint) -> list[Item]:
        """Checks of weight stop that are unsure or missing at one hold point."""
        return self._stops(hold_point, ("unsure", "missing"))

    def _stops(self, hold_point: HoldPoint, states: tuple[str, ...]) -> list[Item]:
        return [
            i
            for i in self.list.items
            if i.hold_point == hold_point and i.weight == "stop" and i.state in states
        ]

    def places_of(self, items: Sequence[Item]) -> list[tuple[tuple[str, str], int]]:
        """Where items lie: (words, anchor) of each subject, and how many."""
        found: dict[str, tuple[str, int]] = {}
        for item in items:
            words = subject_words(item)
            anchor, n = found.get(words, ("", 0))
            found[words] = (anchor or self._subject_anchor(item), n + 1)
        return [((words, anchor), n) for words, (anchor, n) in found.items()]

    def _subject_anchor(self, item: Item) -> str:
        view = self._fittings.get(item.subject.id) if item.subject.kind == "fitting" else None
        return view.anchor if view else self.anchor(item)

    @property
    def caution(self) -> str:
        """The sentence that opens every request."""
        return texts().caution

    def count(self, hold_point: HoldPoint, state: str) -> int:
        """Items in one state at one hold point."""
        return sum(i.hold_point == hold_point and i.state == state for i in self.list.items)

    @cached_property
    def unplaced(self) -> list[PhotoView]:
        """Photos that belong to no fitting."""
        placed = {f for view in self.fittings for f in view.fitting.photos}
        return [p for p in self.photos if p.entry.file not in placed]

    def evidence(self, item: Item) -> list[tuple[PhotoView, str, int | None]]:
        """Photo, anchor and number of each distinct place that speaks for an item's state."""
        seen: dict[str, tuple[PhotoView, str, int | None]] = {}
        for evidence in (e for e in item.evidence if e.state in (None, item.state)):
            photo = self._photo.get(evidence.photo)
            if photo is not None:
                anchor, number = photo.anchor_of(evidence)
                seen.setdefault(anchor, (photo, anchor, number))
        return list(seen.values())


def _shown(entry: PhotoEntry) -> LookRecord:
    """What is drawn on a photo; of one that need not show the work, its flags alone."""
    if entry.view not in _NOT_THE_WORK:
        return entry.look
    flags = tuple(f for f in entry.look.findings if f.state == "flag")
    return entry.look.model_copy(update={"findings": flags})


def subject_words(item: Item) -> str:
    """What an item is asked of, in words."""
    if item.subject.kind == "job":
        return "The job"
    return f"{item.subject.kind.capitalize()} {item.subject.id}"


def value_words(value: Value) -> str:
    """A figure as a person reads it: value ± U, and the limit, all to the same decimals."""
    bound = {"exact": "", "at_least": "at least ", "at_most": "at most "}[value.bound]
    digits = _digits(value)
    text = f"{bound}{_figure(value.value, digits)}"
    if value.u95 is not None:
        text += f" ± {_figure(value.u95, digits)}"
    unit = f" {value.unit}" if value.unit else ""
    text += unit
    if value.limit is not None:
        text += f" (limit {_figure(value.limit, digits)}{unit})"
    return text


def _digits(value: Value) -> int:
    """Decimals: one for mm; else enough for two figures of the smallest number shown."""
    if value.unit == "mm":
        return 1
    shown = [abs(n) for n in (value.u95, value.value) if n]
    if not shown or all(float(n).is_integer() for n in shown):
        return 0
    return 2 if min(shown) < 10 else 1


def _figure(number: float, digits: int) -> str:
    return f"{number:.{digits}f}".replace("-", "−")
