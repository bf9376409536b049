"""Marks: a person points out the grip, the wall, the sheath's edge, a terminal, or a length."""

from __future__ import annotations

import contextlib
import threading
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from flask import Blueprint, abort, redirect, render_template, url_for
from flask.typing import ResponseReturnValue
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from audit.batch.link import declared_for
from audit.batch.outputs import OUT, only_run
from audit.checklist.models import PhotoEntry
from audit.errors import LidoffError
from audit.job.label import Link
from audit.job.marks import Mark, MarkKind, read_marks, write_marks
from audit.job.read import MARKS_FILE, load_job
from audit.measure.contract import LookRecord
from audit.measure.look import look_photo
from audit.measure.looks import Unmarked, unmarked
from audit.photo.decode import read_photo
from audit.photo.types import Photo
from audit.record.errors import DecisionError
from audit.record.evidence import photo_path
from audit.record.store import utc_now
from audit.review.acts import reviewer
from audit.review.bodies import read_body
from audit.review.context import review
from audit.review.pages import PhotoPane, ask_who, present
from audit.review.results import Result, result_of
from audit.settings import Settings

blueprint = Blueprint("measure", __name__)
blueprint.before_request(ask_who)
KINDS: dict[MarkKind, tuple[str, Literal["cable", "end"]]] = {
    "grip": ("grip line, outer and inner", "cable"),
    "wall": ("wall line", "cable"),
    "sheath_edge": ("sheath edge", "cable"),
    "terminal_face": ("terminal face", "end"),
    "length": ("a length", "end"),
}
"""What can be marked, and what it belongs to."""
_MOST_MARKS = 60
_one_at_a_time = threading.Lock()


class _Kept:
    """The stages before marks of the photo that is being marked: one photo, to keep memory flat."""

    def __init__(self) -> None:
        self._of = ""
        self._found: Unmarked | None = None

    def __call__(self, photo: Photo) -> Unmarked:
        if self._found is None or self._of != photo.sha256:
            self._found, self._of = unmarked(photo), photo.sha256
        return self._found


_stages = _Kept()
"""Used under `_one_at_a_time`."""


class _Drawn(BaseModel):
    model_config = ConfigDict(extra="forbid")
    kind: MarkKind
    of: str | None = Field(None, max_length=64)
    points_px: list[tuple[float, float]] = Field(min_length=2, max_length=8)


class _Try(BaseModel):
    model_config = ConfigDict(extra="forbid")
    photo: str = Field(max_length=40)
    sha256: str = Field(pattern="^[0-9a-f]{64}$")
    marks: list[_Drawn] = Field(max_length=_MOST_MARKS)


class _Keep(_Try):
    key: str = Field(min_length=8, max_length=90)


def _warm(path: Path, settings: Settings) -> None:
    """Run the stages before marks while the reviewer looks for what to mark."""
    with _one_at_a_time, contextlib.suppress(LidoffError):
        _stages(read_photo(path, settings))


@blueprint.get("/marks/<key>")
def marks(key: str) -> ResponseReturnValue:
    """Put marks on one photo and see at once what is measured by them."""
    basis, state = present()
    entry = basis.photos.get(key)
    if entry is None or entry.look.size_px is None:
        abort(404)
    home = next((s for s in basis.subjects.values() if entry in s.photos), None)
    if home is not None and home.kind == "fitting" and state.blind.hides(home.id):
        return redirect(url_for("second_look.fitting", name=home.slug))
    path = photo_path(review().desk.root, entry.file)
    threading.Thread(target=_warm, args=(path, review().desk.settings), daemon=True).start()
    return render_template(
        "marks.html",
        list=basis.checklist,
        entry=entry,
        pane=PhotoPane(entry),
        subject=home,
        kinds=KINDS,
        kept=[m for m in _kept(entry) if m.kind in KINDS],
        result=result_of(entry.look),
        known=known_lines(entry.look),
    )


def known_lines(look: LookRecord) -> dict[str, list[list[float]]]:
    """Lines that were found, as `kind:of`, to begin a mark from."""
    found: dict[str, list[list[float]]] = {}
    for cable in look.cables:
        lines = {
            "grip": cable.entry.grip_px,
            "wall": cable.entry.wall_px,
            "sheath_edge": cable.sheath_edge_px,
        }
        for kind, points in lines.items():
            if points:
                found[f"{kind}:{cable.id}"] = _outer_inner(kind, [[x, y] for x, y in points])
    return found


def _outer_inner(kind: str, points: list[list[float]]) -> list[list[float]]:
    """A grip is stored round its corners; as a mark it is its outer and its inner line."""
    return [*points[:2], points[3], points[2]] if kind == "grip" and len(points) == 4 else points


def _kept(entry: PhotoEntry) -> list[Mark]:
    """Marks that are on this photo by now; later ones stand for earlier ones."""
    path = review().desk.root / MARKS_FILE
    if not path.exists():
        return []
    latest: dict[tuple[str, str | None], Mark] = {}
    for mark in read_marks(path):
        if mark.holds_for(entry.file, entry.sha256 or ""):
            latest[mark.kind, mark.of] = mark
    return list(latest.values())


def _photo(body: _Try) -> PhotoEntry:
    entry = review().desk.basis().photos.get(body.photo)
    if entry is None or entry.sha256 is None:
        raise DecisionError("the job has no such photo", next_step="load the page again")
    if entry.sha256 != body.sha256:
        raise DecisionError("this photo is another one by now", next_step="load the page again")
    return entry


def _as_marks(body: _Try, entry: PhotoEntry, by: str) -> list[Mark]:
    found = []
    for drawn in body.marks:
        try:
            mark = Mark(
                photo=entry.file,
                sha256=entry.sha256,
                kind=drawn.kind,
                of=drawn.of,
                points_px=tuple(drawn.points_px),
                by=by,
                at=utc_now(),
            )
        except ValidationError as exc:
            said = exc.errors(include_url=False, include_input=False)[0]["msg"].lower()
            raise DecisionError(
                f"this mark can't be used: {said}", next_step="draw it anew"
            ) from exc
        width, height = entry.look.size_px or (0, 0)
        if not all(0 <= x <= width and 0 <= y <= height for x, y in mark.points_px):
            raise DecisionError("a mark lies outside the photo", next_step="draw it anew")
        found.append(mark)
    return found


def measured(entry: PhotoEntry, marks: list[Mark]) -> LookRecord:
    """Read one photo again with marks; one at a time, since it takes memory.

    Raises
    ------
    DecisionError
        When it can't be read any more, or is another photo.
    """
    desk = review().desk
    job = load_job(desk.root)
    fitting = job.facts.fitting(entry.fitting) if entry.fitting else None
    link = Link(photo=entry.file, outcome="linked", view=entry.view)  # type: ignore[arg-type]
    # Only one at a time: it takes memory, and a newer move makes an older one useless.
    with _one_at_a_time:
        look = look_photo(
            photo_path(desk.root, entry.file),
            settings=job.settings,
            marks=marks,
            declared=declared_for(fitting, link),
            name=entry.file,
            before=_stages,
        )
    if look.sha256 != entry.sha256:
        raise DecisionError(
            "the photo is not the one that was read", next_step="run lidoff audit again"
        )
    return look


@blueprint.post("/do/marks/try")
def try_marks() -> ResponseReturnValue:
    """Measure with marks that are not kept yet."""
    by, body = reviewer(), read_body(_Try)
    entry = _photo(body)
    look = measured(entry, [*_kept(entry), *_as_marks(body, entry, by)])
    return {"html": _table(result_of(entry.look), result_of(look))}


def _table(before: list[Result], after: list[Result]) -> str:
    known = {(r.of, r.name): r for r in before}
    rows = [(known.pop((r.of, r.name), None), r) for r in after]
    rows += [(r, replace(r, figure="not measured", state=None)) for r in known.values()]
    return render_template("results.html", rows=rows)


@blueprint.post("/do/marks/keep")
def keep() -> ResponseReturnValue:
    """Record the marks, and make the checklist again with what they measure."""
    by, body = reviewer(), read_body(_Keep)
    desk = review().desk
    entry = _photo(body)
    drawn = _as_marks(body, entry, by)
    if not drawn:
        raise DecisionError("there is no mark to keep", next_step="draw one")
    look = measured(entry, [*_kept(entry), *drawn])
    result = {"before": _plain(entry.look), "after": _plain(look)}
    basis, _ = desk.adopted(by)
    for number, mark in enumerate(drawn):
        desk.record.mark(basis.evidence, mark, by=by, key=f"{body.key}-{number}", result=result)
    _append_marks(drawn)
    review().recompute(desk.root)
    basis = desk.basis(fresh=True)
    desk.record.adopt(basis.evidence, by=by)
    home = next(
        (s for s in basis.subjects.values() if any(p.file == entry.file for p in s.photos)), None
    )
    to = url_for("pages.subject", name=home.slug) if home else url_for("pages.start")
    return {"to": f"{to}?measured={body.photo}"}


def _append_marks(drawn: list[Mark]) -> None:
    """Put marks to those of the job; a mark sent twice is kept once."""
    root = review().desk.root
    with only_run(root / OUT):
        path = root / MARKS_FILE
        marks = list(read_marks(path)) if path.exists() else []
        known = {(m.sha256, m.kind, m.of, m.points_px) for m in marks[-_MOST_MARKS:]}
        marks += [m for m in drawn if (m.sha256, m.kind, m.of, m.points_px) not in known]
        write_marks(path, marks)


def _plain(look: LookRecord) -> list[dict[str, Any]]:
    """What the record keeps of a measurement: findings, without what only a screen needs."""
    return [
        f.model_dump(mode="json", include={"check", "of", "state", "value_mm", "u95_mm", "why"})
        for f in look.findings
    ]
