"""The catalogue in words: for `lidoff checks`, and for the reference page in docs.

`python -m audit.rules.reference docs/reference` writes `checks.md`; a test
holds the page to the catalogue.
"""

from __future__ import annotations

import sys
import textwrap
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from audit.rules.catalogue import TOPICS, catalogue
from audit.rules.region import Region, region_ids, shipped
from audit.rules.types import VERIFIED_WORDS, Check, Value

PAGE = "checks.md"
_OF = {"fitting": "each fitting", "room": "each room", "circuit": "each circuit", "job": "the job"}


def by_topic() -> dict[str, list[Check]]:
    """Checks of each topic, in the order of the catalogue."""
    return {t: [c for c in catalogue().values() if c.topic == t] for t in TOPICS}


def used_values(check: Check, region: Region) -> list[Value]:
    """Values of a region that a check reads, in its own order."""
    return [v for i in check.values if (v := region.values.get(i)) is not None]


def number(value: Value) -> str:
    """A value as it is shown: `0.6 m`, `IPX4`, `yes`."""
    if isinstance(value.x, bool):
        return "yes" if value.x else "no"
    if isinstance(value.x, str):
        return value.x.replace("|", ", ")
    if value.unit in ("IPX", "IP"):
        return f"{value.unit}{value.x:g}"
    return f"{value.x:g} {value.unit}".strip()


def in_full(check: Check, region: Region) -> str:
    """One check told in full, for a terminal.

    Parameters
    ----------
    check : Check
    region : Region
        Whose values are shown.
    """
    parts = [
        f"{check.id}: {check.question}",
        "",
        _para("Why", check.why),
        _para("Asked of", f"{_OF[check.asks]}; {TOPICS[check.topic].lower()}"),
        _para("Weight", f"{check.weight.value} at most; settled at {check.hold_point.value}"),
        _para("Uses", ", ".join(check.inputs)),
        _para("How", check.computed),
    ]
    values = used_values(check, region)
    if values:
        parts.append(f"Values   {region.name}:")
        parts += [_para("", f"{v.id} = {number(v)}; {v.source}", "  - ") for v in values]
    parts.append("Sources")
    parts += [_para("", _source(s), "  - ") for s in check.sources]
    parts.append(_para("Settle", check.settle))
    if check.photo:
        parts.append(_para("Photos", "answered by what photos show"))
    return "\n".join(parts)


def _source(source: Any) -> str:
    text = str(source)
    return text if not source.gist or source.gist in text else f"{text}: {source.gist}"


def _para(head: str, text: str, first: str | None = None) -> str:
    lead = f"{head:<9}" if first is None else first
    return textwrap.fill(
        text, width=92, initial_indent=lead, subsequent_indent=" " * (9 if first is None else 4)
    )


def listing(topic: str | None = None) -> str:
    """All checks, a line or two each, by topic."""
    lines: list[str] = []
    width = max(len(i) for i in catalogue())
    for name, checks in by_topic().items():
        if topic not in (None, name) or not checks:
            continue
        lines += ["", f"{TOPICS[name]} ({name}, {len(checks)})"]
        for c in checks:
            lines.append(f"  {c.id:<{width}}  {c.weight.value:<9}  {c.question}")
    return "\n".join(lines).lstrip("\n")


def as_json(check: Check, region: Region) -> dict[str, Any]:
    """One check as plain data."""
    return {
        "id": check.id,
        "topic": check.topic,
        "asks": check.asks,
        "question": check.question,
        "why": check.why,
        "weight": check.weight.value,
        "hold_point": check.hold_point.value,
        "inputs": list(check.inputs),
        "computed": check.computed,
        "settle": check.settle,
        "photo": check.photo,
        "regions": list(check.regions),
        "sources": [
            {
                "standard": s.standard,
                "edition": s.edition,
                "clause": s.clause,
                "verified": s.verified.value,
                "gist": s.gist,
            }
            for s in check.sources
        ],
        "values": [
            {
                "id": v.id,
                "value": v.x,
                "unit": v.unit,
                "region": v.region,
                "source": str(v.source),
                "verified": v.source.verified.value,
            }
            for v in used_values(check, region)
        ],
    }


# -- the page ------------------------------------------------------------------

_HEAD = """\
# Checks

<!-- Made by `python -m audit.rules.reference docs/reference`; do not edit by hand. -->

The catalogue holds {n} checks. `lidoff checks` lists them, `lidoff checks ID` tells one in full.
What stands here is an aid: it certifies nothing, and a competent person decides every item.

**How far a source was verified** stands beside each: {words}. A limit from memory, or read in an
informal text only, never weighs `stop`, and its item says that it wants checking in the current
edition. No licensed copy of the wiring rules was read for this catalogue, so clause numbers want
checking too. BS 7671 stands at Amendment 4:2026; the edition named is the one that the value was
taken from.

**Unknown is never `clear`.** What nobody declared is `missing`. A `clear` says that nothing was
found against it in what was declared and seen.
"""


def page() -> str:
    """The reference page, in Markdown."""
    words = ", ".join(f"*{w}*" for w in VERIFIED_WORDS.values())
    parts = [_HEAD.format(n=len(catalogue()), words=words)]
    parts.append("\n".join(_contents()))
    for topic, checks in by_topic().items():
        parts.append(f"## {TOPICS[topic]}")
        parts += ["\n".join(_section(c)) for c in checks]
    parts.append("\n".join(_values_table()))
    return "\n\n".join(p.strip("\n") for p in parts) + "\n"


def _contents() -> Iterator[str]:
    yield "| check | asked of | weight | hold point | question |"
    yield "| --- | --- | --- | --- | --- |"
    for checks in by_topic().values():
        for c in checks:
            yield (
                f"| [`{c.id}`](#{c.id}) | {c.asks} | {c.weight.value} | {c.hold_point.value} "
                f"| {c.question} |"
            )


def _section(c: Check) -> Iterator[str]:
    yield f"### {c.id}"
    yield ""
    yield f"**{c.question}** {c.why}"
    yield ""
    yield (
        f"- Asked of {_OF[c.asks]}; weight *{c.weight.value}*; settled at *{c.hold_point.value}*"
        + ("; answered by photos" if c.photo else "")
        + (f"; only in {', '.join(c.regions)}" if c.regions != ("international",) else "")
        + "."
    )
    yield f"- Uses: {', '.join(f'`{i}`' for i in c.inputs)}."
    yield f"- How: {c.computed}"
    if c.values:
        yield f"- Values: {', '.join(f'[`{v}`](#values)' for v in c.values)}."
    for s in c.sources:
        yield f"- Source: {_source(s)}."
    yield f"- Settled by: {c.settle}"


def _values_table() -> Iterator[str]:
    yield "## Values"
    yield ""
    for region_id in region_ids():
        region = shipped(region_id)
        own = [v for v in region.values.values() if v.region == region_id]
        base = f", on {shipped(region.chain[1]).name}" if len(region.chain) > 1 else ""
        yield f"### Region `{region_id}`: {region.name}{base}"
        yield ""
        if region.note:
            yield f"{region.note}"
            yield ""
        if own:
            yield "| value | is | meaning | source |"
            yield "| --- | --- | --- | --- |"
            for v in own:
                gist = v.source.gist.replace("|", "\\|")
                yield f"| `{v.id}` | {number(v)} | {gist} | {_without_gist(v)} |"
            yield ""


def _without_gist(value: Value) -> str:
    text = str(value.source)
    return text.removeprefix(f"{value.source.gist}: ")


def main(folder: str) -> None:
    """Write the page."""
    (Path(folder) / PAGE).write_text(page(), encoding="utf-8")


if __name__ == "__main__":
    main(sys.argv[1])
