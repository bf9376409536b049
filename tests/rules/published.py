"""Values of the rules against published ones, each with its source and how far that was read.

`secondary`: read in a text that tells what the standard says. `single`: in informal texts only,
such as a forum. `memory`: nothing read.
`computed`: closed form, worked out here from its definition.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from audit.job.cables import cable, conductor
from audit.job.facts import Room
from audit.rules import chain
from audit.rules.place import Limits, RoomGeometry
from audit.rules.region import shipped

GB = shipped("gb-eng")


def value(name: str, region: str = "gb-eng") -> float:
    return shipped(region).values[name].n


@dataclass(frozen=True)
class Published:
    what: str
    got: Callable[[], float]
    is_: float
    source: str
    verified: str
    tolerance: float = 0.0


def limits() -> Limits:
    return Limits(
        *(
            GB.values[i]
            for i in (
                "zone-limit-height-m",
                "zone2-reach-m",
                "untrayed-reach-m",
                "zone0-untrayed-height-m",
                "tape-u95-m",
            )
        )
    )


def geometry(**room: object) -> RoomGeometry:
    return RoomGeometry(Room.model_validate({"name": "R", "kind": "bathroom", **room}), limits())


BATH = [{"at_m": [0, 0], "size_m": [1.7, 0.7]}]
FREE = geometry(bath=BATH)
UNTRAYED = geometry(outlet=[{"at_m": [0, 0], "height_m": 2.0, "over": "none"}])


def zones_area() -> float:
    shapes = FREE.zone_shapes()
    return float(shapes["1"].area + shapes["2"].area)


def behind(thickness: float) -> float:
    """Furthest point straight behind a partition at the bath's end that zone 2 still reaches."""
    room = geometry(
        bath=BATH,
        partition=[
            {
                "line_m": [[1.7 + thickness / 2, -3], [1.7 + thickness / 2, 0.7]],
                "thickness_m": thickness, "fixed": True,
            }
        ],
    )  # fmt: skip
    low, high = 0.0, 0.7
    x = 1.7 + thickness + 1e-6
    for _ in range(40):
        mid = (low + high) / 2
        inside = room.bath_targets[0].distance((x, 0.7 - mid)) <= 0.6
        low, high = (mid, high) if inside else (low, mid)
    return low


def behind_untrayed(y: float, thickness: float) -> float:
    """The same from an outlet without a tray, `y` from the free end of a partition."""
    room = geometry(
        outlet=[{"at_m": [0, 0], "height_m": 2.0, "over": "none"}],
        partition=[
            {
                "line_m": [[thickness / 2, -3], [thickness / 2, y]],
                "thickness_m": thickness, "fixed": True,
            }
        ],
    )  # fmt: skip
    low, high = 0.0, 1.2
    x = thickness + 1e-6
    for _ in range(40):
        mid = (low + high) / 2
        inside = room.outlet_targets[0].distance((x, y - mid)) <= 1.2
        low, high = (mid, high) if inside else (low, mid)
    return low


def ohm_per_km(mm2: float, kind: int) -> Callable[[], float]:
    return lambda: 1000 * (c.r20(kind) if (c := conductor(mm2)) else math.nan)


IEC60228 = "IEC 60228, maximum resistance at 20 °C, Ω/km"
RESISTANCE = {
    0.5: (36.0, 39.0), 0.75: (24.5, 26.0), 1.0: (18.1, 19.5), 1.5: (12.1, 13.3),
    2.5: (7.41, 7.98), 4.0: (4.61, 4.95), 6.0: (3.08, 3.30),
}  # fmt: skip
DIAMETER = {0.5: 0.9, 0.75: 1.0, 1.0: 1.2, 1.5: 1.5, 2.5: 1.9, 4.0: 2.4, 6.0: 2.9}
T4D5 = {
    1.0: {"100": 13, "101": 10.5, "102": 13, "103": 8, "C": 16, "A": 11.5},
    1.5: {"100": 16, "101": 13, "102": 16, "103": 10, "C": 20, "A": 14.5},
    2.5: {"100": 21, "101": 17, "102": 21, "103": 13.5, "C": 27, "A": 20},
}
READ_4D5 = {("C", 1.0), ("C", 1.5), ("C", 2.5), ("103", 2.5)}
ROWS: list[Published] = []


def add(
    what: str, got: Callable[[], float], is_: float, source: str, verified: str, tol: float = 0.0
) -> None:
    ROWS.append(Published(what, got, is_, source, verified, tol))


for mm2, (solid, flexible) in RESISTANCE.items():
    add(f"R {mm2:g} class 1", ohm_per_km(mm2, 1), solid, IEC60228, "secondary", 1e-9)
    add(f"R {mm2:g} class 5", ohm_per_km(mm2, 5), flexible, IEC60228, "secondary", 1e-9)
for mm2, widest in DIAMETER.items():
    add(
        f"largest Ø {mm2:g}",
        lambda m=mm2: conductor(m).d_max_class1,
        widest,
        "IEC 60228 annex C, mm",
        "memory",
    )
    add(
        f"Ø of {mm2:g} mm² of round wire", lambda m=mm2: conductor(m).d_geometric,
        math.sqrt(4 * mm2 / math.pi), "circle of the nominal area", "computed", 5e-4,
    )  # fmt: skip
for name, core in (("1.0 T&E", 2.33), ("1.5 T&E", 2.78), ("2.5 T&E", 3.38)):
    add(
        f"core of {name}", lambda n=name: cable(n).core_mm, core,
        "BS 6004, wire and twice the insulation, mm", "computed", 0.005,
    )  # fmt: skip
OSG_I1 = "IET On-Site Guide, Table I1, mΩ/m at 20 °C"
for pair, milliohm, how in (
    ((1.0, 1.0), 36.20, "secondary"), ((1.5, 1.0), 30.20, "secondary"), ((2.5, 1.5), 19.51, "secondary"),
    ((1.5, 1.5), 24.20, "secondary"),
):  # fmt: skip
    add(
        f"R1+R2 {pair[0]:g}/{pair[1]:g}",
        lambda p=pair: 1000 * chain.r1_r2_per_m(*p),
        milliohm,
        OSG_I1,
        how,
        1e-6,
    )
for mm2, mv in ((1.0, 44.0), (1.5, 29.0), (2.5, 18.0)):
    add(
        f"mV/A/m {mm2:g}",
        lambda m=mm2: value(f"drop-mv-a-m/{m:g}"),
        mv,
        "BS 7671 Table 4D5",
        "memory",
    )
for mm2, mv in ((1.0, 43.4), (1.5, 29.0), (2.5, 17.8)):
    add(
        f"2 R hot {mm2:g}", lambda m=mm2: 2 * conductor(m).r_class1 * value("hot-factor"), mv,
        "2 × IEC 60228 resistance at 70 °C, mV/A/m", "computed", 0.05,
    )  # fmt: skip
add(
    "3 % of 230 V",
    lambda: value("drop-lighting-percent") / 100 * 230,
    6.9,
    "BS 7671 appendix 4, Table 4Ab",
    "secondary",
    1e-9,
)
add(
    "length for 6.9 V, 6 A, 1.0",
    lambda: 6900 / (6 * value("drop-mv-a-m/1")),
    26.14,
    "from Table 4D5",
    "computed",
    0.005,
)
add(
    "length for 6.9 V, 6 A, 1.5",
    lambda: 6900 / (6 * value("drop-mv-a-m/1.5")),
    39.66,
    "from Table 4D5",
    "computed",
    0.006,
)
ZS = "BS 7671 Table 41.3, Ω"
for kind, amps, ohm in (("b", 6, 7.28), ("b", 10, 4.37), ("c", 6, 3.64)):
    add(
        f"Zs {kind.upper()}{amps}",
        lambda k=kind, a=amps: chain.zs_max(230, value("zs-cmin"), value(f"trip-multiple/{k}"), a),
        ohm, ZS, "secondary", 0.005,
    )  # fmt: skip
for kind, amps, ohm in (("b", 6, 5.827), ("b", 10, 3.496)):
    add(
        f"0.8 Zs {kind.upper()}{amps}",
        lambda k=kind, a=amps: 0.8 * chain.zs_max(230, value("zs-cmin"), value(f"trip-multiple/{k}"), a),
        ohm, "IET On-Site Guide appendix B, before it is cut to two places", "memory", 5e-4,
    )  # fmt: skip
for mm2, row in T4D5.items():
    for method, amps in row.items():
        add(
            f"4D5 {mm2:g} method {method}", lambda m=mm2, k=method: value(f"capacity-a/{k}/{m:g}"),
            amps, "BS 7671 Table 4D5, A", "secondary" if (method, mm2) in READ_4D5 else "memory",
        )  # fmt: skip
Z701 = "BS 7671 701.32, IEC 60364-7-701"
for region in ("gb-eng", "international"):
    add(
        f"zone height {region}",
        lambda r=region: value("zone-limit-height-m", r),
        2.25,
        Z701,
        "secondary",
    )
    add(
        f"zone 2 reach {region}",
        lambda r=region: value("zone2-reach-m", r),
        0.60,
        Z701,
        "secondary",
    )
    add(
        f"untrayed reach {region}",
        lambda r=region: value("untrayed-reach-m", r),
        1.20,
        Z701,
        "secondary",
    )
    add(
        f"zone 0 height {region}",
        lambda r=region: value("zone0-untrayed-height-m", r),
        0.10,
        Z701,
        "secondary",
    )
    for zone, numeral in ((0, 7), (1, 4), (2, 4)):
        add(
            f"IPX of zone {zone} {region}", lambda r=region, z=zone: value(f"zone{z}-water", r), numeral,
            "BS 7671 701.512.2, IEC 60364-7-701", "secondary",
        )  # fmt: skip
    add(
        f"IPX jets {region}",
        lambda r=region: value("jets-water", r),
        5,
        "BS 7671 701.512.2",
        "secondary",
    )
add("zone 0 SELV AC", lambda: value("zone0-selv-ac-v"), 12, "IEC 60364-7-701 701.55", "secondary")
add("zone 0 SELV DC", lambda: value("zone0-selv-dc-v"), 30, "IEC 60364-7-701 701.55", "secondary")
add(
    "area of zones 1 and 2",
    zones_area,
    1.7 * 0.7 + 2 * 0.6 * 2.4 + math.pi * 0.36,
    "closed form: 5.20097 m²",
    "computed",
    2e-4,
)
add(
    "area of zone 1 without tray",
    lambda: UNTRAYED.zone_shapes()["1"].area,
    math.pi * 1.44,
    "closed form: 4.52389 m²",
    "computed",
    6e-4,
)
FIG = "BS 7671 figures 701.1, 701.2: taut string round a partition, 0.60 − S and 1.20 − y − S"
for s in (0.01, 0.1, 0.2):
    add(f"zone 2 behind a {s:g} m partition", lambda t=s: behind(t), 0.6 - s, FIG, "memory", 1e-3)
for y, s in ((0.5, 0.1), (0.8, 0.05)):
    add(
        f"zone 1 behind a {s:g} m partition {y:g} off",
        lambda a=y, t=s: behind_untrayed(a, t),
        1.2 - y - s,
        FIG,
        "memory",
        1e-3,
    )
add(
    "fire, two storeys",
    lambda: value("fire-two-storey-min"),
    30,
    "Approved Document B vol 1, Table B3",
    "secondary",
)
add(
    "fire, top floor to 5 m",
    lambda: value("fire-low-min"),
    30,
    "Approved Document B vol 1, Table B4",
    "single",
)
add(
    "fire, above 5 m",
    lambda: value("fire-high-min"),
    60,
    "Approved Document B vol 1, Table B4",
    "single",
)
add("RCD of the bath", lambda: value("special-rcd-ma"), 30, "BS 7671 701.411.3.3", "secondary")
add("RCD of lighting", lambda: value("lighting-rcd-ma"), 30, "BS 7671 411.3.4", "secondary")
add("insulation test voltage", lambda: value("ir-test-v"), 500, "BS 7671 Table 64", "secondary")
add("insulation resistance", lambda: value("ir-min-mohm"), 1.0, "BS 7671 Table 64", "memory")
add(
    "clips, level",
    lambda: value("clip-horizontal-mm"),
    250,
    "IET On-Site Guide appendix D",
    "secondary",
)
add(
    "clips, upright",
    lambda: value("clip-vertical-mm"),
    400,
    "IET On-Site Guide appendix D",
    "secondary",
)
JOIST = "guidance on solid joists: span 3000, depth 200 mm"
add("hole from", lambda: 3000 * value("joist-hole-from"), 750, JOIST, "secondary", 1e-9)
add("hole to", lambda: 3000 * value("joist-hole-to"), 1200, JOIST, "secondary", 1e-9)
add("hole Ø", lambda: 200 * value("joist-hole-depth"), 50, JOIST, "secondary", 1e-9)
add("notch from", lambda: 3000 * value("joist-notch-from"), 210, JOIST, "secondary", 1e-9)
add("notch to", lambda: 3000 * value("joist-notch-to"), 750, JOIST, "secondary", 1e-9)
add("notch depth", lambda: 200 * value("joist-notch-depth"), 25, JOIST, "secondary", 1e-9)
for watts, metres in ((100, 0.5), (300, 0.8), (500, 1.0)):
    add(
        f"lit distance {watts} W", lambda w=watts: value(f"lit-distance-{w}w-m"), metres,
        "BS 7671:2008, 422.3.1", "single",
    )  # fmt: skip
