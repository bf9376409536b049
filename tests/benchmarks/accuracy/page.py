"""The accuracy page, written from the stored figures."""

from __future__ import annotations

import re
from collections.abc import Iterable
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from audit.bench.score import BenchResult
from audit.bench.show import percent
from tests.benchmarks.accuracy import tables, words
from tests.benchmarks.accuracy.stored import Stored


def page(stored: Stored) -> str:
    """Write the page as Markdown."""
    # Markdown, read by people and never by a browser as it is: nothing is to be escaped.
    env = Environment(
        loader=FileSystemLoader(Path(__file__).parent),
        autoescape=False,
        trim_blocks=True,
        lstrip_blocks=True,
        undefined=StrictUndefined,
    )
    lead = next(iter(stored.sets.values()), None)
    text = env.get_template("page.md.j2").render(
        stored=stored,
        sets=stored.sets,
        lead=lead,
        provenance=stored.provenance,
        fitted_on=_names(stored.provenance["families"]),
        weighed_on=_names(stored.provenance["weighed_families"]),
        further_on=_names(stored.further["families"]) if stored.further else "",
        joint_on=_names(stored.joint["families"]) if stored.joint else "",
        near_on=_names(stored.nearness["families"]) if stored.nearness else "",
        spots_on=_names(stored.spots["families"]) if stored.spots else "",
        sleeves_on=_names(stored.sleeves["families"]) if stored.sleeves else "",
        tables=tables,
        percent=percent,
        number=words.number,
        summary=words.summary(stored),
        runs=words.runs(stored),
        staleness=words.staleness(stored),
        told=words.told,
        plain=words.plain,
        cannot=list(words.cannot(lead)) if lead else [],
        has_cards=_has_cards,
    )
    return re.sub(r"\n{3,}", "\n\n", text).strip() + "\n"


def _names(families: Iterable[str]) -> str:
    return ", ".join(f"`{name}`" for name in families)


def _has_cards(result: BenchResult) -> bool:
    return any(score.cards for score in result.checks.values())
