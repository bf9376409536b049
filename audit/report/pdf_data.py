"""What the PDF report says, as plain data for its template."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from audit.checklist.models import HOLD_POINTS, STATES, Checklist, Fitting, HoldPoint, PhotoEntry
from audit.record.blind import BlindState
from audit.record.keys import fingerprint
from audit.record.record import JobState
from audit.record.types import Progress, SignOffStatus, Standing
from audit.report.pdf_words import decision_line, decision_lines, standing_words
from audit.report.ribbon import in_words, ribbon_svg
from audit.report.views import value_words

_FONT = "Libertinus Serif"
_MOST_OPEN = 6
_POINTS: Mapping[HoldPoint, str] = {
    "boarding": "Before the ceiling is boarded (hold point: boarding)",
    "closing-up": "Before fittings are pushed up (hold point: closing-up)",
}
_RIBBON_MM = 3.1
"""Drawing units of a ribbon for each mm on paper."""
_READING = (
    "flag: a fault is likely from what is seen, or follows from what is declared; value and U tell how far it was measured.",
    "unsure: the evidence is too weak; the item says what would settle it.",
    "missing: nothing was supplied.",
    "no fault seen in these photos: just that, and no more.",
    "Weight: stop means do not close up; put right; advise.",
    "A value is given with its expanded uncertainty (k = 2): value ± U.",
    "The left column is the tool's; the right column is a person's, and only that one counts.",
)


@dataclass(frozen=True)
class PdfPicture:
    """A photo as it stands in the report.

    Parameters
    ----------
    jpeg : bytes
        Annotated, small, without metadata.
    size : tuple of int
        Width and height, px.
    """

    jpeg: bytes = field(repr=False)
    size: tuple[int, int]


@dataclass(frozen=True)
class ReportSource:
    """What a report is made from.

    Parameters
    ----------
    state : JobState
    head : str
        Hash of the record's last entry.
    at : str
        Time of that entry; the report is dated by it, never by the clock.
    """

    state: JobState
    head: str
    at: str

    @property
    def checklist(self) -> Checklist:
        """The checklist that was decided on."""
        return self.state.job.checklist


def report_data(
    source: ReportSource, pictures: Mapping[str, PdfPicture], names: Mapping[str, str]
) -> dict[str, Any]:
    """Everything the template reads.

    Parameters
    ----------
    source : ReportSource
    pictures : mapping of str to PdfPicture
    names : mapping of str to str
        File of each picture.
    """
    state, checklist = source.state, source.checklist
    moment = datetime.fromisoformat(source.at).astimezone(UTC)
    entries = {p.file: p for p in checklist.photos}
    placed = {f for fitting in checklist.fittings for f in fitting.photos}
    shown = _Photos(entries, pictures, names)
    return {
        "title": f"Opened downlights: {checklist.job.name}",
        "tool": f"lidoff {checklist.tool.version}",
        "date": {
            u: getattr(moment, u) for u in ("year", "month", "day", "hour", "minute", "second")
        },
        "standing": _standing(state),
        "job": {"name": checklist.job.name},
        "head": _head(source),
        "record": {"entries": state.seq, "short": source.head[:16]},
        "points": [_point(state, p) for p in HOLD_POINTS if state.at(p)],
        "blind": _blind(state.blind),
        "cautions": list(checklist.cautions),
        "cannot_show": [f"{t[:1].upper()}{t[1:]}." for t in checklist.cannot_show],
        "reading": list(_READING),
        "fittings": [_fitting(state, f, shown) for f in checklist.fittings],
        "rooms": _rooms(state),
        "circuits": _circuits(state),
        "job_items": _rows(s for s in state.standings.values() if s.item.subject.kind == "job"),
        "loose": shown.of([p.file for p in checklist.photos if p.file not in placed]),
        "checking": _checking(source),
    }


def _standing(state: JobState) -> str:
    signed = [p for p in HOLD_POINTS if state.sign_off(p).state == "signed"]
    return f"Signed off: {', '.join(signed)}" if signed else "Not signed off"


def _head(source: ReportSource) -> list[list[str]]:
    job, checklist = source.checklist.job, source.checklist
    pairs = [
        ("Job", job.name),
        ("Place", job.place),
        ("Rules used", " ".join(x for x in (job.region, job.edition) if x)),
        ("Work by", job.by),
        ("Answers for it", job.answers_for_it),
        ("Date of the work", job.date),
        ("Checklist made", f"{checklist.made_at}, {checklist.tool.name} {checklist.tool.version}"),
        ("Record reaches to", f"{source.at} (entry {source.state.seq})"),
    ]
    return [[name, text] for name, text in pairs if text]


def _point(state: JobState, point: HoldPoint) -> dict[str, Any]:
    progress, sign = state.progress(point), state.sign_off(point)
    counts = {s: sum(x.item.state == s for x in state.at(point)) for s in STATES}
    words = ", ".join(f"{n} {'no fault seen' if s == 'clear' else s}" for s, n in counts.items())
    lines = _open_lines(state, point)
    return {
        "title": _POINTS[point],
        "signed": sign.state == "signed",
        **_sign_words(sign, progress),
        "counts": f"{progress.items} items: {words}. {progress.decided} of them decided.",
        "open": lines[:_MOST_OPEN],
        "more": f"And {len(lines) - _MOST_OPEN} more; see the pages of the fittings."
        if len(lines) > _MOST_OPEN
        else "",
    }


def _sign_words(sign: SignOffStatus, progress: Progress) -> dict[str, Any]:
    if sign.state == "none":
        ways = [f"{words}: {len(ids)}" for words, ids in progress.in_the_way.items()]
        return {"standing": "Not signed off.", "lines": ways or ["Nothing stands in the way."]}
    who = f"by {sign.by} on {sign.at}, entry {sign.seq} of the record"
    key = f"Key: {fingerprint(sign.public_key)}" if sign.public_key else ""
    lines = [f"“{sign.statement}”", key]
    if sign.state == "stale":
        more = [f"And {len(sign.reasons) - 12} more."] if len(sign.reasons) > 12 else []
        lines += ["What changed since:", *sign.reasons[:12], *more]
        return {"standing": f"Stale: it was signed off {who}, and is no longer so.", "lines": lines}
    return {"standing": f"Signed off {who}.", "lines": lines}


def _open_lines(state: JobState, point: HoldPoint) -> list[str]:
    """What is still open, the gravest first."""
    ranked = [(_rank(s), s) for s in state.at(point) if _rank(s) is not None]
    ranked.sort(key=lambda pair: (pair[0], pair[1].item.subject.id))
    return [
        f"{_subject(s)}: {s.item.question} {standing_words(s)} ({s.item.weight})" for _, s in ranked
    ]


def _rank(standing: Standing) -> int | None:
    stop = standing.item.weight == "stop"
    if standing.finds_fault:
        return 0 if stop else 4
    if standing.status == "conflict":
        return 1
    if standing.retake_outstanding:
        return 2
    if standing.status != "decided":
        return 3 if stop or standing.item.state == "flag" else 5
    return 6 if standing.left_open else None


def _subject(standing: Standing) -> str:
    subject = standing.item.subject
    return "The job" if subject.kind == "job" else f"{subject.kind.capitalize()} {subject.id}"


def _blind(blind: BlindState) -> str:
    if not blind.fittings:
        return ""
    left = sum(len(ids) for ids in blind.to_judge.values())
    drawn = (
        f"Fittings drawn to be judged before the tool's states were shown: "
        f"{', '.join(blind.fittings)} (seed {str(blind.seed)[:16]}…, whole in the record)."
    )
    if left:
        drawn += f" {left} of their items are not judged yet."
    found = blind.agreement
    if found is None:
        return drawn
    said = f" Person and tool agreed on {found.agreed} of {found.n}"
    if found.kappa is None:
        return f"{drawn}{said}; one of the two used one word only, so that Cohen's kappa tells nothing."
    kappa, low, high = (_two(x) for x in (found.kappa, found.low, found.high))
    return f"{drawn}{said}; Cohen's kappa {kappa}, 95 % interval {low} to {high}."


def _two(number: float | None) -> str:
    """A figure to two decimals, with a true minus and no minus nought."""
    return f"{round(number or 0.0, 2) + 0.0:.2f}".replace("-", "−")


@dataclass(frozen=True)
class _Photos:
    entries: Mapping[str, PhotoEntry]
    pictures: Mapping[str, PdfPicture]
    names: Mapping[str, str]

    def of(self, files: Sequence[str]) -> list[dict[str, Any]]:
        """Pictures of some photos; those that could not be drawn are left out."""
        return [self._one(f) for f in files if f in self.names and f in self.entries]

    def _one(self, file: str) -> dict[str, Any]:
        entry, picture = self.entries[file], self.pictures[file]
        found = entry.look.findings
        flags = [f for f in found if f.state == "flag"]
        what = f"photo {file}, view {entry.view or 'not said'}"
        said = "; ".join(f"{f.check}: {f.why}" for f in flags) or "no flag drawn on it"
        return {
            "file": self.names[file],
            "alt": f"{what[:1].upper()}{what[1:]}, of {entry.fitting or 'no fitting'}; {said}",
            "caption": f"{file}, {entry.view or 'view not said'}, {entry.look.outcome}",
            "tall": picture.size[1] > picture.size[0],
        }


def _fitting(state: JobState, fitting: Fitting, shown: _Photos) -> dict[str, Any]:
    standings = state.of_fitting(fitting.label)
    facts = [f"room {fitting.room}" if fitting.room else "room not said"]
    facts += [f"circuit {fitting.circuit}"] if fitting.circuit else []
    facts += [f"{name} {value}" for name, value in fitting.facts.items()]
    return {
        "label": fitting.label,
        "room": fitting.room or "not said",
        "facts": "Declared: " + "; ".join(facts) + ".",
        "counts": {s: sum(x.item.state == s for x in standings) for s in STATES},
        "decided": f"{sum(s.status == 'decided' for s in standings)} of {len(standings)}",
        "photos": shown.of(fitting.photos),
        "ribbons": _ribbons(fitting, shown.entries),
        "items": _rows(standings),
    }


def _ribbons(fitting: Fitting, entries: Mapping[str, PhotoEntry]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for file in fitting.photos:
        for cable in entries[file].look.cables if file in entries else ():
            svg = ribbon_svg(cable, f"r{len(found)}")
            if svg:
                name = f"Ribbon of cable {cable.id} in {file}, outside on the left, in mm"
                alt = f"{name}: {in_words(cable)}"
                found.append({"svg": drawable(svg), "name": name, "alt": alt, "width": _width(svg)})
    return found


def _width(svg: str) -> float:
    """Per cent of the page's width that a ribbon takes: to the same scale, as far as it fits."""
    found = re.search(r'viewBox="0 0 ([\d.]+)', svg)
    units = float(found.group(1)) if found else 500.0
    return round(min(100.0, units / _RIBBON_MM / 176 * 100), 1)


def drawable(svg: str) -> str:
    """An SVG drawing with the font that the report embeds, in black."""
    # Colours that a page would give fall back to those named beside them.
    plain = re.sub(r"var\(--[\w-]+, ?([^)]+)\)", r"\1", svg)
    plain = re.sub(r'font-family="[^"]*"', f'font-family="{_FONT}"', plain)
    return re.sub(r"font-family:[^;\"}]*", f"font-family:{_FONT}", plain)


def _rooms(state: JobState) -> list[dict[str, Any]]:
    found = []
    for room in state.job.checklist.rooms:
        rows = _rows(_of(state, "room", room.name))
        if rows or room.plan_svg:
            inside = [f.label for f in state.job.checklist.fittings if f.room == room.name]
            alt = f"Plan of {room.name} with fittings {', '.join(inside) or 'none'}"
            found.append(
                {
                    "name": room.name,
                    "plan": drawable(room.plan_svg) if room.plan_svg else "",
                    "alt": alt,
                    "items": rows,
                }
            )
    return found


def _of(state: JobState, kind: str, identity: str) -> list[Standing]:
    return [
        s
        for s in state.standings.values()
        if s.item.subject.kind == kind and s.item.subject.id == identity
    ]


def _circuits(state: JobState) -> list[dict[str, Any]]:
    found = []
    for circuit in state.job.checklist.circuits:
        standings = _of(state, "circuit", circuit)
        figures = {s.item.question: value_words(s.item.value) for s in standings if s.item.value}
        figures |= {named(k): v for s in standings for k, v in s.item.facts.items()}
        if standings:
            found.append(
                {
                    "name": circuit,
                    "figures": [[k, v] for k, v in figures.items()],
                    "items": _rows(standings),
                }
            )
    return found


_UNITS = {
    "mohm": "MΩ", "ohm": "Ω", "ma": "mA", "ms": "ms", "a": "A", "v": "V", "w": "W", "m": "m",
    "mm": "mm", "mm2": "mm²", "kw": "kW",
}  # fmt: skip


def named(fact: str) -> str:
    """Name of a declared or computed fact for a person: words, and its unit in brackets.

    Examples
    --------
    >>> named("ir_mohm"), named("rcd_trip_ms"), named("polarity")
    ('ir (MΩ)', 'rcd trip (ms)', 'polarity')
    """
    words, _, unit = fact.rpartition("_")
    if words and unit in _UNITS:
        return f"{words.replace('_', ' ')} ({_UNITS[unit]})"
    return fact.replace("_", " ")


def _rows(standings: Any) -> list[dict[str, Any]]:
    return [_row(s) for s in standings]


def _row(standing: Standing) -> dict[str, Any]:
    item, decided = standing.item, standing.decision
    edition = "; wants checking in the edition that the job follows"
    by = f"{decided.by}, {decided.at}" if decided else ""
    return {
        "state": item.state,
        "said": item.said,
        "full": standing.item.state in ("flag", "unsure") or _rank(standing) in (0, 1, 2, 4),
        "group": "clear-photos" if item.state == "clear" and item.from_photos else item.state,
        "weight": item.weight,
        "question": item.question,
        "value": value_words(item.value) if item.value else "",
        "why": item.why,
        "source": item.source.text + (edition if item.source.wants_edition_check else ""),
        "decided": standing.status == "decided",
        "decision": decided.decision.choice if decided else "",
        "standing": standing_words(standing),
        "lines": decision_lines(standing),
        "by": by if standing.status == "decided" else "",
        "decision-line": decision_line(standing),
    }


def _checking(source: ReportSource) -> list[str]:
    job = source.state.job
    return [
        "This report is one part of a pack. The pack holds the record: every decision, every "
        "decision taken back, and every sign-off, each bound to the one before by its SHA-256. "
        "The command “lidoff verify PACK” checks all of it and names what does not hold.",
        f"Record: {source.state.seq} entries, the last one has the hash {source.head}.",
        f"Checklist: SHA-256 {job.checklist_sha256}.",
        f"Rules: SHA-256 {job.rules_sha256}.",
        f"Photos: {len(job.photos)}, each with its SHA-256 in the record.",
    ]
