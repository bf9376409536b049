"""Cables: a reading to scale, the CPC from fitting to fitting, the colours of cores."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from audit.measure.contract import CableRecord, EntryRecord, Length, SegmentRecord
from audit.report.ribbon import ribbon_svg
from audit.rules.region import Region
from audit.training.lessons.drawings import svg


def ribbon(data: Mapping[str, Any], _: Region, identity: str) -> str:
    """A reading as a ribbon: `sheath`, `segments` of (what, colour, from_mm, to_mm), lengths."""
    cable = CableRecord(
        id="1",
        sheath=data["sheath"],
        entry=EntryRecord(kind="clamp"),
        reading=tuple(
            SegmentRecord(what=what, colour=colour or None, from_mm=start, to_mm=stop)
            for what, colour, start, stop in data["segments"]
        ),
        core_outside_grip_mm=_length(data, "core_outside_grip_mm"),
        core_outside_enclosure_mm=_length(data, "core_outside_enclosure_mm"),
        sheath_past_grip_mm=_length(data, "sheath_past_grip_mm"),
    )
    return ribbon_svg(cable, identity)


def _length(data: Mapping[str, Any], name: str) -> Length | None:
    said = data.get(name)
    return None if said is None else Length(value=said[0], u95=said[1])


_STEP, _BOX = 98.0, 46.0


def chain(data: Mapping[str, Any], _: Region, identity: str) -> str:
    """Fittings fed one from the other, with the CPC carried on or not.

    `fittings`: names in order; `cpc_ends_in`: name of the fitting in which the CPC stops, or "".
    """
    names, ends_in = list(data["fittings"]), data["cpc_ends_in"]
    lanes = (("line", "brown", 44.0), ("neutral", "blue", 58.0), ("CPC", "green-and-yellow", 72.0))
    body: list[str] = []
    last = 70.0 + _STEP * (len(names) - 1)
    stop = 70.0 + _STEP * names.index(ends_in) if ends_in else last
    for name, colour, y in lanes:
        reach = stop if name == "CPC" else last
        body.append(svg.core([(8, y), (reach + 10, y)], colour, identity))
        if name == "CPC" and ends_in:
            start = stop + _BOX / 2 + 4
            body.append(svg.core([(start, y), (last + 10, y)], colour, identity))
            body.append(svg.words(stop, y + 37, "CPC ends here", anchor="middle", bold=True))
            body.append(svg.line([(stop + 12, y + 26), (stop + 12, y + 5)]))
    for n, name in enumerate(names):
        x = 70.0 + _STEP * n
        body.append(svg.rect(x - _BOX / 2, 30, _BOX, 56, width=1.8))
        body.append(svg.words(x, 22, name, anchor="middle", bold=True))
    body.append(svg.words(8, 134, "from the board"))
    tall = 144.0
    for n, (name, colour, _y) in enumerate(lanes):
        body.append(svg.key(8 + n * 118, tall + 16, svg.core_fill(colour, identity), name))
    return svg.page(body, tall + 28, identity)


def core_colours(data: Mapping[str, Any], _: Region, identity: str) -> str:
    """A table of core colours: `columns` heads, `rows` of (what, colour, …); a colour may be ""."""
    columns, rows = list(data["columns"]), list(data["rows"])
    wide = (svg.WIDE - 96) / len(columns)
    body = [svg.words(96 + n * wide, 16, c, bold=True) for n, c in enumerate(columns)]
    y = 44.0
    for what, *colours in rows:
        body.append(svg.words(0, y, what))
        for n, colour in enumerate(colours):
            x = 96 + n * wide
            if colour:
                fill = svg.core_fill(colour, identity)
                body.append(svg.rect(x, y - 11, 34, 14, fill=fill))
                body.append(
                    svg.words(x, y + 17, colour.replace("green-and-yellow", "green/yellow"))
                )
            else:
                body.append(svg.words(x, y, "not used"))
        y += 48
    return svg.page(body, y - 18, identity)
