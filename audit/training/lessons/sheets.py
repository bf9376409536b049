"""A sheet: one fault of one check in one photo, bare and annotated, and what is to be learnt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import count

from PIL import Image

from audit.measure.contract import Box, CableRecord, CheckId, FindingRecord, LookRecord
from audit.report.annotate import within
from audit.report.ribbon import in_words, ribbon_svg
from audit.rules.catalogue import check as check_of
from audit.training.lessons.door import Shot, bare, close_up, marked
from audit.training.lessons.texts import CheckText, sheet_texts, source_lines

ENTRY_CHECKS: tuple[CheckId, ...] = ("core-outside-enclosure", "core-outside-grip")
"""Checks for which wall, grip and sheath edge are drawn too."""
_OF_CORES = ("core", "sleeve", "copper", "terminal")
_BEHIND_MM = 15.0
"""So much of the cores is drawn behind wall and grip where the entry is what matters."""
_NUMBER_WORDS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")


@dataclass(frozen=True)
class Fault:
    """What one photo shows of one check, known from truth or from a person's decision.

    Parameters
    ----------
    check : str
    places : tuple of FindingRecord
        Each of state `flag`; boxes in px of the upright photo.
    length : str
        In words, empty where there is none.
    known : str
        How it is known, in one sentence.
    """

    check: CheckId
    places: tuple[FindingRecord, ...]
    length: str
    known: str


@dataclass(frozen=True)
class PhotoFaults:
    """One photo that may leave, and what is known to be wrong in it.

    Parameters
    ----------
    picture : PIL.Image.Image
        As the door let it out.
    look : LookRecord
        Cables as they are known; findings are not used.
    faults : tuple of Fault
        Those to make sheets of.
    others : tuple of str
        Names of further faults that are known in it.
    covered : bool
        Whether a label field was covered.
    """

    picture: Image.Image = field(repr=False)
    look: LookRecord = field(repr=False)
    faults: tuple[Fault, ...]
    others: tuple[CheckId, ...] = ()
    covered: bool = False


@dataclass(frozen=True)
class Ribbon:
    """A cable drawn to scale.

    Parameters
    ----------
    svg : str
    words : str
    """

    svg: str = field(repr=False)
    words: str


@dataclass(frozen=True)
class Sheet:
    """Everything that stands on one sheet.

    Parameters
    ----------
    number : int
        From 1; handout and answers count alike.
    check : str
    name, question : str
    bare, marked : Shot
    close : Shot or None
    ribbon : Ribbon or None
    wrong, known, why, right : str
    sound : Shot or None
        The same thing when it is right.
    also : str
        What else is wrong in this photo; empty when nothing is known.
    caution, sources : tuple of str
    """

    number: int
    check: CheckId
    name: str
    question: str
    bare: Shot
    marked: Shot
    close: Shot | None
    ribbon: Ribbon | None
    wrong: str
    known: str
    why: str
    right: str
    sound: Shot | None
    also: str
    caution: tuple[str, ...]
    sources: tuple[str, ...]


def make_sheets(photos: Sequence[PhotoFaults], sound: Mapping[CheckId, Shot]) -> list[Sheet]:
    """Sheets of all faults, check by check.

    Parameters
    ----------
    photos : sequence of PhotoFaults
    sound : mapping
        For a check, a photo in which that check's question is answered well.
    """
    order = list(sheet_texts().check)
    pairs = [(photo, fault) for photo in photos for fault in photo.faults]
    pairs.sort(key=lambda p: order.index(p[1].check))
    numbers = count(1)
    return [_sheet(next(numbers), photo, fault, sound) for photo, fault in pairs]


def _sheet(number: int, photo: PhotoFaults, fault: Fault, sound: Mapping[CheckId, Shot]) -> Sheet:
    said, rule = sheet_texts().check[fault.check], check_of(fault.check)
    boxes = _boxes(photo.look, fault)
    cover = " The site card's label is covered." if photo.covered else ""
    n = len(boxes)
    places = f"{_NUMBER_WORDS[n] if n < 10 else n} place{'' if n == 1 else 's'}"
    scale = photo.look.scale.px_per_mm if photo.look.scale else None
    return Sheet(
        number=number,
        check=fault.check,
        name=said.name,
        question=rule.question,
        bare=bare(photo.picture, f"Photo {number}, bare: an opened fitting to be judged.{cover}"),
        marked=marked(
            photo.picture,
            _record(photo.look, fault),
            f"Photo {number} with {places} outlined: {_within(said.name)}.{cover}",
        ),
        close=close_up(
            photo.picture, boxes[0], scale, f"Photo {number}, close up: {_within(said.name)}."
        )
        if boxes
        else None,
        ribbon=_ribbon(number, photo.look, fault),
        wrong=_wrong(said, photo.look, fault),
        known=fault.known,
        why=rule.why,
        right=said.right,
        sound=sound.get(fault.check),
        also=_also(photo, fault),
        caution=(sheet_texts().caution, said.caution),
        sources=tuple(source_lines(list(rule.sources))),
    )


def _wrong(said: CheckText, look: LookRecord, fault: Fault) -> str:
    """What is wrong in words, as exactly as it is known."""
    seen = {c.seen for c in look.cpc if c.cable in {p.of for p in fault.places}}
    if len(seen) == 1 and (found := said.wrong_as.get(seen.pop())):
        return found
    template = said.wrong if fault.length else said.wrong_unmeasured
    return template.replace("{length}", fault.length)


def _within(name: str) -> str:
    """A name inside a sentence: CPC stays as it is."""
    return name if name[1:2].isupper() else name[:1].lower() + name[1:]


def _boxes(look: LookRecord, fault: Fault) -> list[Box]:
    """Places of a fault within the picture, largest length first."""
    if look.size_px is None:
        return []
    ordered = sorted(fault.places, key=lambda f: -(f.value_mm or 0.0))
    boxes = [within(f.box_px, look.size_px) for f in ordered if f.box_px is not None]
    return [b for b in boxes if b is not None]


def _record(look: LookRecord, fault: Fault) -> LookRecord:
    """What is drawn: the fault's places, and the lines of the cables it is about."""
    concerned = {f.of for f in fault.places} if fault.check in ENTRY_CHECKS else set()
    cables = tuple(c for c in look.cables if c.id in concerned)
    return look.model_copy(update={"findings": fault.places, "cables": cables})


def _ribbon(number: int, look: LookRecord, fault: Fault) -> Ribbon | None:
    cable = _cable(look, fault)
    if cable is None or not cable.reading:
        return None
    if fault.check in ENTRY_CHECKS:
        cable = _as_far_as_the_entry(cable)
    svg = ribbon_svg(cable, f"sheet{number}")
    return Ribbon(svg, in_words(cable)) if svg else None


def _as_far_as_the_entry(cable: CableRecord) -> CableRecord:
    """A reading without what lies far behind the entry, so that the entry is drawn large."""
    crossed = [s.to_mm for s in cable.reading if s.what in ("wall", "grip") and s.to_mm is not None]
    sheath = [s.to_mm for s in cable.reading if s.what == "sheath" and s.to_mm is not None]
    if not crossed or not sheath:
        return cable
    # Places of the cable count from the wall, those of cores from the sheath's edge.
    most = max(0.0, max(crossed) - max(sheath)) + _BEHIND_MM
    kept = tuple(
        s.model_copy(update={"to_mm": min(s.to_mm, most)})
        if s.what in _OF_CORES and s.from_mm is not None and s.to_mm is not None
        else s
        for s in cable.reading
        if s.what not in _OF_CORES or s.from_mm is None or s.from_mm < most
    )
    return cable.model_copy(update={"reading": kept})


def _cable(look: LookRecord, fault: Fault) -> CableRecord | None:
    """The cable of the longest place."""
    ends = {e.id: e.cable for e in look.ends}
    cables = {c.id: c for c in look.cables}
    for place in sorted(fault.places, key=lambda f: -(f.value_mm or 0.0)):
        found = cables.get(place.of) or cables.get(ends.get(place.of) or "")
        if found is not None:
            return found
    return None


def _also(photo: PhotoFaults, fault: Fault) -> str:
    names = sheet_texts().check
    others = [f.check for f in photo.faults] + list(photo.others)
    told = [_within(names[c].name) for c in dict.fromkeys(others) if c != fault.check]
    return f"Also in this photo: {', '.join(told)}." if told else ""
