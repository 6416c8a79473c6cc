"""What holds for the agreement of any two raters."""

from __future__ import annotations

import dataclasses
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from analytics.statistics.agreement import cohen_kappa, prevalence_bias_adjusted_kappa

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]


def square(categories: int) -> st.SearchStrategy[list[list[int]]]:
    row = st.lists(st.integers(0, 30), min_size=categories, max_size=categories)
    return st.lists(row, min_size=categories, max_size=categories)


tables = st.integers(1, 5).flatmap(square)
kinds = st.sampled_from([None, "linear", "quadratic"])


@given(tables, kinds)
def test_kappa_lies_between_its_limits_and_none_is_beyond_1(table: list[list[int]], weights: Any) -> None:
    result = cohen_kappa(table, weights)
    assume(not math.isnan(result.kappa))
    assert -1 - 1e-12 <= result.lower <= result.kappa <= result.upper <= 1
    assert result.standard_error >= 0


@given(st.lists(st.integers(0, 100), min_size=2, max_size=6), kinds)
def test_full_agreement_on_more_than_one_category_is_1(diagonal: list[int], weights: Any) -> None:
    assume(np.count_nonzero(diagonal) > 1)
    result = cohen_kappa(np.diag(diagonal), weights)
    assert result.kappa == 1
    assert result.standard_error == pytest.approx(0, abs=1e-7)


@given(square(2))
def test_of_two_categories_all_weights_say_the_same(table: list[list[int]]) -> None:
    plain, linear, quadratic = (cohen_kappa(table, weights) for weights in (None, "linear", "quadratic"))
    for weighted in (linear, quadratic):
        assert np.array_equal(dataclasses.astuple(plain), dataclasses.astuple(weighted), equal_nan=True)


@given(tables, kinds)
def test_it_does_not_matter_which_rater_has_the_rows(table: list[list[int]], weights: Any) -> None:
    one, other = cohen_kappa(table, weights), cohen_kappa(np.transpose(table), weights)
    assert dataclasses.astuple(one) == pytest.approx(dataclasses.astuple(other), abs=1e-9, nan_ok=True)


@given(tables, st.integers(2, 9))
def test_more_of_the_same_keeps_kappa_and_narrows_its_error(table: list[list[int]], times: int) -> None:
    one, many = cohen_kappa(table), cohen_kappa(times * np.array(table))
    assert many.kappa == pytest.approx(one.kappa, abs=1e-9, nan_ok=True)
    assert many.standard_error == pytest.approx(one.standard_error / math.sqrt(times), abs=1e-7, nan_ok=True)


@given(
    st.lists(st.integers(1, 20), min_size=2, max_size=4), st.lists(st.integers(1, 20), min_size=2, max_size=4)
)
def test_independent_raters_have_a_kappa_of_0(rows: list[int], columns: list[int]) -> None:
    size = min(len(rows), len(columns))
    assert cohen_kappa(np.outer(rows[:size], columns[:size])).kappa == pytest.approx(0, abs=1e-12)


def test_a_table_of_credits_may_be_given_in_place_of_a_word() -> None:
    table = [[5, 2, 1], [1, 6, 3], [0, 2, 4]]
    credit = [[1, 0.5, 0], [0.5, 1, 0.5], [0, 0.5, 1]]
    assert cohen_kappa(table, credit) == cohen_kappa(table, "linear")


@pytest.mark.parametrize("weights", [None, "linear", "quadratic"])
@pytest.mark.parametrize("table", [[[7]], [[0, 0], [0, 7]], [[0, 0], [0, 0]], [[0]]])
def test_one_category_for_all_or_no_case_has_no_kappa(table: list[list[int]], weights: Any) -> None:
    result = cohen_kappa(table, weights)
    assert all(math.isnan(value) for value in dataclasses.astuple(result)[:5])


def test_two_categories_never_shared_by_both_raters_have_a_kappa() -> None:
    assert cohen_kappa([[0, 7], [0, 0]]).kappa == 0
    assert cohen_kappa([[0, 5], [5, 0]]).kappa == -1


@given(square(2))
def test_adjusted_kappa_lies_between_its_limits_within_minus_1_and_1(table: list[list[int]]) -> None:
    assume(np.sum(table) > 0)
    result = prevalence_bias_adjusted_kappa(table)
    assert -1 <= result.lower <= result.kappa + 1e-12
    assert result.kappa - 1e-12 <= result.upper <= 1
    assert -1 <= result.prevalence_index <= 1
    assert -1 <= result.bias_index <= 1


def test_balanced_answers_of_raters_who_are_alike_need_no_adjustment() -> None:
    adjusted = prevalence_bias_adjusted_kappa([[30, 5], [5, 30]])
    assert adjusted.kappa == pytest.approx(cohen_kappa([[30, 5], [5, 30]]).kappa)
    assert (adjusted.prevalence_index, adjusted.bias_index) == (0, 0)


def test_the_indexes_say_which_answer_and_which_rater() -> None:
    adjusted = prevalence_bias_adjusted_kappa([[80, 10], [5, 5]])
    assert adjusted.prevalence_index == pytest.approx(0.75)
    assert adjusted.bias_index == pytest.approx(0.05)
    assert adjusted.standard_error == pytest.approx(2 * math.sqrt(0.85 * 0.15 / 100))


def test_without_cases_there_is_no_adjusted_kappa() -> None:
    assert all(map(math.isnan, dataclasses.astuple(prevalence_bias_adjusted_kappa([[0, 0], [0, 0]]))))


WRONG_TABLES: list[Any] = [
    *[3, [], [[]], [1, 2], [[1, 2]], [[1, 2], [3]], [[[1]]], [[1, -2], [3, 4]], [[1, 0.5], [2, 3]]],
    *[[[1, float("nan")], [2, 3]], [[1, float("inf")], [2, 3]], [["1", "2"], ["3", "4"]]],
    *[[[True, False], [False, True]], [[1, None], [2, 3]], "table"],
    np.ma.masked_array([[1, 2], [3, 4]], mask=[[True, False], [False, False]]),
]


@pytest.mark.parametrize("table", WRONG_TABLES)
@pytest.mark.parametrize("function", [cohen_kappa, prevalence_bias_adjusted_kappa])
def test_what_is_no_table_of_two_raters_is_refused(function: Any, table: Any) -> None:
    with pytest.raises(ValueError, match=r"^table: "):
        function(table)


def test_more_than_two_categories_have_no_adjusted_kappa() -> None:
    with pytest.raises(ValueError, match=r"^table: must be 2 by 2, but is 3 by 3"):
        prevalence_bias_adjusted_kappa(np.eye(3, dtype=int))


@pytest.mark.parametrize(
    "weights",
    [
        "cubic",
        1,
        [[1, 0], [0, 0.5]],
        [[1, 2], [0, 1]],
        [[1, -1], [0, 1]],
        np.eye(3),
        [[1, float("nan")], [0, 1]],
    ],
)
def test_weights_that_are_none_are_refused_by_name(weights: Any) -> None:
    with pytest.raises(ValueError, match=r"^weights: "):
        cohen_kappa([[1, 2], [3, 4]], weights)


@pytest.mark.parametrize("confidence", [0, 1, 95.0, float("nan"), "0.95", None])
@pytest.mark.parametrize("function", [cohen_kappa, prevalence_bias_adjusted_kappa])
def test_a_confidence_that_is_none_is_refused_by_name(function: Any, confidence: Any) -> None:
    with pytest.raises(ValueError, match=r"^confidence: "):
        function([[1, 2], [3, 4]], confidence=confidence)
