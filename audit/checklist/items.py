"""Items of the checklist: from the rules, and from what photos say together."""

from __future__ import annotations

from collections.abc import Mapping

from audit.checklist.merge import Merged
from audit.checklist.models import WEIGHTS, Evidence, Item, Source, Subject, Value, Weight
from audit.checklist.texts import texts
from audit.measure.contract import FindingRecord
from audit.rules import types as rules
from audit.rules.types import VERIFIED_WORDS, Check, Verified
from audit.settings import Settings

_WEAKEST_FIRST = (
    Verified.MEMORY,
    Verified.SINGLE,
    Verified.PRACTICE,
    Verified.SECONDARY,
    Verified.PRIMARY,
)


def limits(settings: Settings) -> Mapping[str, float]:
    """The limit in mm of each photo check that has one."""
    return {
        "core-outside-enclosure": settings.core_limit_mm,
        "core-outside-grip": settings.core_limit_mm,
        "copper-beyond-terminal": settings.copper_limit_mm,
    }


def rule_item(item: rules.Item, check: Check) -> Item:
    """Word an item of the rules for the checklist.

    Parameters
    ----------
    item : audit.rules.types.Item
    check : Check
        Its check.
    """
    is_open = item.state is not rules.State.CLEAR
    request = item.settle.strip() or check.settle.strip()
    value = None
    if item.value is not None:
        value = Value(value=item.value, u95=item.u95, unit=item.unit)
    return Item(
        id=item.id,
        check=item.check,
        topic=item.topic or check.topic,
        subject=Subject(kind=item.of_kind, id=item.of),
        question=check.question,
        why_it_matters=check.why,
        hold_point=item.hold_point.value,
        state=item.state.value,
        weight=item.weight.value,
        value=value,
        why=item.why,
        settle=texts().settle(request) if is_open and request else None,
        request=request if is_open and request else None,
        source=Source(
            text=item.source,
            verified=VERIFIED_WORDS[item.verified],
            wants_edition_check=item.needs_edition_check,
        ),
        from_photos=bool(item.evidence),
        facts={k: _fact(v) for k, v in item.inputs.items() if v is not None},
        evidence=tuple(Evidence(photo=e.photo, box_px=e.box_px) for e in item.evidence),
    )


def _fact(value: rules.InputValue) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, tuple):
        return ", ".join(_fact(v) for v in value)
    if isinstance(value, float):
        return f"{value:g}"
    return str(value)


def photo_item(merged: Merged, fitting: str, check: Check, settings: Settings) -> Item:
    """Word what the photos of one fitting say together about one check.

    Parameters
    ----------
    merged : Merged
    fitting : str
        Label.
    check : Check
    settings : Settings
        The limits shown beside values.
    """
    request = texts().request[merged.request] if merged.request else None
    return Item(
        id=f"{check.id}:{fitting}",
        check=check.id,
        topic=check.topic,
        subject=Subject(kind="fitting", id=fitting),
        question=check.question,
        why_it_matters=check.why,
        hold_point=check.hold_point.value,
        state=merged.state,
        weight=_weight(merged, check),
        value=_value(merged.worst, limits(settings).get(check.id)),
        why=merged.why,
        settle=_settle(merged.state, request),
        request=request,
        source=_source(check),
        from_photos=True,
        evidence=tuple(_evidence(x.photo, x.finding) for x in merged.evidence),
    )


def _settle(state: str, request: str | None) -> str | None:
    if request is None:
        return None
    if state == "flag":
        return texts().settle(f"When a competent person has had it put right: {request}")
    return texts().settle(request)


def _weight(merged: Merged, check: Check) -> Weight:
    """The check's weight, or a lighter one that every flagged finding carries with it."""
    weight: Weight = check.weight.value
    flags = [x.finding for x in merged.evidence if x.finding.state == "flag"]
    carried = [w for f in flags if (w := _carried(f)) is not None]
    if not flags or len(carried) < len(flags):
        return weight
    heaviest = min(carried, key=WEIGHTS.index)
    return max(weight, heaviest, key=WEIGHTS.index)


def _carried(finding: FindingRecord) -> Weight | None:
    carried = (finding.model_extra or {}).get("weight")
    return next((w for w in WEIGHTS if w == carried), None)


def _value(finding: FindingRecord | None, limit: float | None) -> Value | None:
    if finding is None or finding.value_mm is None:
        return None
    return Value(value=finding.value_mm, u95=finding.u95_mm, unit="mm", limit=limit)


def _source(check: Check) -> Source:
    weakest = min((s.verified for s in check.sources), key=_WEAKEST_FIRST.index)
    return Source(
        text="; ".join(str(s) for s in check.sources),
        verified=VERIFIED_WORDS[weakest],
        wants_edition_check=weakest in (Verified.MEMORY, Verified.SINGLE),
    )


def _evidence(photo: str, finding: FindingRecord) -> Evidence:
    return Evidence(
        photo=photo,
        of=finding.of,
        state=finding.state,
        box_px=finding.box_px,
        value_mm=finding.value_mm,
        u95_mm=finding.u95_mm,
        score=finding.score,
        why=finding.why,
    )
