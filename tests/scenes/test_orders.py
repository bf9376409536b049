"""Orders of practice photos: what is planted is what was asked for, before anything is rendered."""

from __future__ import annotations

from dataclasses import asdict
from itertools import islice

import pytest

from audit.training import order as told
from audit.training.renderer import _module
from sample_images.scenes import families as fam
from sample_images.scenes.layout import build_fitting
from sample_images.scenes.orders import FAMILY, TOLERANCE_MM, Order, built_as_ordered, tries
from sample_images.scenes.parts import Fitting

E, G, C = "core-outside-enclosure", "core-outside-grip", "copper-beyond-terminal"
K, U, M = "cpc-cut-short", "cpc-unsleeved", "core-colours"
ORDERS = [
    Order(1, (E,), {E: 6.0}, ("1.5",)),
    Order(2, (E,), {E: 0.5}, ("2.5", "1.0"), "closed"),
    Order(3, (G,), {G: 3.0}, ("1.5",), "entry"),
    Order(4, (C,), {C: 2.0}, ("1.0", "1.5"), "terminals"),
    Order(5, (C,), {C: 8.0}, ("flex-0.75",)),
    Order(6, (U,), {U: 12.0}, ("1.5",)),
    Order(7, (U,), {}, ("flex-1.0", "1.5")),
    Order(8, (K,), {}, ("1.5",)),
    Order(9, (M,), {}, ("1.5", "1.5")),
    Order(10, (), {}, ("1.5", "1.0", "1.5")),
]


def first(order: Order, most: int = 150) -> Fitting:
    for fplan, photo in islice(tries(order), most):
        fit = build_fitting(fplan, closed=photo.view == "closed")
        if built_as_ordered(order, fit):
            return fit
    raise AssertionError("nothing of this order could be built")


@pytest.mark.parametrize("order", ORDERS, ids=lambda o: f"{'+'.join(o.checks) or 'none'}-{o.seed}")
def test_plans_are_deterministic_and_hold_the_order(order: Order) -> None:
    a, b = list(islice(tries(order), 5)), list(islice(tries(order), 5))
    assert a == b
    for fplan, photo in a:
        assert (fplan.family, photo.view, photo.card) == (FAMILY, order.view, order.card)
        assert tuple(c.size for c in fplan.cables) == order.cables
        assert photo.time is None and not photo.fingers


@pytest.mark.parametrize("order", ORDERS, ids=lambda o: f"{'+'.join(o.checks) or 'none'}-{o.seed}")
def test_the_geometry_is_measured_not_believed(order: Order) -> None:
    """Lengths from the fitting's own paths: sheath stop against wall and grip, copper before the face."""
    fit = first(order)
    outside = [max(0.0, -c.sheath_stop) for c in fit.cables]
    grip = [max(0.0, (c.entry.grip_out or 0.0) - c.sheath_stop) for c in fit.cables]
    copper = [
        k.end - k.insulated for c in fit.cables for k in c.cores if not k.bare and k.copper_mm
    ]
    bare = [
        (k.sleeve[0] if k.sleeve else k.end) - k.start
        for c in fit.cables for k in c.cores if k.bare and k.ends_at == "terminal"
    ]  # fmt: skip
    without = [
        c.id
        for c in fit.cables
        if not any(k.name == "cpc" and k.ends_at == "terminal" for k in c.cores)
    ]
    assert max(outside) == pytest.approx(order.mm.get(E, 0.0), abs=TOLERANCE_MM)
    if E not in order.checks:
        assert max(grip) == pytest.approx(order.mm.get(G, 0.0), abs=TOLERANCE_MM)
    assert sum(copper) == pytest.approx(order.mm.get(C, 0.0), abs=TOLERANCE_MM)
    if U not in order.checks:
        assert sum(bare) < 0.1
    elif U in order.mm:
        assert max(bare) == pytest.approx(order.mm[U], abs=TOLERANCE_MM)
    else:
        assert max(bare) > 3.0
    assert len(without) == (K in order.checks)


def test_a_fitting_with_another_fault_is_not_taken() -> None:
    sound, faulty = Order(1, (), {}, ("1.5",)), ORDERS[0]
    assert not built_as_ordered(sound, first(faulty))
    assert not built_as_ordered(faulty, first(sound))
    wrong = Order(1, (E,), {E: 6.3}, ("1.5",))
    assert not built_as_ordered(wrong, first(faulty))


def test_what_may_be_ordered_is_what_the_renderer_knows() -> None:
    assert tuple(fam.CABLES) == told.SIZES
    assert tuple(fam.SHEATH_COLOURS) == told.SHEATHS
    assert fam.POOR == told.POOR
    assert set(told.VIEWS) <= set(fam.VIEWS)
    assert set(fam.LIGHTS[FAMILY]) == {f"{kind}-p" for kind in told.LIGHTS}
    for pair in told.COLOURS:
        assert set(pair.split("-")) <= set(fam.CORE_COLOURS)
    order = told.Order(1)
    assert asdict(_module("orders").Order(**asdict(order))) == asdict(order)
