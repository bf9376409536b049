"""Sizes and limits against R's printed examples, values computed by others, and exact fractions."""

from __future__ import annotations

from fractions import Fraction
from itertools import product
from math import comb

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import hypergeom
from statsmodels.stats.proportion import proportion_confint

from audit.errors import UsageError
from audit.sampling.limits import interval, upper_count, upper_share
from audit.sampling.sizes import chance_of_seeing, least_chance, next_size, smallest_n

# R 3.6.2 binom.test, as scipy's tests carry it (scipy/stats/tests/test_morestats.py).
R_TWO_SIDED = [
    (20, 100, 0.95, 0.1266555521, 0.2918426891),
    (3, 50, 0.99, 0.006872485, 0.202706269),
    (0, 10, 0.95, 0.0, 0.3084971),
    (10, 10, 0.95, 0.6915029, 1.0),
    # R package binom, method exact, as statsmodels' tests carry it (results_proportion.py).
    (18, 20, 0.95, 0.6830172859809176, 0.9876514728297052),
    (4, 20, 0.95, 0.05733399705003284, 0.436614002996668),
    # Computed by others with scipy and statsmodels alike.
    (0, 20, 0.95, 0.0, 0.168433),
    (2, 20, 0.95, 0.012349, 0.316983),
]
# R binom.test(alternative = "less"), as the tests of scipy and of statsmodels carry it.
R_ONE_SIDED = [
    (20, 100, 0.95, 0.2772002496709138),
    (0, 10, 0.95, 0.2588656),
    (3, 50, 0.99, 0.1872093),
    (51, 235, 0.95, 0.2659460862574313),
]
# Chance of Ac or fewer faulty in the sample; computed by others with scipy 1.17.1.
HYPERGEOMETRIC = [
    (50, 2, 8, 0, 0.702857),
    (30, 1, 5, 0, 0.833333),
    (20, 3, 5, 0, 0.399123),
    (50, 5, 13, 1, 0.610962),
    (100, 4, 20, 1, 0.822391),
]


@pytest.mark.parametrize(("x", "n", "level", "low", "high"), R_TWO_SIDED)
def test_intervals_are_those_of_r(x: int, n: int, level: float, low: float, high: float) -> None:
    assert interval(x, n, level) == pytest.approx((low, high), abs=6e-7)


@pytest.mark.parametrize(("x", "n", "level", "high"), R_ONE_SIDED)
def test_one_sided_limits_are_those_of_r(x: int, n: int, level: float, high: float) -> None:
    assert upper_share(x, n, level) == pytest.approx(high, abs=6e-8)


@given(st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_limits_are_those_of_statsmodels(case: tuple[int, int]) -> None:
    x, n = case
    low, high = proportion_confint(x, n, alpha=0.1, method="beta")
    assert upper_share(x, n) == pytest.approx(1.0 if x == n else high, abs=1e-9)
    assert interval(x, n, 0.9) == pytest.approx((0 if x == 0 else low, 1 if x == n else high))


@pytest.mark.parametrize(("lot", "bad", "n", "ac", "chance"), HYPERGEOMETRIC)
def test_chances_are_those_computed_by_others(
    lot: int, bad: int, n: int, ac: int, chance: float
) -> None:
    assert hypergeom.cdf(ac, lot, bad, n) == pytest.approx(chance, abs=5e-7)
    if ac == 0:
        assert chance_of_seeing(lot, bad, n) == pytest.approx(1 - chance, abs=5e-7)


def missed(lot: int, bad: int, n: int) -> Fraction:
    """Chance that none of the bad ones is drawn, exactly."""
    return Fraction(comb(lot - bad, n), comb(lot, n))


@given(st.data())
def test_the_smallest_n_is_enough_and_one_fewer_is_not(data: st.DataObject) -> None:
    lot = data.draw(st.integers(1, 80))
    bad = data.draw(st.integers(1, lot))
    percent = data.draw(st.integers(1, 99))
    n = smallest_n(lot, bad, percent / 100)
    wanted = Fraction(percent, 100)
    assert 1 - missed(lot, bad, n) >= wanted
    assert n == 1 or 1 - missed(lot, bad, n - 1) < wanted


@given(st.data())
def test_n_grows_with_confidence_and_shrinks_with_the_bad(data: st.DataObject) -> None:
    lot = data.draw(st.integers(2, 200))
    bad = data.draw(st.integers(1, lot - 1))
    low, high = sorted(data.draw(st.tuples(*[st.floats(0.01, 0.99)] * 2)))
    assert smallest_n(lot, bad, low) <= smallest_n(lot, bad, high)
    assert smallest_n(lot, bad + 1, low) <= smallest_n(lot, bad, low)


def test_two_bad_of_24() -> None:
    """Two bad of twenty-four, by hand: C(22, n) / C(24, n) = (24 - n)(23 - n) / 552."""
    assert smallest_n(24, 2, 0.95) == 19
    assert chance_of_seeing(24, 2, 19) == pytest.approx(1 - 20 / 552)
    assert chance_of_seeing(24, 2, 18) == pytest.approx(1 - 30 / 552)


@pytest.mark.parametrize(
    ("bad", "confidence"), [(0, 0.95), (25, 0.95), (2, 0), (2, 1), (2, 95), (2, float("nan"))]
)
def test_what_cannot_be_asked_is_refused(bad: int, confidence: float) -> None:
    with pytest.raises(UsageError, match="can't be"):
        smallest_n(24, bad, confidence)


@given(st.data())
def test_upper_count_by_its_definition(data: st.DataObject) -> None:
    """The largest D with which so few would still be seen with a chance above 5 %: by exact fractions."""
    lot = data.draw(st.integers(1, 40))
    n = data.draw(st.integers(1, lot))
    x = data.draw(st.integers(0, n))

    def so_few(d: int) -> Fraction:
        ways = sum(comb(d, k) * comb(lot - d, n - k) for k in range(x + 1))
        return Fraction(ways, comb(lot, n))

    possible = [d for d in range(x, lot - n + x + 1) if so_few(d) > Fraction(1, 20)]
    assert upper_count(x, n, lot) == max(possible, default=x)


def test_upper_count_of_a_lot_that_was_looked_at_wholly() -> None:
    assert [upper_count(x, 12, 12) for x in (0, 1, 12)] == [0, 1, 12]
    assert upper_count(0, 0, 12) == 12
    assert upper_share(0, 0) == 1.0


strata = st.lists(st.integers(1, 6), min_size=1, max_size=4).flatmap(
    lambda sizes: st.tuples(st.just(sizes), st.tuples(*[st.integers(0, s) for s in sizes]))
)


@settings(max_examples=60, deadline=None)
@given(strata, st.integers(0, 6))
def test_the_least_chance_is_the_least_over_all_spreads(
    case: tuple[list[int], tuple[int, ...]], bad: int
) -> None:
    sizes, taken = case
    bad = min(bad, sum(sizes))
    spreads = [
        d for d in product(*[range(min(s, bad) + 1) for s in sizes]) if sum(d) == bad
    ]  # every way in which the bad ones can lie
    worst = Fraction(0)
    for spread in spreads:
        here = Fraction(1)
        for size, n, d in zip(sizes, taken, spread, strict=True):
            here *= missed(size, d, n) if n <= size - d else 0
        worst = max(worst, here)
    assert least_chance(sizes, taken, bad) == pytest.approx(float(1 - worst), abs=1e-9)


@given(st.integers(2, 500).flatmap(lambda n: st.tuples(st.just(n), st.integers(1, n))))
def test_one_stratum_is_a_simple_draw(case: tuple[int, int]) -> None:
    lot, n = case
    for bad in (1, min(3, lot)):
        found = least_chance([lot], [n], bad)
        assert found == pytest.approx(chance_of_seeing(lot, bad, n), abs=1e-9)


def test_the_next_size() -> None:
    """Preferred numbers of the standard; the whole lot where the series leads beyond it."""
    assert [next_size(n, 60) for n in (1, 3, 8, 19, 20, 32, 50)] == [2, 5, 13, 20, 32, 50, 60]
    assert next_size(20, 24) == 24
