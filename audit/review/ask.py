"""One item as the pages show it: question, evidence, standing, and what a decision needs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

from audit.checklist.models import Evidence, Item, PhotoEntry
from audit.record.decisions import needs_showing, photos_of, retake_request
from audit.record.evidence import JobEvidence
from audit.record.types import Standing
from audit.report.annotate import Place, places
from audit.report.pictures import crop_box
from audit.review.desk import Basis, item_key
from audit.review.pictures import photo_key


@dataclass(frozen=True)
class Spot:
    """A place in a photo that an item points at.

    Parameters
    ----------
    photo : str
        Key of the photo in addresses.
    file : str
    number : int or None
        Of the place; None for the whole photo or a bare box.
    view : tuple of int or None
        What is shown of the photo, px; None for all of it.
    turn : int
        Tells spots without a number apart, where there are several; else 0.
    """

    photo: str
    file: str
    number: int | None
    view: tuple[int, ...] | None
    turn: int = 0

    @property
    def name(self) -> str:
        """What its button says; no two of one item alike."""
        if self.number:
            return f"Place {self.number} in {self.file}"
        return f"{self.file} ({self.turn})" if self.turn else self.file


@dataclass(frozen=True)
class Ask:
    """One item on a page.

    Parameters
    ----------
    item : Item
    standing : Standing
    spots : tuple of Spot
    must_see : tuple of str
        Keys of photos of which one must have been on screen; empty when none has to.
    shown : bool
        Whether this reviewer may decide it.
    request : str
        Words of a request for another photo.
    """

    item: Item
    standing: Standing
    spots: tuple[Spot, ...]
    must_see: tuple[str, ...]
    shown: bool
    request: str

    @property
    def key(self) -> str:
        """Name in addresses and anchors."""
        return item_key(self.item.id)


def ask(basis: Basis, standing: Standing, by: str) -> Ask:
    """Prepare one item for a page.

    Parameters
    ----------
    basis : Basis
    standing : Standing
    by : str
        The reviewer.
    """
    item = standing.item
    must = needs_showing(item)
    entries = {p.file: p for p in basis.subject_of(item).photos}
    return Ask(
        item=item,
        standing=standing,
        spots=_spots(item, entries),
        must_see=_on_screen(basis.evidence, item, entries),
        shown=not must or by in standing.shown_to,
        request=retake_request(item),
    )


def _on_screen(
    evidence: JobEvidence, item: Item, entries: Mapping[str, PhotoEntry]
) -> tuple[str, ...]:
    """Photos that can be on screen; one that can't be read asks for nothing."""
    files = [f for f in photos_of(evidence, item) if f in entries and entries[f].look.size_px]
    return tuple(photo_key(f) for f in files)


def _spots(item: Item, entries: Mapping[str, PhotoEntry]) -> tuple[Spot, ...]:
    found: dict[tuple[str, object], Spot] = {}
    for evidence in item.evidence:
        entry = entries.get(evidence.photo)
        if entry is None or entry.look.size_px is None:
            continue
        place = place_of(entry, evidence)
        box = place.box if place else evidence.box_px
        number = place.number if place else None
        spot = Spot(photo_key(entry.file), entry.file, number, view_of(entry, box))
        found.setdefault((entry.file, number or box), spot)
    bare = Counter(s.file for s in found.values() if not s.number)
    turns: Counter[str] = Counter()
    for key, spot in found.items():
        if not spot.number and bare[spot.file] > 1:
            turns[spot.file] += 1
            found[key] = replace(spot, turn=turns[spot.file])
    return tuple(found.values())


def place_of(entry: PhotoEntry, evidence: Evidence) -> Place | None:
    """The numbered place that a piece of evidence lies in."""
    for place in places(entry.look):
        for finding in place.findings:
            if (finding.of, finding.box_px, finding.state) == (
                evidence.of,
                evidence.box_px,
                evidence.state,
            ):
                return place
    return None


def view_of(
    entry: PhotoEntry, box: tuple[float, float, float, float] | None
) -> tuple[int, ...] | None:
    """The part of a photo in which a box is judged."""
    if box is None or entry.look.size_px is None:
        return None
    scale = entry.look.scale.px_per_mm if entry.look.scale else None
    return crop_box(box, entry.look.size_px, scale)
