"""What several photos of one fitting say together about one photo check.

Cables and ends can't be matched from one photo to the next, so a check gives
one answer a fitting, with the evidence of every photo. The order of care is:
a flag in any photo stays; doubt beats "no fault seen"; and that is only said
when as many cables and ends were found as there are.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from audit.checklist.texts import PhotoCheck, texts
from audit.measure.contract import FindingRecord, LookRecord

STATES = ("flag", "unsure", "missing", "clear")
"""Worst first: the order in which a person should meet them."""


@dataclass(frozen=True)
class SeenPhoto:
    """One photo that belongs to a fitting.

    Parameters
    ----------
    record : LookRecord
        What was read from it.
    view : str or None
        What it shows, where that is known.
    cables_in_picture : int or None
        Cables that a person counts in it, all of them.
    sure : bool
        Whether it is known to show this fitting; a link that a person has still to
        confirm never yields "no fault seen".
    """

    record: LookRecord
    view: str | None = None
    cables_in_picture: int | None = None
    sure: bool = True

    @property
    def name(self) -> str:
        """File name."""
        return self.record.photo


@dataclass(frozen=True)
class Expected:
    """How much there is to be found at one fitting.

    Parameters
    ----------
    cables : int or None
        Cables that come in, as declared.
    cpc_in_cable : bool or None
        Whether they have a CPC; unknown is taken as yes, which asks for more.
    """

    cables: int | None = None
    cpc_in_cable: bool | None = None

    @property
    def cores(self) -> int:
        """Cores a cable: line and neutral, and the CPC unless declared absent."""
        return 2 if self.cpc_in_cable is False else 3


OF_A_PHOTO = "core-colours"
"""Asked of a photo as a whole, not of each cable or end."""


@dataclass(frozen=True)
class Found:
    """One finding and the photo it is in.

    Photos are told apart by themselves, not by name: nothing here holds names to be unique.
    """

    seen: SeenPhoto
    finding: FindingRecord

    @property
    def photo(self) -> str:
        """File name."""
        return self.seen.name


@dataclass(frozen=True)
class Merged:
    """One photo check of one fitting.

    Parameters
    ----------
    check : str
    state : str
        flag, clear, unsure or missing.
    why : str
        For a person, one to a few sentences.
    worst : FindingRecord or None
        The finding that carries the value shown.
    evidence : tuple of Found
        Every finding of every photo, worst first.
    request : str or None
        Name of the photo request that would settle it; None when nothing is open.
    """

    check: str
    state: str
    why: str
    worst: FindingRecord | None = None
    evidence: tuple[Found, ...] = ()
    request: str | None = None


def merge_check(check: str, photos: Sequence[SeenPhoto], expected: Expected) -> Merged:
    """Answer one photo check from all photos of one fitting.

    Parameters
    ----------
    check : str
        Identity of a photo check.
    photos : sequence of SeenPhoto
        All photos linked to the fitting, whatever they show.
    expected : Expected

    Returns
    -------
    Merged

    Raises
    ------
    KeyError
        When `check` is no photo check.
    """
    needs = texts().check[check]
    found = tuple(sorted(_findings(check, photos), key=_badness))
    flags = [x for x in found if x.finding.state == "flag"]
    if flags:
        return Merged(check, "flag", _whys(flags), flags[0].finding, found, needs.request)
    able = [p for p in photos if _can_show(p, needs, found)]
    if not able:
        return Merged(check, "missing", _no_photo(photos, needs), None, found, needs.request)
    worst = found[0].finding if found else None
    doubt = _doubt(check, able, found, needs, expected)
    if doubt:
        return Merged(check, "unsure", doubt, worst, found, needs.request)
    shown = [x for x in found if x.finding.state == "clear"]
    return Merged(check, "clear", _whys(shown), worst, found)


def _findings(check: str, photos: Sequence[SeenPhoto]) -> Iterator[Found]:
    for photo in photos:
        for finding in photo.record.findings:
            if finding.check == check:
                yield Found(photo, finding)


def _badness(found: Found) -> tuple[int, float, str, str]:
    finding = found.finding
    least = (finding.value_mm or 0.0) - (finding.u95_mm or 0.0)
    return (STATES.index(finding.state), -least, found.photo, finding.of)


def _can_show(photo: SeenPhoto, needs: PhotoCheck, found: Sequence[Found]) -> bool:
    if photo.view is None:  # what is read in it tells what it shows
        return bool(photo.record.cables) or any(x.seen is photo for x in found)
    return photo.view in needs.views


def _whys(found: Sequence[Found]) -> str:
    """The reasons, each once, with the photos and things that they hold for."""
    by_why: dict[str, list[str]] = {}
    for x in found:
        of = "" if x.finding.of == "photo" else f" {x.finding.of}"
        by_why.setdefault(_sentence(x.finding.why), []).append(f"{x.photo}{of}")
    return " ".join(f"{why} ({', '.join(where)})" for why, where in by_why.items())


def _sentence(text: str) -> str:
    text = text.strip().rstrip(".;")
    return text[:1].upper() + text[1:]


def _no_photo(photos: Sequence[SeenPhoto], needs: PhotoCheck) -> str:
    views = _or(needs.views)
    if not photos:
        return f"No photo of this fitting; a view of {views} could show it."
    nameless = [p.name for p in photos if p.view is None]
    if nameless:
        return (
            f"No photo is said to be a view of {views}; "
            f"what these show is not said: {', '.join(nameless)}."
        )
    return f"None of the {len(photos)} photos of this fitting is a view of {views}."


def _or(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"


def _doubt(
    check: str,
    able: Sequence[SeenPhoto],
    found: Sequence[Found],
    needs: PhotoCheck,
    expected: Expected,
) -> str:
    """Why "no fault seen" can't be said yet; empty when it can."""
    read = [p for p in able if p.record.outcome == "read" and p.record.usable is not False]
    if not read:
        return " ".join(
            f"{_sentence('; '.join(p.record.reasons) or 'it could not be judged')} ({p.name})."
            for p in able
        )
    answers = [x for x in found if any(x.seen is p for p in read)]
    unsure = [x for x in answers if x.finding.state == "unsure"]
    if unsure:
        return _whys(unsure)
    clear = [x for x in answers if x.finding.state == "clear"]
    if not clear:
        return _nothing_said(check, read)
    crowded = [text for p in read if (text := _more(p, expected))]
    if crowded:
        return " ".join(crowded)
    shorts = [_short(p, clear, needs, expected) for p in read]
    return "" if "" in shorts else " ".join(dict.fromkeys(shorts))


def _nothing_said(check: str, photos: Sequence[SeenPhoto]) -> str:
    names = ", ".join(sorted({p.name for p in photos}))
    if check != OF_A_PHOTO and any(p.record.cables for p in photos):
        return f"Nothing in {names} looks like it, nor shows plainly that there is none."
    return f"Nothing in {names} answers this."


def _cables(photo: SeenPhoto, expected: Expected) -> int | None:
    return expected.cables if expected.cables is not None else photo.cables_in_picture


def _seen(photo: SeenPhoto) -> int:
    """Cables that both looks at a photo saw: a count is not to be made up by what one of them took for one."""
    return sum(not c.one_look for c in photo.record.cables)


def _more(photo: SeenPhoto, expected: Expected) -> str:
    """Whether the photo shows more cables than there are said to be."""
    cables, seen = _cables(photo, expected), _seen(photo)
    if cables is None or seen <= cables:
        return ""
    return f"{photo.name} shows {seen} cables, {cables} said: one of the two is wrong."


def _short(photo: SeenPhoto, clear: Sequence[Found], needs: PhotoCheck, expected: Expected) -> str:
    """What this one photo lacks to show everything there is; empty when it shows all."""
    mine = [x.finding for x in clear if x.seen is photo]
    if not mine:
        return f"{photo.name} says nothing on this."
    if not photo.sure:
        return (
            f"No fault seen in {photo.name}, but that it shows this fitting has still to be "
            "confirmed: name it in a [[photo]] entry."
        )
    cables = _cables(photo, expected)
    if cables is None:
        return (
            f"No fault seen in {photo.name}, but nobody has said how many cables come in: "
            "some may be out of the picture."
        )
    seen = _seen(photo)
    whole = any(f.of == "photo" for f in mine)
    answered = seen if whole else len({f.of for f in mine})
    if needs.counts == "cables":
        if min(answered, seen) < cables:
            return _few(photo, min(answered, seen), cables, "cables")
        return "" if whole else _unanswered(photo, mine)
    ends = len(photo.record.ends)
    wanted = cables * expected.cores
    if ends < wanted:
        return _few(photo, ends, wanted, "core ends")
    if ends > wanted:  # one of them is no core's end, so a true one may be missing
        return f"{photo.name} shows {ends} core ends, {wanted} expected: the count is not to be trusted."
    # A bare CPC is no copper beyond a terminal; every other end must be answered for, line and neutral at least.
    asked = max(cables * 2, sum(e.colour != "bare" for e in photo.record.ends))
    if not whole and answered < asked:
        return _few(photo, answered, asked, "core ends that could be judged")
    return ""


def _unanswered(photo: SeenPhoto, mine: Sequence[FindingRecord]) -> str:
    """Why cables that one look alone has seen leave it open: they are not counted, and may be there all the same."""
    answered = {f.of for f in mine}
    more = [c.id for c in photo.record.cables if c.one_look and c.id not in answered]
    if not more:
        return ""
    return (
        f"No fault seen in {photo.name}, but one look at it alone has seen {_or(more)}, of which "
        "nothing is said: see for yourself whether it is there."
    )


def _few(photo: SeenPhoto, found: int, wanted: int, what: str) -> str:
    return (
        f"No fault seen in {photo.name}, but {found} of {wanted} {what} found there: "
        "the others may hide one."
    )
