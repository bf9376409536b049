"""Put the checklist together: photos, declared facts, and the rules' answers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

from audit import __version__
from audit.checklist.items import photo_item, rule_item
from audit.checklist.merge import Expected, merge_check
from audit.checklist.models import (
    STATES,
    Checklist,
    Count,
    Fitting,
    HoldPoint,
    Item,
    JobHead,
    PhotoEntry,
    Room,
    Summary,
    Tool,
    worst_first,
)
from audit.checklist.seen import LinkedPhoto, fitting_seen
from audit.checklist.texts import texts
from audit.job.facts import Fitting as Declared
from audit.job.facts import JobFacts
from audit.rules.catalogue import catalogue, photo_checks
from audit.rules.engine import evaluate
from audit.rules.house import HouseRules
from audit.rules.plan import room_plans
from audit.rules.region import find_region
from audit.rules.types import Check
from audit.rules.types import HoldPoint as RuleHoldPoint
from audit.settings import Settings

_SHOWN = (
    "model", "ip", "ip_side", "protection_class", "supply", "voltage_v", "lamp_w", "fire_min",
    "cables", "cable", "cpc_in_cable", "earth_terminal", "factory_lead",
)  # fmt: skip
"""Declared facts shown at the head of a fitting: those that its photos can be held against."""
_NAMES = {
    "ip": "IP code", "ip_side": "IP of", "protection_class": "class", "voltage_v": "voltage (V)",
    "lamp_w": "lamp (W)", "fire_min": "fire (min)", "cpc_in_cable": "CPC in cable",
    "earth_terminal": "terminal for the CPC", "factory_lead": "maker's own lead",
}  # fmt: skip


@dataclass(frozen=True)
class Inputs:
    """What a checklist is made from.

    Parameters
    ----------
    facts : JobFacts
    photos : sequence of LinkedPhoto
        All of the job, in the job's order.
    settings : Settings
    fingerprint : str
        Stands for the tool.
    house : HouseRules or None
        The firm's own rules.
    hold_point : str or None
        Only items of this hold point; None for the job's own choice, else both.
    plans : mapping of str to str
        SVG plan by room; drawn from the items where none is given.
    made_at : datetime
        When, with a zone; written as UTC.
    """

    facts: JobFacts
    photos: Sequence[LinkedPhoto]
    settings: Settings
    fingerprint: str
    house: HouseRules | None = None
    hold_point: HoldPoint | None = None
    made_at: datetime = field(default_factory=lambda: datetime.now(UTC))


def build(inputs: Inputs) -> Checklist:
    """Make the checklist.

    Parameters
    ----------
    inputs : Inputs

    Returns
    -------
    Checklist
        Items worst first within each subject; subjects in the job's order.
    """
    by_fitting = _by_fitting(inputs.photos)
    hold_point = inputs.hold_point or inputs.facts.job.hold_point
    items = _rule_items(inputs, by_fitting, hold_point)
    items += _photo_items(inputs, by_fitting)
    if hold_point is not None:
        items = [i for i in items if i.hold_point == hold_point]
    ordered = _in_order(items, inputs.facts)
    plans = _plans(inputs, ordered)
    words = texts()
    return Checklist(
        tool=Tool(version=__version__, fingerprint=inputs.fingerprint),
        made_at=inputs.made_at.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ"),
        notice=(words.unconfirmed, words.aid),
        cautions=words.cautions,
        cannot_show=words.cannot_show,
        job=_head(inputs),
        hold_point=hold_point,
        summary=_summary(ordered, inputs.photos),
        rooms=tuple(
            Room(name=r.name, kind=r.kind, plan_svg=plans.get(r.name)) for r in inputs.facts.rooms
        ),
        fittings=tuple(_fitting(f, by_fitting.get(f.label, [])) for f in inputs.facts.fittings),
        circuits=tuple(c.id for c in inputs.facts.circuits),
        items=tuple(ordered),
        photos=tuple(_entry(p) for p in inputs.photos),
    )


def _plans(inputs: Inputs, items: Sequence[Item]) -> Mapping[str, str]:
    answers = [(i.subject.id, i.topic, i.state) for i in items if i.subject.kind == "fitting"]
    return room_plans(inputs.facts, answers, inputs.house.region if inputs.house else None)


def _by_fitting(photos: Sequence[LinkedPhoto]) -> dict[str, list[LinkedPhoto]]:
    found: dict[str, list[LinkedPhoto]] = {}
    for photo in photos:
        if photo.fitting is not None:
            found.setdefault(photo.fitting, []).append(photo)
    return found


def _rule_items(
    inputs: Inputs, by_fitting: Mapping[str, Sequence[LinkedPhoto]], hold_point: HoldPoint | None
) -> list[Item]:
    seen = {label: fitting_seen(label, photos) for label, photos in by_fitting.items()}
    checks: dict[str, Check] = dict(catalogue())
    if inputs.house is not None:
        checks |= {check.id: check for check, _ in inputs.house.rules}
    point = None if hold_point is None else RuleHoldPoint(hold_point)
    found = evaluate(inputs.facts, seen, inputs.house, point)
    return [rule_item(i, checks[i.check]) for i in found]


def _photo_items(inputs: Inputs, by_fitting: Mapping[str, Sequence[LinkedPhoto]]) -> list[Item]:
    checks = list(photo_checks().values())
    if inputs.house is not None:
        heavier = inputs.house.weights
        checks = [replace(c, weight=heavier.get(c.id, c.weight)) for c in checks]
    items: list[Item] = []
    for fitting in inputs.facts.fittings:
        photos = [p.seen for p in by_fitting.get(fitting.label, []) if not p.duplicate]
        expected = Expected(fitting.cables, fitting.cpc_in_cable)
        for check in checks:
            merged = merge_check(check.id, photos, expected)
            items.append(photo_item(merged, fitting.label, check, inputs.settings))
    return items


def _in_order(items: Sequence[Item], facts: JobFacts) -> list[Item]:
    kinds = ("fitting", "room", "circuit", "job")
    names = {
        **{("fitting", f.label): n for n, f in enumerate(facts.fittings)},
        **{("room", r.name): n for n, r in enumerate(facts.rooms)},
        **{("circuit", c.id): n for n, c in enumerate(facts.circuits)},
    }
    last = len(names)
    return sorted(
        items,
        key=lambda i: (
            kinds.index(i.subject.kind),
            names.get((i.subject.kind, i.subject.id), last),
            worst_first(i),
        ),
    )


def _summary(items: Sequence[Item], photos: Sequence[LinkedPhoto]) -> Summary:
    stops = [i for i in items if i.weight == "stop"]
    outcomes = [p.record.outcome for p in photos]
    return Summary(
        items=Count(**{s: sum(i.state == s for i in items) for s in STATES}),
        stops=tuple(i.id for i in stops if i.state == "flag"),
        stops_unsettled=tuple(i.id for i in stops if i.state in ("unsure", "missing")),
        photos={
            "read": outcomes.count("read"),
            "retake": outcomes.count("retake"),
            "failed": outcomes.count("failed"),
        },
    )


def _head(inputs: Inputs) -> JobHead:
    job = inputs.facts.job
    region, _ = find_region(job.region, inputs.house.region if inputs.house else None)
    in_force = (region.wiring_rules, region.current_edition)
    return JobHead(
        name=job.name,
        place=job.address_label,
        region=region.name,
        edition=job.edition or ":".join(x for x in in_force if x) or None,
        by=job.by,
        answers_for_it=job.answers_for_it,
        date=job.date.isoformat() if job.date else None,
    )


def _fitting(declared: Declared, photos: Sequence[LinkedPhoto]) -> Fitting:
    facts = {
        _NAMES.get(name, name): _words(value)
        for name in _SHOWN
        if (value := getattr(declared, name)) is not None
    }
    return Fitting(
        label=declared.label,
        room=declared.room,
        circuit=declared.circuit,
        model=declared.model,
        facts=facts,
        photos=tuple(p.file for p in photos),
    )


def _words(value: object) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:g}" if isinstance(value, float) else str(value)


def _entry(photo: LinkedPhoto) -> PhotoEntry:
    return PhotoEntry(
        file=photo.file,
        sha256=photo.record.sha256,
        fitting=photo.fitting,
        view=photo.view,
        linked_by=photo.linked_by,
        notes=photo.notes,
        taken=photo.taken,
        look=photo.record,
    )
