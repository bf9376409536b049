"""Scene specifications (SPEC.md) to plans."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from . import families as fam
from .plan import CablePlan, FittingPlan, PhotoPlan, draw_cable, draw_fitting, draw_photo

STOPS = {
    "core_outside_grip_mm": "outside_grip",
    "core_outside_enclosure_mm": "outside_enclosure",
    "sheath_past_grip_mm": "past_grip",
}


def _known(value: str, among: Any, where: str) -> str:
    if value not in among:
        raise ValueError(f"{where}: {value!r} is not one of {', '.join(among)}")
    return value


def _cable(entry: dict[str, Any], rng: np.random.Generator, grip: str, where: str) -> CablePlan:
    base = draw_cable(rng, grip, str(entry.get("side", "left")), 0.0)
    size = _known(str(entry.get("size", base.size)), fam.CABLES, f"{where} size")
    flat = fam.CABLES[size]["flat"]
    stops = [
        (kind, float(entry[key]))
        for key, kind in STOPS.items()
        if entry.get(key) not in (None, 0, 0.0)
    ]
    if len(stops) > 1:
        raise ValueError(f"{where}: give one of {', '.join(STOPS)}")
    pair = tuple(str(entry.get("colours", "brown-blue")).split("-"))
    if len(pair) != 2:
        raise ValueError(f"{where} colours: two colours joined by '-'")
    for colour in pair:
        _known(colour, fam.CORE_COLOURS, f"{where} colours")
    return CablePlan(
        size,
        _known(str(entry.get("sheath", base.sheath)), fam.SHEATH_COLOURS, f"{where} sheath"),
        (pair[0], pair[1]),
        _known(str(entry.get("side", "left")), ("left", "right"), f"{where} side"),
        stops[0] if stops else ("past_grip", float(np.round(rng.uniform(3, 12), 2))),
        str(entry.get("cpc", "sleeved" if flat else "insulated")) if flat else _flex_cpc(entry),
        {k: float(v) for k, v in entry.get("copper_mm", {}).items() if float(v) > 0},
    )


def _flex_cpc(entry: dict[str, Any]) -> str:
    cpc = str(entry.get("cpc", "insulated"))
    return cpc if cpc in ("cut_short", "none_comes_out") else "insulated"


def _fitting(name: str, entry: dict[str, Any], family: str) -> FittingPlan:
    if "seed" not in entry:
        raise ValueError(f"fitting.{name}: seed is missing")
    base = draw_fitting(int(entry["seed"]), family, sloppy=0.0)
    rng = np.random.default_rng([base.seed, 3])
    where = f"fitting.{name}"
    grip = _known(str(entry.get("grip", base.grip)), fam.GRIPS, f"{where} grip")
    cables = base.cables
    if entry.get("cable"):
        cables = tuple(
            _cable(c, rng, grip, f"{where} cable {i + 1}") for i, c in enumerate(entry["cable"])
        )
    return replace(
        base,
        box=_known(str(entry.get("box", base.box)), fam.BOXES[family], f"{where} box"),
        terminal=_known(
            str(entry.get("terminal", base.terminal)), fam.TERMINALS[family], f"{where} terminal"
        ),
        background=_known(
            str(entry.get("background", base.background)),
            fam.BACKGROUNDS[family],
            f"{where} background",
        ),
        grip=grip,
        cables=cables,
        plate=tuple(str(t) for t in entry.get("plate", base.plate)),
    )


def read_spec(spec: dict[str, Any]) -> list[tuple[FittingPlan, PhotoPlan]]:
    """Plans of a specification parsed from TOML; raises ValueError naming entry and field."""
    family = _known(str(spec.get("family", "demo")), fam.FAMILIES, "family")
    fittings = {name: _fitting(name, e, family) for name, e in spec.get("fitting", {}).items()}
    out = []
    for i, entry in enumerate(spec.get("photo", [])):
        where = f"photo {i + 1} ({entry.get('file', '?')})"
        for key in ("file", "fitting", "seed"):
            if key not in entry:
                raise ValueError(f"{where}: {key} is missing")
        base = draw_photo(int(entry["seed"]), family, str(entry["file"]))
        poor = str(entry.get("poor", ""))
        photo = replace(
            base,
            view=_known(str(entry.get("view", "inside")), fam.VIEWS, f"{where} view"),
            light=_known(str(entry.get("light", base.light)), fam.LIGHTS[family], f"{where} light"),
            card=bool(entry.get("card", False)),
            card_label=entry.get("card_label"),
            poor=_known(poor, fam.POOR, f"{where} poor") if poor else "",
            time=str(entry["time"]) if "time" in entry else base.time,
            px_per_mm=float(entry.get("px_per_mm", min(base.px_per_mm or 8.0, 9.0))),
            framed=True,
            orientation=int(entry.get("orientation", 1)),
            fingers=bool(entry.get("fingers", False)),
        )
        out.append((fittings[_known(str(entry["fitting"]), fittings, f"{where} fitting")], photo))
    return out
