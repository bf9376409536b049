"""Zones of a bath: in plan, by the same geometry that decides a fitting's zone, and in height."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from audit.job.facts import JobFacts
from audit.rules.context import Context
from audit.rules.plan import room_plan
from audit.rules.region import Region
from audit.training.lessons.drawings import svg


def zones_plan(data: Mapping[str, Any], region: Region, identity: str) -> str:
    """Plan of a room; `room` is a table as in `job.toml`."""
    job = {"name": "Lesson", "region": region.id}
    facts = JobFacts.model_validate({"schema": "lidoff.job/1", "job": job, "room": [data["room"]]})
    ctx = Context(facts, region, True, {})
    drawn = room_plan(ctx.geometry(facts.rooms[0]), (), {}, identity)
    if not drawn:
        raise ValueError("the room has nothing to draw")
    return drawn


_LEFT, _TOP = 62.0, 12.0
_TALLEST = 270.0
"""More would make the words too small beside another drawing on paper."""


def zones_section(data: Mapping[str, Any], region: Region, identity: str) -> str:
    """Upright section through a bath: `bath_m`, `rim_m`, `ceiling_m`, `room_m`; zones by region."""
    limit = region.values["zone-limit-height-m"].n
    reach = region.values["zone2-reach-m"].n
    bath, rim, ceiling, room = (float(data[k]) for k in ("bath_m", "rim_m", "ceiling_m", "room_m"))
    scale = min((svg.WIDE - _LEFT - 14) / room, _TALLEST / ceiling)
    floor = _TOP + ceiling * scale

    def x(m: float) -> float:
        return _LEFT + m * scale

    def y(m: float) -> float:
        return floor - m * scale

    top = min(limit, ceiling)
    basin = (x(0), y(rim), bath * scale, (rim - 0.15) * scale)
    body = [
        svg.rect(x(0), y(top), bath * scale, top * scale, fill=f"url(#{identity}-x)"),
        svg.rect(
            x(bath), y(top), reach * scale, top * scale, fill=f"url(#{identity}-s)", dash="4 3"
        ),
        svg.rect(*basin, fill="var(--sheet, #fff)", width=0),
        svg.rect(*basin, fill=f"url(#{identity}-o)", width=2),
        svg.line([(x(0), y(ceiling)), (x(room), y(ceiling))], width=3),
        svg.line([(x(0), y(0)), (x(room), y(0))], width=3),
        svg.line([(x(0), y(ceiling)), (x(0), y(0))], width=3),
        svg.across(x(bath), x(bath + reach), floor + 14, f"{reach:g} m"),
        svg.upright(_LEFT - 14, y(top), floor, f"{limit:g} m"),
        svg.words(x(0) + 2, y(ceiling) + (ceiling - top) * scale - 3, "outside the zones"),
        svg.words(x(bath + reach) + 8, y(1.0), "outside"),
        svg.words(x(bath + reach) + 8, y(1.0) + 16, "the zones"),
    ]
    tall = floor + 56
    names = (("o", "zone 0: inside the bath", ""), ("x", "zone 1: above and below it", ""), ("s", "zone 2: beside it", "4 3"))  # fmt: skip
    for n, (pattern, text, dash) in enumerate(names):
        body.append(svg.key(8, tall + n * 20, f"url(#{identity}-{pattern})", text, dash=dash))
    return svg.page(body, tall + 20 * len(names), identity)
