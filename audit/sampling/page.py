"""The history as one self-contained page, and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

from jinja2 import ChoiceLoader, Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from audit.sampling.chart import Chart, ChartKind, chart, chart_svg
from audit.sampling.history import FitterHistory, Gathered, Rate

SCHEMA = "lidoff.history/1"
WIDE, NARROW = 760, 316
CAUTIONS = (
    "A help to teach, not a mark for anybody: jobs differ, and whoever looks harder finds more.",
    "Few fittings say little: look at the intervals before the shares.",
)


def percent(value: float) -> str:
    """A share as a whole percentage, with one decimal below ten."""
    return f"{_bare(value)} %"


def _bare(value: float) -> str:
    return f"{value * 100:.1f}" if 0 < value < 0.1 else f"{value * 100:.0f}"


def figure(value: float) -> str:
    """A figure with two decimals and a true minus sign."""
    return f"{value:.2f}".replace("-", "−")


def span(limits: tuple[float, float]) -> str:
    """An interval of shares."""
    return f"{_bare(limits[0])} to {_bare(limits[1])} %"


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=ChoiceLoader(
            [
                PackageLoader("audit.sampling", "templates"),
                PackageLoader("audit.report", "templates"),
            ]
        ),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(share=percent, span=span, figure=figure)
    return environment


@dataclass(frozen=True)
class _Shown:
    """A chart as the page shows it, at two widths, with its sentence."""

    chart: Chart
    name: str

    def _svg(self, width: int) -> Markup:
        return chart_svg(self.chart, width, f"Control chart by month. {self.words}")

    @property
    def wide(self) -> Markup:
        return Markup('<div class="wide">{}</div>').format(self._svg(WIDE))

    @property
    def narrow(self) -> Markup:
        return Markup('<div class="narrow">{}</div>').format(self._svg(NARROW))

    @property
    def words(self) -> str:
        return chart_words(self.chart)

    @staticmethod
    def key(kind: str, round_: bool = False) -> Markup:
        """A piece of the drawing for its key."""
        shape = '<line class="{}" x1="0" y1="6" x2="30" y2="6"/>'
        if round_:
            shape = '<circle class="{}" cx="15" cy="6" r="4"/>'
        inner = Markup(shape).format(kind)
        return Markup('<svg class="chart" viewBox="0 0 30 12" aria-hidden="true">{}</svg>').format(
            inner
        )


def chart_words(drawn: Chart) -> str:
    """What a chart says, in words."""
    if drawn.centre is None:
        return "Nothing was looked at."
    what = (
        "p chart: share of fittings with a confirmed fault, exact binomial limits"
        if drawn.kind == "p"
        else "u chart: confirmed faults for each fitting, exact Poisson limits"
    )
    centre = percent(drawn.centre) if drawn.kind == "p" else f"{drawn.centre:.2f}"
    out = ", ".join(p.month for p in drawn.outside) or "no month"
    few = (
        " There are few months, and the centre line is made from them: the limits are a first guess."
        if drawn.few
        else ""
    )
    return f"{what}. All months together: {centre}. Outside its limits: {out}.{few}"


def page(
    people: Sequence[FitterHistory],
    found: Gathered,
    kind: ChartKind,
    *,
    keys_given: bool,
    hidden: bool,
) -> str:
    """The page, HTML text.

    Parameters
    ----------
    people : sequence of FitterHistory
    found : Gathered
    kind : {'p', 'u'}
        Which control chart is drawn.
    keys_given : bool
        Only named keys count.
    hidden : bool
        Names are left out.
    """
    charts = [_Shown(chart(h.by_month, kind), h.name) for h in people]
    return _environment().get_template("history.html.j2").render(
        people=people, found=found, charts=charts, keys_given=keys_given, hidden=hidden
    )  # fmt: skip


def as_json(people: Sequence[FitterHistory], found: Gathered, *, hidden: bool) -> dict[str, Any]:
    """The history as JSON values."""
    return {
        "schema": SCHEMA,
        "cautions": list(CAUTIONS),
        "signed": found.signed,
        "left_out": [{"job": x.job, "why": x.why, "kind": x.kind} for x in found.left_out],
        "signers": list(found.keys.values())
        if hidden
        else [{"name": n, "fingerprint": k} for k, n in found.keys.items()],
        "fitters": [_person(h) for h in people],
    }


def _person(h: FitterHistory) -> dict[str, Any]:
    a = h.own.agreement
    return {
        "name": h.name,
        "jobs": list(h.jobs),
        "small_sample": h.few,
        "fittings": _rate(h.fittings),
        "by_check": [_rate(r) for r in h.by_check],
        "by_month": [
            {"month": m.name, "fittings": m.fittings, "faulty": m.faulty, "faults": m.faults,
             "interval_95": m.interval}
            for m in h.by_month
        ],
        "charts": {k: _chart(chart(h.by_month, k)) for k in ("p", "u")},
        "own": {
            "rows_declared_columns_decided": ["fault", "no fault"],
            "table": [list(r) for r in h.own.table],
            "agreed": a.agreed if a else 0,
            "pairs": a.n if a else 0,
            "kappa": a.kappa if a else None,
            "kappa_95": [a.low, a.high] if a and a.kappa is not None else None,
            "cant_tell": h.own.cant_tell,
            "left_open": h.own.left_open,
        },
        "left_open": h.left_open,
        "decided_by_themselves": h.by_themselves,
    }  # fmt: skip


def _rate(rate: Rate) -> dict[str, Any]:
    return {
        "name": rate.name,
        "faults": rate.faults,
        "of": rate.of,
        "flagged": rate.flagged,
        "share": rate.share,
        "interval_95": rate.interval,
    }


def _chart(drawn: Chart) -> dict[str, Any]:
    return {
        "centre": drawn.centre,
        "points": [
            {"month": p.month, "n": p.n, "value": p.value, "low": p.low, "high": p.high,
             "outside": p.outside}
            for p in drawn.points
        ],
    }  # fmt: skip
