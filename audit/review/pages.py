"""Pages to look at: the start, a subject with its items, requests, photos."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from typing import cast, get_args

from flask import Blueprint, Response, abort, redirect, render_template, request, url_for
from flask.typing import ResponseReturnValue

from audit.checklist.models import PhotoEntry, worst_first
from audit.record.record import JobState
from audit.record.types import Retake
from audit.report.annotate import WORST_FIRST, places
from audit.report.ribbon import ribbon_svg
from audit.review.ask import Ask, ask, view_of
from audit.review.context import review
from audit.review.desk import Basis, Subject, item_key, slug
from audit.review.door import who
from audit.review.overlay import overlay_svg
from audit.review.pictures import LONGER_SIDE, Size
from audit.review.rows import Overview, hidden, overview, stops_it

blueprint = Blueprint("pages", __name__)
_overviews: dict[int, tuple[JobState, Overview]] = {}
_lock = threading.Lock()


@blueprint.before_request
def ask_who() -> ResponseReturnValue | None:
    """Nobody decides without a name: ask for it first."""
    if who() is None and request.method in ("GET", "HEAD"):
        if request.endpoint in ("pages.news", "pages.fragment"):
            abort(401)
        if request.endpoint != "pages.photo":
            return redirect(url_for("door.you", to=request.path))
    return None


def present() -> tuple[Basis, JobState]:
    """The checklist and how it stands, for whoever reviews."""
    return review().desk.adopted(who() or "")


def arranged(basis: Basis, state: JobState) -> Overview:
    """The overview, worked out once for each state of the record."""
    with _lock:
        known = _overviews.get(id(review().desk))
        if known is None or known[0] is not state:
            known = (state, overview(basis, state))
            _overviews[id(review().desk)] = known
        return known[1]


@blueprint.get("/")
def start() -> ResponseReturnValue:
    """What stops the closing-up, fitting by fitting, and what is left to decide."""
    basis, state = present()
    loose = [p for p in basis.checklist.photos if p.fitting is None]
    return render_template(
        "start.html",
        list=basis.checklist,
        state=state,
        view=arranged(basis, state),
        loose=loose,
        changed=review().desk.changed(),
        subject_of=basis.subject_of,
    )


@blueprint.get("/at/<name>")
def subject(name: str) -> ResponseReturnValue:
    """One fitting, room or circuit, or the job, with everything asked of it."""
    basis, state = present()
    found = basis.subjects.get(name) or abort(404)
    if found.kind == "fitting" and state.blind.hides(found.id):
        return redirect(url_for("second_look.fitting", name=name))
    by = who() or ""
    items = sorted(found.items, key=worst_first)
    asks = [ask(basis, state.standings[i.id], by) for i in items]
    before, after = _beside(arranged(basis, state), found)
    room = slug("room", found.room.name) if found.room and found.fitting else ""
    return render_template(
        "subject.html",
        list=basis.checklist,
        subject=found,
        asks=asks,
        groups=_groups(asks),
        photos=sorted(map(PhotoPane, found.photos), key=lambda pane: pane.badness),
        state=state,
        by=by,
        before=before,
        after=after,
        stops=sum(stops_it(a.standing) for a in asks),
        room_page=room if room in basis.subjects else None,
        left=sum(a.standing.status != "decided" for a in asks),
    )


def _groups(asks: Sequence[Ask]) -> list[tuple[str, list[Ask]]]:
    """Items under headings, the gravest first; within each as the checklist has them."""
    titles = ("Stops it", "Flagged or unsure", "Nothing supplied", "No fault seen")

    def group(ask: Ask) -> str:
        if ask.item.weight == "stop" and ask.item.state != "clear":
            return titles[0]
        return {"missing": titles[2], "clear": titles[3]}.get(ask.item.state, titles[1])

    found = [(title, [a for a in asks if group(a) == title]) for title in titles]
    return [(title, several) for title, several in found if several]


def _beside(view: Overview, found: Subject) -> tuple[Subject | None, Subject | None]:
    """Those before and after it on the start page."""
    line = [r.subject for r in (*view.fittings, *view.others)]
    at = line.index(found)
    return (line[at - 1] if at else None, line[at + 1] if at + 1 < len(line) else None)


class PhotoPane:
    """One photo on a page, with what was found in it.

    Parameters
    ----------
    entry : PhotoEntry
    bare : bool
        Nothing of what was found is put on the page.
    """

    def __init__(self, entry: PhotoEntry, *, bare: bool = False) -> None:
        self.entry = entry
        self.bare = bare
        self.places = () if bare else places(entry.look)
        self.overlay = "" if bare else overlay_svg(entry.look, self.places)
        self.views = {p.number: view_of(entry, p.box) for p in self.places}
        size = entry.look.size_px or (1, 1)
        share = min(1.0, LONGER_SIDE["screen"] / max(size))
        self.screen_width = round(size[0] * share)

    @property
    def readable(self) -> bool:
        """Whether there is a picture to show."""
        return self.entry.look.size_px is not None and self.entry.sha256 is not None

    @property
    def badness(self) -> tuple[int, int]:
        """Sort key: the photo with the gravest place comes first, and is the one on screen."""
        states = [p.state for p in self.places]
        worst = min((WORST_FIRST.index(s) for s in states), default=len(WORST_FIRST))
        return (worst, -sum(WORST_FIRST.index(s) == worst for s in states))

    def ribbon(self, number: int) -> str:
        """The ribbon of one cable, by its place in the record."""
        name = f"r{item_key(self.entry.file)}-{number}"
        return ribbon_svg(self.entry.look.cables[number], name)


@blueprint.get("/at/<name>/<key>")
def fragment(name: str, key: str) -> ResponseReturnValue:
    """One item's part of the page, as it stands now."""
    basis, state = present()
    found = basis.items.get(key) or abort(404)
    if hidden(found, state) or basis.subject_of(found).slug != name:
        abort(404)
    return render_template("ask.html", ask=ask(basis, state.standings[found.id], who() or ""))


@blueprint.get("/news")
def news() -> ResponseReturnValue:
    """What a page that is open needs to know: has anything moved on."""
    basis, state = present()
    at = basis.subjects.get(request.args.get("at", ""))
    standings = {} if at is None else {item_key(i.id): state.standings[i.id] for i in at.items}
    if at is not None and at.kind == "fitting" and state.blind.hides(at.id):
        standings = {}
    return {
        "seq": state.seq,
        "list": basis.evidence.checklist_sha256[:16],
        "tokens": {k: " ".join((s.digest, *s.token)) for k, s in standings.items()},
    }


@blueprint.get("/requests")
def requests() -> ResponseReturnValue:
    """Every photo that is asked for, ready to be sent."""
    basis, state = present()
    open_ = [
        (basis.subject_of(s.item), s, s.decision.decision.request)
        for s in state.standings.values()
        if s.retake_outstanding
        and s.decision is not None
        and isinstance(s.decision.decision, Retake)
        and not hidden(s.item, state)
    ]
    return render_template("requests.html", list=basis.checklist, requests=open_)


@blueprint.get("/photo/<key>/<size>")
def photo(key: str, size: str) -> ResponseReturnValue:
    """One of the job's own photos; the address holds no path."""
    entry = review().desk.basis().photos.get(key)
    if entry is None or size not in get_args(Size):
        abort(404)
    data = review().desk.photos.jpeg(entry, cast(Size, size))
    response = Response(data, mimetype="image/jpeg")
    asked = request.args.get("v", "")
    if asked and (entry.sha256 or "").startswith(asked):
        response.headers["Cache-Control"] = "private, max-age=86400, immutable"
    return response
