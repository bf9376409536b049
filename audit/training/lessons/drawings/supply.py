"""The circuit behind the fittings: voltage along the chain, and on which side the switch is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from audit.rules.region import Region
from audit.training.lessons.drawings import svg


def dropped(legs_m: list[float], loads_a: list[float], mv_a_m: float) -> list[float]:
    """Volts lost at each fitting of a chain: Σ mV/A/m × I × length, I that of all beyond.

    BS 7671:2018+A2:2022 appendix 4 (read in a secondary text).
    """
    lost, out = 0.0, []
    for n, metres in enumerate(legs_m):
        lost += mv_a_m * sum(loads_a[n:]) * metres / 1000
        out.append(lost)
    return out


def volt_drop(data: Mapping[str, Any], region: Region, identity: str) -> str:
    """Bars of lost voltage: `fittings`, `legs_m`, `loads_a`, `size_mm2`, `nominal_v`."""
    names, size = list(data["fittings"]), data["size_mm2"]
    mv = region.values[f"drop-mv-a-m/{size:g}"].n
    limit = region.values["drop-lighting-percent"].n / 100 * float(data["nominal_v"])
    lost = dropped(list(data["legs_m"]), list(data["loads_a"]), mv)
    tall, base = 150.0, 176.0
    scale = tall / (limit * 1.1)
    pitch = 250.0 / len(names)
    body = [
        svg.line([(46, base), (300, base)], width=1.6),
        svg.line([(46, base - limit * scale), (300, base - limit * scale)], width=1.6, dash="6 4"),
        svg.words(46, base - limit * scale - 6, f"limit for lighting {limit:.1f} V", bold=True),
        svg.words(38, base + 4, "0 V", anchor="end"),
    ]
    for n, (name, volts) in enumerate(zip(names, lost, strict=True)):
        x = 54 + n * pitch
        wide = pitch * 0.6
        body.append(
            svg.rect(x, base - volts * scale, wide, volts * scale, fill=f"url(#{identity}-s)")
        )
        middle = x + wide / 2
        body.append(svg.words(middle, base - volts * scale - 5, f"{volts:.2f}", anchor="middle"))
        body.append(svg.words(middle, base + 16, name, anchor="middle", bold=True))
    legs = ", ".join(f"{m:g}" for m in data["legs_m"])
    body.append(svg.words(8, base + 40, f"Legs {legs} m; {data['loads_a'][0]:g} A each;"))
    body.append(svg.words(8, base + 57, f"{size:g} mm², {mv:g} mV/A/m. Volts lost at each."))
    return svg.page(body, base + 68, identity)


def switch_side(_data: Mapping[str, Any], _: Region, identity: str) -> str:
    """Two circuits whose fittings look alike: switch in the line, and switch in the neutral."""
    body: list[str] = []
    for n, (head, in_line) in enumerate((("switch in the line", True), ("switch in the neutral", False))):  # fmt: skip
        body += _circuit(n * 128.0, head, identity, in_line=in_line)
    return svg.page(body, 262, identity)


def _circuit(top: float, head: str, identity: str, *, in_line: bool) -> list[str]:
    line_y, neutral_y = top + 42, top + 82
    gap = line_y if in_line else neutral_y
    body = [svg.words(8, top + 20, head, bold=True)]
    for y, colour, name in ((line_y, "brown", "L"), (neutral_y, "blue", "N")):
        body.append(svg.words(8, y + 4, name))
        if y == gap:
            body.append(svg.core([(24, y), (110, y)], colour, identity))
            body.append(svg.core([(150, y), (246, y)], colour, identity))
            body.append(svg.line([(112, y), (146, y - 18)], width=2.4))
        else:
            body.append(svg.core([(24, y), (246, y)], colour, identity))
    body.append(svg.rect(246, top + 30, 100, 66, width=1.8))
    body.append(svg.words(296, top + 58, "fitting,", anchor="middle"))
    state = "line cut off" if in_line else "still live"
    body.append(svg.words(296, top + 75, state, anchor="middle", bold=True))
    body.append(svg.words(24, top + 112, "switch open, lamp out"))
    return body
