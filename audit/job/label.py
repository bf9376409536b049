"""Which fitting and view each photo shows, and how that is known.

What a person wrote beats what a machine read: a `[[photo]]` entry, then the
file name, then the label on the site card, then the run. A run is the series
of photos that one camera took from a labelled photo on until the next label,
by the clock of the camera; such links want a person's confirmation, and so
does every link that two sources dispute. N photos in are N links out.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Literal

from audit.job.facts import PhotoEntry, ViewName
from audit.job.grammar import VIEWS, Labels, NameSays, label_key
from audit.job.read import Job

__all__ = [
    "VIEWS", "Labels", "Link", "Linking", "NameSays", "PhotoTag", "label_key", "link_photos",
]  # fmt: skip

How = Literal["entry", "name", "card", "run"]
Outcome = Literal["linked", "unlabelled", "unknown-label", "duplicate"]


@dataclass(frozen=True)
class PhotoTag:
    """What the later stages saw of a photo that helps to link it.

    Parameters
    ----------
    taken : datetime or None
        When it was taken, by the camera's clock; an offset is not looked at,
        since cameras write the time of the place.
    card_label : str or None
        Label read from the site card, as read.
    sha256 : str or None
        Hash of the file's bytes.
    camera : str
        What tells one camera from another, or empty.
    """

    taken: datetime | None = None
    card_label: str | None = None
    sha256: str | None = None
    camera: str = ""


@dataclass(frozen=True)
class Link:
    """What is known of one photo.

    Parameters
    ----------
    photo : str
        Path within the job folder.
    outcome : str
        linked, unlabelled, unknown-label or duplicate.
    label : str or None
        Label of the fitting, as declared; for `unknown-label` what was read.
    view : str or None
    how : str or None
        entry, name, card or run.
    confirm : bool
        Whether a person has to confirm the link before it counts as known.
    why : str
        How the link came about, or why there is none, and what to do.
    like : str or None
        The photo that this one is a copy of, or that began its run.
    cables_in_picture : int or None
        As its entry says.
    """

    photo: str
    outcome: Outcome
    label: str | None = None
    view: ViewName | None = None
    how: How | None = None
    confirm: bool = False
    why: str = ""
    like: str | None = None
    cables_in_picture: int | None = None


@dataclass(frozen=True)
class Linking:
    """Links of all photos of a job, one each, in the order of `Job.photos`."""

    links: tuple[Link, ...]

    def of(self, photo: str) -> Link:
        """The link of one photo.

        Raises
        ------
        KeyError
            When the job has no such photo.
        """
        for link in self.links:
            if link.photo == photo:
                return link
        raise KeyError(photo)

    def for_fitting(self, label: str) -> tuple[Link, ...]:
        """Links to one fitting, in the order of photos."""
        return tuple(x for x in self.links if x.outcome == "linked" and x.label == label)

    def open_points(self) -> tuple[Link, ...]:
        """Links that a person has to look at: to confirm, or to find where they belong."""
        return tuple(x for x in self.links if x.confirm or x.outcome != "linked")

    def counts(self) -> dict[str, int]:
        """Photos by outcome; the sum is the number of photos."""
        return dict(Counter(x.outcome for x in self.links))


def link_photos(job: Job, seen: Mapping[str, PhotoTag] | None = None) -> Linking:
    """Link every photo of a job to a fitting and a view.

    Parameters
    ----------
    job : Job
    seen : mapping of str to PhotoTag, optional
        By path of the photo. Photos that are not in it are linked by what is
        declared and by their names alone.
    """
    tags = seen or {}
    labels = Labels(x.label for x in job.facts.fittings)
    links = {
        p.path: _declared(p.path, job.entries.get(p.path), labels, tags.get(p.path, PhotoTag()))
        for p in job.photos
    }
    # Copies first: a picture that is claimed for two fittings must not begin a run.
    _copies(links, tags)
    _runs(links, tags)
    for path, link in links.items():
        if link.outcome == "duplicate" and link.like and not link.confirm:
            links[path] = replace(link, label=links[link.like].label)
    result = Linking(tuple(links[p.path] for p in job.photos))
    assert len(result.links) == len(job.photos), "every photo has one outcome"
    return result


def _declared(path: str, entry: PhotoEntry | None, labels: Labels, tag: PhotoTag) -> Link:
    """Entry, file name, card: the first that names a fitting decides, others may dispute it."""
    says = labels.read(path)
    view = (entry.view if entry else None) or says.view
    base = Link(
        path, "unlabelled", view=view, cables_in_picture=entry.cables_in_picture if entry else None
    )
    card = tag.card_label.strip() if tag.card_label else None
    on_card = labels.find(card) if card else None
    named: list[tuple[How, str]] = []
    if entry and entry.fitting:
        named.append(("entry", entry.fitting))
    if says.label:
        named.append(("name", says.label))
    if on_card:
        named.append(("card", on_card))
    if named:
        disputes = [d for d in named[1:] if d[1] != named[0][1]]
        unread = card if card and not on_card else None
        return _linked(base, named[0], disputes, unread, says)
    if says.unknown_label or card:
        return _unknown(base, says, card, labels)
    if says.note:  # two labels: whoever wrote the name meant one of them, a run would guess
        return replace(base, why=says.note, confirm=True)
    return replace(base, why="neither its name nor a card tells the fitting")


_SOURCE = {
    "entry": "its [[photo]] entry", "name": "its file name", "card": "the card in it",
    "run": "the run it belongs to",
}  # fmt: skip


def _linked(
    base: Link,
    first: tuple[How, str],
    disputes: Sequence[tuple[How, str]],
    unread: str | None,
    says: NameSays,
) -> Link:
    how, label = first
    why = f"{_SOURCE[how]} says {label!r}"
    for other, different in disputes:
        why += f", but {_SOURCE[other]} says {different!r}"
    if unread:
        why += f", but the card in it says {unread!r}, which is no fitting of this job"
    misnamed = bool(says.unknown_label) and how != "name"
    if misnamed:
        why += f", but its file name begins with {says.unknown_label!r}"
    if says.note and base.view is None:
        why += f"; {says.note}"
    return replace(
        base,
        outcome="linked",
        label=label,
        how=how,
        why=why,
        confirm=bool(disputes or unread or misnamed),
    )


def _unknown(base: Link, says: NameSays, card: str | None, labels: Labels) -> Link:
    # A card stands in the picture itself; a name that only looks like a label may be anything.
    read = card or says.unknown_label or ""
    source = "the card in it" if card else "its file name"
    near = labels.near(read)
    why = f"{source} says {read!r}, which is no fitting of this job"
    return replace(base, outcome="unknown-label", label=read, why=f"{why}; {near}" if near else why)


def _clock(tag: PhotoTag) -> datetime | None:
    return tag.taken.replace(tzinfo=None) if tag.taken else None


def _runs(links: dict[str, Link], tags: Mapping[str, PhotoTag]) -> None:
    """Link unlabelled photos to the label that the same camera took before them."""
    timed: dict[str, list[tuple[datetime, str]]] = {}
    for path in links:
        tag = tags.get(path, PhotoTag())
        taken = _clock(tag)
        if taken is not None:
            timed.setdefault(tag.camera, []).append((taken, path))
        elif path in tags and _bare(links[path]):
            links[path] = replace(
                links[path],
                why=f"{links[path].why}, and it carries no time that would put it in a run",
            )
    for series in timed.values():
        _run(sorted(series), links)


def _bare(link: Link) -> bool:
    return link.outcome == "unlabelled" and not link.confirm


def _run(series: Sequence[tuple[datetime, str]], links: dict[str, Link]) -> None:
    begun: Link | None = None
    since: datetime | None = None
    for taken, path in series:
        link = links[path]
        if link.outcome == "duplicate" and not link.confirm:
            continue
        if not _bare(link):
            begun, since = link, taken
            continue
        if begun is None or since is None:
            continue
        if begun.outcome != "linked" or begun.confirm:
            doubt = "is unknown" if begun.outcome != "linked" else "is disputed"
            links[path] = replace(
                link,
                why=f"{link.why}; it follows {_last(begun.photo)}, whose label {doubt}",
                like=begun.photo,
            )
            continue
        links[path] = replace(
            link,
            outcome="linked",
            label=begun.label,
            how="run",
            confirm=True,
            like=begun.photo,
            why=f"taken {_after(taken, since)} after {_last(begun.photo)},"
            f" which shows {begun.label!r}",
        )
    _same_second(series, links)


def _same_second(series: Sequence[tuple[datetime, str]], links: dict[str, Link]) -> None:
    """A photo of the very second in which labels changed could belong to either."""
    known: dict[datetime, set[str]] = {}
    for taken, path in series:
        link = links[path]
        if link.outcome == "linked" and link.label and link.how != "run":
            known.setdefault(taken, set()).add(link.label)
    for taken, path in series:
        link = links[path]
        if link.how == "run" and known.get(taken, set()) - {link.label}:
            links[path] = replace(
                link,
                outcome="unlabelled", label=None, how=None, confirm=False,
                why="taken in the same second as a photo of another fitting",
            )  # fmt: skip


def _after(taken: datetime, since: datetime) -> str:
    seconds = int((taken - since).total_seconds())
    if seconds < 120:
        return f"{seconds} s"
    if seconds < 7200:
        return f"{seconds // 60} min"
    return f"{seconds // 3600} h"


def _last(path: str) -> str:
    return path.rsplit("/", 1)[-1]


def _copies(links: dict[str, Link], tags: Mapping[str, PhotoTag]) -> None:
    """Of photos with the same bytes one counts; none does where they claim different fittings."""
    same: dict[str, list[str]] = {}
    for path in links:
        tag = tags.get(path)
        if tag and tag.sha256:
            same.setdefault(tag.sha256, []).append(path)
    for paths in same.values():
        if len(paths) > 1:
            _copy(paths, links)


_RANK = {"entry": 0, "name": 1, "card": 2, "run": 3, None: 4}


def _copy(paths: list[str], links: dict[str, Link]) -> None:
    best = min(paths, key=lambda p: (_RANK[links[p].how], paths.index(p)))
    claimed = {links[p].label: p for p in paths if links[p].how in {"entry", "name", "card"}}
    if len(claimed) > 1:
        names = " and ".join(repr(str(x)) for x in claimed)
        for path in paths:
            other = next(p for p in paths if p != path)
            links[path] = replace(
                links[path],
                outcome="duplicate", label=None, how=None, confirm=True, like=other,
                why=f"the same picture is given for {names}; one picture can't show both, "
                "so it counts for neither",
            )  # fmt: skip
        return
    views = sorted({v for p in paths if (v := links[p].view)})
    if len(views) > 1:
        links[best] = replace(
            links[best],
            confirm=True,
            why=f"{links[best].why}; copies of it are given as {', '.join(views)}",
        )
    strange = [x.label for p in paths if (x := links[p]).outcome == "unknown-label"]
    if strange and links[best].outcome == "linked":
        links[best] = replace(
            links[best],
            confirm=True,
            why=f"{links[best].why}; a copy of it is given for {strange[0]!r},"
            " which is no fitting of this job",
        )
    for path in paths:
        if path != best:
            links[path] = replace(
                links[path],
                outcome="duplicate", label=links[best].label, how=None, confirm=False, like=best,
                why=f"the same picture as {_last(best)}; that one counts",
            )  # fmt: skip
