"""What holds for any two-by-two table, and for any strata."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics.comparisons import (
    StratifiedDifference,
    directly_standardised,
    fisher_exact,
    mantel_haenszel_difference,
    mid_p_of_table,
)
from analytics.statistics.proportions import wilson
from tests.analytics.statistics.strategies import usual_confidence

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

Table = list[list[int]]
Strata = list[tuple[int, int, int, int]]
Weighted = list[tuple[int, int, float]]

cells = st.integers(0, 60)
tables = st.lists(st.lists(cells, min_size=2, max_size=2), min_size=2, max_size=2)


@st.composite
def stratum(draw: Any, fewest: int = 0) -> tuple[int, int, int, int]:
    n1, n2 = draw(st.integers(fewest, 30)), draw(st.integers(fewest, 30))
    return draw(st.integers(0, n1)), n1, draw(st.integers(0, n2)), n2


@st.composite
def weighted(draw: Any) -> tuple[int, int, float]:
    trials = draw(st.integers(1, 40))
    return draw(st.integers(0, trials)), trials, draw(st.floats(0.01, 100))


def difference_of(of: Strata, confidence: float = 0.95) -> StratifiedDifference:
    x1, n1, x2, n2 = np.array(of).T
    return mantel_haenszel_difference(x1, n1, x2, n2, confidence)


strata = st.lists(stratum(), min_size=1, max_size=8)
mixes = st.lists(weighted(), min_size=1, max_size=8)


# Two-by-two tables


@given(tables)
def test_halving_more_makes_the_p_value_smaller(table: Table) -> None:
    exact = fisher_exact(table)
    ties, observed = mid_p_of_table(table), mid_p_of_table(table, "observed_halved")
    assert 0 < ties.p_value <= observed.p_value * (1 + 1e-12)
    assert observed.p_value < exact <= 1
    assert (ties.convention, observed.convention) == ("ties_halved", "observed_halved")


@given(tables)
def test_exchanging_rows_or_columns_or_both_axes_changes_no_p_value(table: Table) -> None:
    turned = np.array([table, table[::-1], [row[::-1] for row in table], np.transpose(table)])
    assert fisher_exact(turned) == pytest.approx(np.full(4, fisher_exact(table)), rel=1e-9)
    for convention in ("ties_halved", "observed_halved"):
        expected = mid_p_of_table(table, convention).p_value
        assert mid_p_of_table(turned, convention).p_value == pytest.approx(np.full(4, expected), rel=1e-9)


@given(st.lists(tables, max_size=8))
def test_many_tables_give_the_p_value_of_each(many: list[Table]) -> None:
    together = np.reshape(many, (-1, 2, 2)).astype(int)
    assert fisher_exact(together).tolist() == [fisher_exact(table) for table in many]
    assert mid_p_of_table(together).p_value.tolist() == [mid_p_of_table(table).p_value for table in many]


@given(cells, cells)
def test_an_empty_row_or_column_leaves_nothing_to_compare(one: int, other: int) -> None:
    assert fisher_exact([[one, other], [0, 0]]) == fisher_exact([[one, 0], [other, 0]]) == pytest.approx(1)
    assert mid_p_of_table([[0, 0], [one, other]]).p_value == pytest.approx(0.5)


def test_one_table_gives_a_single_float() -> None:
    assert isinstance(fisher_exact([[3, 1], [1, 3]]), float)
    assert isinstance(mid_p_of_table([[3, 1], [1, 3]]).p_value, float)


@pytest.mark.parametrize(
    "table",
    [
        [[1, 2], [3, -4]],
        [[1, 2], [3, 0.5]],
        [[1, 2], [3, float("nan")]],
        [[1, 2], [3, float("inf")]],
        [["1", "2"], ["3", "4"]],
        [[True, False], [True, True]],
        [[1, 2], [3]],
        [1, 2, 3, 4],
        [[1, 2, 3], [4, 5, 6]],
        [],
        5,
        None,
        np.ma.masked_array([[1, 2], [3, 4]], mask=[[True, False], [False, False]]),
    ],
)
def test_what_is_no_table_of_counts_is_refused_by_name(table: Any) -> None:
    with pytest.raises(ValueError, match=r"^table: "):
        fisher_exact(table)
    with pytest.raises(ValueError, match=r"^table: "):
        mid_p_of_table(table)


def test_more_tables_than_can_be_added_up_are_refused() -> None:
    with pytest.raises(ValueError, match=r"^table: its smallest margin: must be at most 1,000,000"):
        fisher_exact([[10**6, 10**6], [10**6, 10**6]])


@pytest.mark.parametrize("convention", ["half", "", None])
def test_a_convention_that_is_neither_is_refused_by_name(convention: Any) -> None:
    with pytest.raises(ValueError, match=r"^convention: must be 'ties_halved' or 'observed_halved'"):
        mid_p_of_table([[3, 1], [1, 3]], convention)


# Mantel and Haenszel's difference


@given(strata, usual_confidence)
def test_limits_enclose_the_difference_and_stay_within_minus_1_and_1(of: Strata, confidence: float) -> None:
    found = difference_of(of, confidence)
    both = [each for each in of if each[1] and each[3]]
    assert found.strata == len(both)
    assert found.n1 == sum(each[1] for each in both)
    assert found.n2 == sum(each[3] for each in both)
    assert np.isnan(found.difference) == np.isnan(found.variance) == (not both)
    if both and found.variance > 0:
        assert -1 <= found.lower <= found.difference <= found.upper <= 1
    else:
        assert np.isnan([found.lower, found.upper]).all()


@given(strata)
def test_exchanging_the_groups_negates_and_reverses(of: Strata) -> None:
    x1, n1, x2, n2 = zip(*of, strict=True)
    found, exchanged = mantel_haenszel_difference(x1, n1, x2, n2), mantel_haenszel_difference(x2, n2, x1, n1)
    turned = (-found.difference, -found.upper, -found.lower, found.variance)
    assert exchanged[:4] == pytest.approx(turned, abs=1e-9, nan_ok=True)


@given(strata, st.integers(2, 5))
def test_more_of_the_same_keeps_the_difference_and_lowers_the_variance(of: Strata, times: int) -> None:
    one = difference_of(of)
    many = difference_of(of * times)
    assert many.difference == pytest.approx(one.difference, abs=1e-12, nan_ok=True)
    assert many.variance == pytest.approx(one.variance / times, abs=1e-12, nan_ok=True)


@given(st.integers(1, 50), st.integers(1, 50), st.data())
def test_one_stratum_has_the_plain_difference(n1: int, n2: int, data: Any) -> None:
    x1, x2 = data.draw(st.integers(0, n1)), data.draw(st.integers(0, n2))
    assert mantel_haenszel_difference(x1, n1, x2, n2).difference == pytest.approx(
        x1 / n1 - x2 / n2, abs=1e-12
    )


@given(strata)
def test_a_variance_of_0_means_that_no_group_of_a_stratum_has_both_outcomes(of: Strata) -> None:
    found = difference_of(of)
    both = [each for each in of if each[1] and each[3]]
    if both and found.variance == 0:
        assert all(x1 in (0, n1) and x2 in (0, n2) for x1, n1, x2, n2 in both)


@given(st.lists(st.lists(stratum(), min_size=3, max_size=3), min_size=1, max_size=5))
def test_rows_of_strata_give_the_difference_of_each(rows: list[Strata]) -> None:
    columns = np.moveaxis(np.array(rows), -1, 0)
    together = np.transpose(mantel_haenszel_difference(*columns))
    one_by_one = np.array([np.stack(difference_of(of)) for of in rows])
    assert together == pytest.approx(one_by_one, nan_ok=True)


def test_no_strata_have_no_difference() -> None:
    found = mantel_haenszel_difference([], [], [], [])
    assert np.isnan(found[:4]).all()
    assert found.strata == found.n1 == found.n2 == 0


@pytest.mark.parametrize("position", range(4))
@pytest.mark.parametrize("value", [-1, 0.5, float("nan"), float("inf"), "1", True, None, [[1, 2], [3]]])
def test_what_is_no_count_of_strata_is_refused_by_name(position: int, value: Any) -> None:
    counts: list[Any] = [2, 5, 1, 5]
    counts[position] = value
    with pytest.raises(ValueError, match=f"^{('x1', 'n1', 'x2', 'n2')[position]}: "):
        mantel_haenszel_difference(*counts)


@pytest.mark.parametrize(
    ("counts", "message"),
    [
        (([6], [5], [1], [5]), "x1: must not be above n1"),
        (([1], [5], [6], [5]), "x2: must not be above n2"),
        (([1, 2], [5, 5], [1, 2, 3], [5, 5, 5]), "must have the same shape"),
    ],
)
def test_strata_that_do_not_fit_are_refused_by_name(counts: Any, message: str) -> None:
    with pytest.raises(ValueError, match=message):
        mantel_haenszel_difference(*counts)


# Direct standardisation


@given(mixes, usual_confidence)
def test_a_standardised_proportion_is_a_mean_of_the_strata_and_so_lie_its_limits(
    of: Weighted, confidence: float
) -> None:
    won, tried, weights = map(np.array, zip(*of, strict=True))
    found = directly_standardised(won, tried, weights, confidence)
    lower, upper = wilson(won, tried, confidence)
    assert found.estimate == pytest.approx(np.average(won / tried, weights=weights))
    assert np.average(lower, weights=weights) - 1e-12 <= found.lower <= found.estimate
    assert found.estimate <= found.upper <= np.average(upper, weights=weights) + 1e-12
    assert 0 <= found.lower <= found.upper <= 1
    assert found.method == "wilson_by_squares"


@given(mixes, st.floats(1e-3, 1e3))
def test_only_the_shares_of_the_weights_count(of: Weighted, times: float) -> None:
    won, tried, weights = map(np.array, zip(*of, strict=True))
    found, scaled = (
        directly_standardised(won, tried, weights),
        directly_standardised(won, tried, weights * times),
    )
    assert scaled[:4] == pytest.approx(found[:4], abs=1e-12)


@given(mixes)
def test_weights_by_trials_give_the_crude_proportion(of: Weighted) -> None:
    won, tried, _weights = map(np.array, zip(*of, strict=True))
    assert directly_standardised(won, tried, tried).estimate == pytest.approx(won.sum() / tried.sum())


@given(mixes)
def test_counting_failures_instead_mirrors_estimate_and_limits(of: Weighted) -> None:
    won, tried, weights = map(np.array, zip(*of, strict=True))
    found, mirrored = (
        directly_standardised(won, tried, weights),
        directly_standardised(tried - won, tried, weights),
    )
    assert mirrored[:3] == pytest.approx((1 - found.estimate, 1 - found.upper, 1 - found.lower), abs=1e-12)
    assert mirrored.variance == pytest.approx(found.variance, abs=1e-15)


@given(mixes, usual_confidence, usual_confidence)
def test_more_confidence_never_narrows_the_limits(of: Weighted, one: float, other: float) -> None:
    less, more = sorted((one, other))
    won, tried, weights = zip(*of, strict=True)
    narrow = directly_standardised(won, tried, weights, less)
    wide = directly_standardised(won, tried, weights, more)
    assert wide.lower <= narrow.lower + 1e-12
    assert wide.upper >= narrow.upper - 1e-12


def test_a_stratum_never_tried_leaves_no_estimate_unless_it_has_no_weight() -> None:
    found = directly_standardised([[3, 0], [3, 1]], [[5, 0], [5, 2]], [1, 1])
    for values in (found.estimate, found.lower, found.upper, found.variance):
        assert np.isnan(values).tolist() == [True, False]
    assert directly_standardised([3, 0], [5, 0], [1, 0]).estimate == pytest.approx(0.6)


def test_weights_however_great_or_small_are_shares() -> None:
    assert directly_standardised([1, 3], [4, 4], [1e308, 1e308]).estimate == pytest.approx(0.5)
    assert directly_standardised([1, 3], [4, 4], [5e-324, 5e-324]).estimate == pytest.approx(0.5)


def test_single_strata_give_single_floats() -> None:
    found = directly_standardised([1, 3], [4, 4], [1, 1])
    assert all(isinstance(value, float) for value in found[:4])
    assert isinstance(mantel_haenszel_difference([1, 3], [4, 4], [2, 2], [4, 4]).difference, float)


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"successes": [-1, 3]}, "successes"),
        ({"successes": [5, 3]}, "successes"),
        ({"successes": [0.5, 3]}, "successes"),
        ({"successes": [True, True]}, "successes"),
        ({"trials": [4, float("nan")]}, "trials"),
        ({"trials": ["4", "4"]}, "trials"),
        ({"trials": [4, 4, 4]}, "successes and trials"),
        ({"weights": [1, -1]}, "weights"),
        ({"weights": [1, float("inf")]}, "weights"),
        ({"weights": [0, 0]}, "weights: must not all be 0"),
        ({"weights": []}, "weights: must not all be 0"),
        ({"weights": [1, 1, 1]}, "weights: must be one for each stratum, but there are 3 for 2 strata"),
        ({"weights": [[1, 1], [1, 1]]}, "weights: must be one row"),
        ({"weights": ["1", "1"]}, "weights"),
        ({"weights": np.ma.masked_array([1, 2], mask=[True, False])}, "weights"),
        ({"successes": [], "trials": [], "weights": [1]}, "weights: must be one for each stratum"),
    ],
)
def test_what_cannot_be_standardised_is_refused_by_name(changed: dict[str, Any], named: str) -> None:
    right: dict[str, Any] = {"successes": [1, 3], "trials": [4, 4], "weights": [1, 1]}
    with pytest.raises(ValueError, match=f"^{named}"):
        directly_standardised(**right | changed)


@pytest.mark.parametrize("confidence", [0, 1, 95.0, float("nan"), "0.95", None])
def test_a_confidence_that_is_none_is_refused_by_name(confidence: Any) -> None:
    with pytest.raises(ValueError, match=r"^confidence: .*between 0 and 1"):
        mantel_haenszel_difference(1, 2, 1, 2, confidence)
    with pytest.raises(ValueError, match=r"^confidence: .*between 0 and 1"):
        directly_standardised([1], [2], [1], confidence)
