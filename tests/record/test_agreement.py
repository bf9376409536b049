"""Cohen's kappa against statsmodels and worked examples."""

from __future__ import annotations

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from statsmodels.stats.inter_rater import cohens_kappa

from audit.record.agreement import cohen_kappa


def test_worked_example_of_fifty_proposals() -> None:
    # Two readers, fifty proposals (a worked example widely printed; read in a secondary
    # text): kappa 0.40. Interval computed by statsmodels.
    found = cohen_kappa([[20, 5], [10, 15]])
    assert found.kappa == pytest.approx(0.4000, abs=5e-5)
    assert found.se == pytest.approx(0.12700, abs=5e-6)
    assert (found.low, found.high) == pytest.approx((0.15109, 0.64891), abs=5e-6)
    assert (found.n, found.agreed) == (50, 35)


def test_worked_example_of_three_words() -> None:
    # SAS example that the tests of statsmodels carry: .4842, ASE .1380, .2137 to .7547.
    found = cohen_kappa([[0, 4, 1], [0, 8, 0], [0, 1, 5]])
    assert (found.kappa, found.se) == pytest.approx((0.4842, 0.1380), abs=5e-5)
    assert (found.low, found.high) == pytest.approx((0.2137, 0.7547), abs=5e-5)


@given(
    st.integers(2, 4).flatmap(
        lambda k: st.lists(
            st.lists(st.integers(0, 30), min_size=k, max_size=k), min_size=k, max_size=k
        )
    )
)
def test_as_statsmodels_has_it(table: list[list[int]]) -> None:
    assume(sum(map(sum, table)) > 0)
    found = cohen_kappa(table)
    assume(found.kappa is not None)
    other = cohens_kappa(table)
    assert found.kappa == pytest.approx(other.kappa, abs=1e-9)
    assert found.se == pytest.approx(other.std_kappa, abs=1e-7)
    assert found.low == pytest.approx(max(-1.0, other.kappa_low), abs=1e-6)
    assert found.high == pytest.approx(min(1.0, other.kappa_upp), abs=1e-6)


@pytest.mark.parametrize("table", [[[7, 0], [0, 0]], [[7, 0], [2, 0]], [[7, 2], [0, 0]]])
def test_a_judge_of_one_word_gives_no_kappa(table: list[list[int]]) -> None:
    """Kappa is nought then, or not defined, whatever the other judge says: it tells nothing."""
    found = cohen_kappa(table)
    assert (found.agreed, found.kappa, found.low, found.high) == (7, None, None, None)


@pytest.mark.parametrize("table", [[[1, 2]], [[0, 0], [0, 0]], [[-1, 2], [1, 1]]])
def test_what_is_no_table_of_counts_is_refused(table: list[list[int]]) -> None:
    with pytest.raises(ValueError, match="kappa"):
        cohen_kappa(table)
