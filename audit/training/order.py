"""What may be ordered of a practice photo, and what is nonsense: told before anything is rendered."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any, Final, get_args

from audit.errors import UsageError, Where
from audit.measure.contract import CheckId

CHECKS: Final[tuple[str, ...]] = get_args(CheckId)
VIEWS: Final = ("entry", "terminals", "inside", "closed")
SIZES: Final = ("1.0", "1.5", "2.5", "flex-0.75", "flex-1.0")
SHEATHS: Final = ("grey", "white", "black")
COLOURS: Final = ("brown-blue", "red-black")
LIGHTS: Final = ("flash", "torch", "window", "mixed")
POOR: Final = ("motion", "defocus", "dark", "bright", "glare", "far", "out_of_frame")
MAX_CABLES: Final = 3

# Least and greatest length, mm. Least: what the truth counts as a fault (copper 0.5 mm, bare CPC
# 3 mm) or what shows at all. Greatest: what the boxes and the pictures have room for.
LENGTHS: Final[dict[str, tuple[float, float]]] = {
    "core-outside-enclosure": (0.5, 30.0),
    "core-outside-grip": (0.5, 9.0),
    "copper-beyond-terminal": (0.5, 12.0),
    "cpc-unsleeved": (3.5, 30.0),
}
_MAY_LACK = ("cpc-unsleeved",)  # bare all the way

_SHOWN_IN: Final[dict[str, tuple[str, ...]]] = {
    "core-outside-enclosure": ("entry", "inside", "closed"),
    "core-outside-grip": ("entry", "inside"),
    "copper-beyond-terminal": ("terminals", "inside"),
    "cpc-cut-short": ("entry", "terminals", "inside"),
    "cpc-unsleeved": ("entry", "terminals", "inside"),
    "core-colours": ("terminals", "inside"),
}


@dataclass(frozen=True)
class Order:
    """One practice photo as it is asked for; the fields of the renderer's own `Order`.

    Parameters
    ----------
    seed : int
        0 or more. The same order gives the same photo.
    checks : tuple of str
        Faults to plant, from `CHECKS`; empty for a sound fitting.
    mm : dict
        Length of the faults that have one, mm, by check.
    cables : tuple of str
        One size a cable, from `SIZES`.
    view, sheath, colours, light, poor : str
        From the tables above; `sheath` and `light` None are drawn from the seed.
    card : bool
        Lay the site card beside the work.
    difficulty : int
        1 plain, 2 as usual, 3 subtle: scale, light, and how much of the fault is in sight.
    """

    seed: int
    checks: tuple[str, ...] = ()
    mm: dict[str, float] = field(default_factory=dict)
    cables: tuple[str, ...] = ("1.5",)
    view: str = "inside"
    card: bool = False
    difficulty: int = 2
    sheath: str | None = None
    colours: str = "brown-blue"
    light: str | None = None
    poor: str = ""


def check_order(order: Order, where: Where | None = None) -> None:
    """Refuse an order that no photo could meet.

    Raises
    ------
    UsageError
        Says what is wrong and what may be asked for.
    """
    _known(order, where)
    _cables(order, where)
    for check in order.checks:
        _length(check, order.mm.get(check), where)
        if order.view not in _SHOWN_IN[check]:
            raise UsageError(
                f"view {order.view} does not show {check}", where,
                f"take {' or '.join(_SHOWN_IN[check])}",
            )  # fmt: skip
    for check in order.mm:
        if check not in order.checks:
            raise UsageError(f"a length is given for {check}, which is not asked for", where)


def _known(order: Order, where: Where | None) -> None:
    tables: tuple[tuple[str, Any, tuple[str, ...]], ...] = (
        ("check", order.checks, CHECKS),
        ("view", (order.view,), VIEWS),
        ("sheath", (order.sheath,) if order.sheath else (), SHEATHS),
        ("colours", (order.colours,), COLOURS),
        ("light", (order.light,) if order.light else (), LIGHTS),
        ("poor", (order.poor,) if order.poor else (), POOR),
        ("cable", order.cables, SIZES),
    )
    for name, values, table in tables:
        for value in values:
            if value not in table:
                raise UsageError(
                    f"there is no {name} {value!r}", where, f"take one of {', '.join(table)}"
                )
    if order.difficulty not in (1, 2, 3):
        raise UsageError(f"difficulty {order.difficulty} is outside 1 to 3", where)
    if not 0 <= order.seed < 2**31:
        raise UsageError(f"seed {order.seed} is outside 0 to {2**31 - 1}", where)
    if len(set(order.checks)) < len(order.checks):
        raise UsageError("a check is asked for twice", where, "ask for each once")


def _cables(order: Order, where: Where | None) -> None:
    """Refuse numbers of cables, and faults that can't stand together on so many."""
    count = len(order.cables)
    flat = sum(not size.startswith("flex") for size in order.cables)
    asked = set(order.checks)
    if not 1 <= count <= MAX_CABLES:
        raise UsageError(f"{count} cables: a fitting has 1 to {MAX_CABLES} here", where)
    if "core-colours" in asked and count == 1:
        raise UsageError("core-colours is about old and new colours together", where, "give two cables")  # fmt: skip
    if "cpc-unsleeved" in asked and not flat:
        raise UsageError("cpc-unsleeved: the CPC of a flex is insulated", where, "give a flat cable: 1.0, 1.5 or 2.5")  # fmt: skip
    if {"core-outside-enclosure", "core-outside-grip"} <= asked:
        raise UsageError("cores outside the enclosure are outside the grip as well", where, "ask for core-outside-enclosure alone")  # fmt: skip
    if {"cpc-cut-short", "cpc-unsleeved"} <= asked and count == 1:
        raise UsageError("one CPC can't be both cut short and unsleeved here", where, "give two cables")  # fmt: skip


def _length(check: str, mm: float | None, where: Where | None) -> None:
    if check not in LENGTHS:
        if mm is not None:
            raise UsageError(f"{check} has no length", where, "leave the length out")
        return
    low, high = LENGTHS[check]
    if mm is None:
        if check not in _MAY_LACK:
            raise UsageError(f"{check} needs a length in mm", where, f"give {low:g} to {high:g}")
    elif not low <= mm <= high:
        raise UsageError(f"{mm:g} mm of {check} can't be shown", where, f"give {low:g} to {high:g} mm")  # fmt: skip
