"""Statistics of the bench against published examples and another library."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binom
from statsmodels.stats.proportion import proportion_confint

from audit.bench.stats import reliability, share, spread


# Source: R's binom.test(682, 925), the example in R's own manual page after
# Conover (1971), Practical nonparametric statistics, p. 97: 0.7076683 to 0.7654066
# (carried by scipy's test of binomtest; from memory).
def test_interval_of_mendels_peas() -> None:
    s = share(682, 925)
    assert (s.low, s.high) == pytest.approx((0.7076683, 0.7654066), abs=1e-7)


# Source: Clopper-Pearson limits at 0 and n are 1 - (alpha/2)^(1/n) and its mirror
# (Clopper and Pearson 1934); with n = 120: 1 - 0.025^(1/120) = 0.030272.
def test_interval_when_nothing_was_missed() -> None:
    s = share(0, 120)
    assert s.low == 0.0
    assert s.high == pytest.approx(1 - 0.025 ** (1 / 120))


@given(st.integers(1, 400).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
def test_interval_agrees_with_statsmodels(numbers: tuple[int, int]) -> None:
    s = share(*numbers)
    low, high = proportion_confint(*numbers, alpha=0.05, method="beta")
    assert s.low == pytest.approx(low, abs=1e-9)
    assert s.high == pytest.approx(high, abs=1e-9)


def test_share_of_nothing_is_nothing() -> None:
    assert share(0, 0).value is None


# Worked by hand: |e| = 1, 1, 2, 4; numpy's linear percentile (type 7 of Hyndman
# and Fan 1996): median 1.5, 95th 2 + 0.85 * 2 = 3.7.
def test_spread_by_hand() -> None:
    s = spread([-1.0, 1.0, 2.0, -4.0])
    assert (s.n, s.bias, s.median_abs) == (4, -0.5, 1.5)
    assert s.p95_abs == pytest.approx(3.7)


# Source: limits of a median by the sign test, in Conover (1999) and any textbook table: of 10 values the
# 2nd and the 9th (97.9 %), of 20 the 6th and the 15th (95.9 %), of 5 none (from memory; the binomial
# sums are taken anew below).
@pytest.mark.parametrize(("n", "low", "high"), [(10, 2, 9), (20, 6, 15), (5, None, None)])
def test_limits_of_a_median_are_those_of_the_sign_test(
    n: int, low: int | None, high: int | None
) -> None:
    s = spread([x if x % 2 else -x for x in map(float, range(1, n + 1))])
    assert (s.median_low, s.median_high) == (low, high)
    if low:
        assert 1 - 2 * binom.cdf(low - 1, n, 0.5) >= 0.95 > 1 - 2 * binom.cdf(low, n, 0.5)


# The highest of n values lies below the 95th percentile with probability 0.95^n, so an upper limit
# needs 0.95^n <= 0.025: n >= 72.
@pytest.mark.parametrize(("n", "there"), [(71, False), (72, True)])
def test_a_95th_percentile_has_an_upper_limit_from_72_errors_on(n: int, there: bool) -> None:
    s = spread([float(x) for x in range(n)])
    assert (s.p95_high is not None) is there
    assert s.p95_low is not None and s.p95_abs is not None and s.p95_low < s.p95_abs


# Worked by hand: bins 0.2-0.3 (two findings, mean 0.25, half faults) and 0.9-1.0
# (two, mean 0.95, all faults): (2 * 0.25 + 2 * 0.05) / 4 = 0.15.
def test_calibration_error_by_hand() -> None:
    r = reliability([0.2, 0.3 - 1e-9, 0.9, 1.0], [True, False, True, True])
    assert r.ece == pytest.approx(0.15, abs=1e-6)
    assert [b.n for b in r.bins] == [2, 2]


@given(st.lists(st.tuples(st.floats(0, 1), st.booleans()), min_size=1, max_size=50))
def test_bins_hold_every_score_once(told: list[tuple[float, bool]]) -> None:
    scores, faults = zip(*told, strict=True)
    r = reliability(scores, faults)
    assert sum(b.n for b in r.bins) == len(told)
    assert sum(b.n * b.fault_rate for b in r.bins) == pytest.approx(sum(faults))
    assert 0 <= (r.ece or 0) <= 1
