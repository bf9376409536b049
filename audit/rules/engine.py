"""All checks asked of one job: facts and what photos showed in, items out."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from types import MappingProxyType
from typing import Any

from audit.job.facts import JobFacts
from audit.rules import (
    agreement,
    circuit,
    cpc,
    fire,
    holes,
    identification,
    joints,
    paperwork,
    protection,
    ratings,
    testing,
    zones,
)
from audit.rules.catalogue import catalogue
from audit.rules.context import Context
from audit.rules.house import HouseRules
from audit.rules.region import Region, find_region
from audit.rules.types import (
    Check,
    FittingSeen,
    HoldPoint,
    Item,
    OfKind,
    State,
    Value,
    Verdict,
    Verified,
    Weight,
)

Rule = Callable[[Context, Any], Verdict | None]

_MODULES = (
    zones, ratings, protection, agreement, fire, holes, cpc, identification, joints, circuit,
    testing, paperwork,
)  # fmt: skip
_TABLES: tuple[tuple[OfKind, str], ...] = (
    ("fitting", "FITTING"), ("room", "ROOM"), ("circuit", "CIRCUIT"), ("job", "JOB"),
)  # fmt: skip

_STRENGTH = (
    Verified.MEMORY, Verified.SINGLE, Verified.PRACTICE, Verified.SECONDARY, Verified.PRIMARY,
)  # fmt: skip
"""Weakest first."""
_WEAK = frozenset({Verified.MEMORY, Verified.SINGLE})
_WEAK_WORDS = {Verified.MEMORY: "memory", Verified.SINGLE: "an informal text"}


def rules() -> Mapping[OfKind, Mapping[str, Rule]]:
    """Every rule's function by what it is asked of and the check it answers."""
    found: dict[OfKind, dict[str, Rule]] = {}
    for kind, table in _TABLES:
        found[kind] = {}
        for module in _MODULES:
            found[kind].update(getattr(module, table, {}))
    return found


def evaluate(
    facts: JobFacts,
    seen: Mapping[str, FittingSeen] = MappingProxyType({}),
    house: HouseRules | None = None,
    hold_point: HoldPoint | None = None,
) -> list[Item]:
    """Ask every check of the catalogue of everything in a job.

    Checks that photos answer by themselves (`photo_checks`) are not asked here:
    the checklist merges their findings.

    Parameters
    ----------
    facts : JobFacts
    seen : mapping of str to FittingSeen
        By label, for fittings that have photos.
    house : HouseRules, optional
        Rules and values of the firm, or a region of its own.
    hold_point : HoldPoint, optional
        Only checks of that hold point; the job's own choice if left out.

    Returns
    -------
    list of Item
        Fittings in their order, then rooms, circuits, the job; within each in the
        order of the catalogue.
    """
    if hold_point is None and facts.job.hold_point is not None:
        hold_point = HoldPoint(facts.job.hold_point)
    region, known = find_region(facts.job.region, None if house is None else house.region)
    if house is not None:
        region = region.with_values(house.values)
    ctx = Context(facts, region, known, seen)
    maker = _Maker(ctx, house)
    tables = rules()
    things: tuple[tuple[OfKind, Iterable[tuple[str, Any]]], ...] = (
        ("fitting", ((f.label, f) for f in facts.fittings)),
        ("room", ((r.name, r) for r in facts.rooms)),
        ("circuit", ((c.id, c) for c in facts.circuits)),
        ("job", (("job", facts),)),
    )
    items: list[Item] = []
    for kind, named in things:
        asked = [
            (check, tables[kind][check.id])
            for check in catalogue().values()
            if check.asks == kind and not check.photo and _applies(check, region, hold_point)
        ]
        own = [] if house is None else house.rules_for(kind, hold_point)
        for name, thing in named:
            for check, rule in (*asked, *own):
                verdict = rule(ctx, thing)
                if verdict is not None:
                    items.append(maker.item(check, name, verdict))
    return items


def _applies(check: Check, region: Region, hold_point: HoldPoint | None) -> bool:
    if hold_point is not None and check.hold_point is not hold_point:
        return False
    if not any(r in region.chain for r in check.regions):
        return False
    return all(v in region.values for v in check.values)


class _Maker:
    """Makes items of verdicts: weights, sources, what wants checking."""

    def __init__(self, ctx: Context, house: HouseRules | None) -> None:
        self.ctx = ctx
        self.heavier = {} if house is None else dict(house.weights)
        self._sources: dict[tuple[str, tuple[str, ...]], tuple[str, bool]] = {}

    def item(self, check: Check, of: str, verdict: Verdict) -> Item:
        """One item."""
        verified = _verified(check, verdict.uses)
        weight = self.heavier.get(check.id) or verdict.weight or check.weight
        why = verdict.why
        if verified in _WEAK:
            weight = Weight.PUT_RIGHT if weight is Weight.STOP else weight
            if verdict.state in (State.FLAG, State.UNSURE):
                why += f" This rests on {_WEAK_WORDS[verified]}: check it in the current edition."
        source, recheck = self._source(check, verdict.uses)
        return Item(
            id=f"{check.id}:{of}",
            check=check.id,
            of_kind=check.asks,
            of=of,
            state=verdict.state,
            weight=weight,
            hold_point=check.hold_point,
            why=why,
            source=source,
            settle=verdict.settle or check.settle,
            verified=verified,
            region_used=self._region(verdict.uses),
            needs_edition_check=recheck,
            value=verdict.value,
            u95=verdict.u95,
            unit=verdict.unit,
            inputs=verdict.inputs,
            evidence=verdict.evidence,
            topic=check.topic,
        )

    def _region(self, uses: tuple[Value, ...]) -> str:
        chain = self.ctx.region.chain
        named = [v.region for v in uses]
        return next((r for r in chain if r in named), named[0] if named else self.ctx.region.id)

    def _source(self, check: Check, uses: tuple[Value, ...]) -> tuple[str, bool]:
        key = (check.id, tuple(v.id for v in uses))
        if key not in self._sources:
            sources = [v.source for v in uses] or list(check.sources)
            texts = list(dict.fromkeys(str(s) for s in sources))
            named = self.ctx.facts.job.edition
            other = named is not None and any(
                s.standard == self.ctx.region.wiring_rules
                and s.edition.casefold() not in named.casefold()
                for s in sources
            )
            if other:
                texts.append(f"this job names {named}: hold it against that")
            weak = any(s.verified in _WEAK for s in sources)
            self._sources[key] = ("; ".join(texts), weak or other)
        return self._sources[key]


def _verified(check: Check, uses: tuple[Value, ...]) -> Verified:
    """What a state rests on: the weakest value used, else the strongest source of the check."""
    if uses:
        return min((v.source.verified for v in uses), key=_STRENGTH.index)
    return max((s.verified for s in check.sources), key=_STRENGTH.index)


def states(items: Iterable[Item]) -> Iterator[tuple[str, str]]:
    """Identity and state of each item, for comparing two runs."""
    return ((i.id, i.state.value) for i in items)
