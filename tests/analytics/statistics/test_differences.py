"""What holds for the limits of any difference of two proportions."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics.proportions import newcombe_difference
from tests.analytics.statistics.strategies import any_confidence

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

Pair = tuple[int, int, int, int]


@st.composite
def pairs(draw: Any, fewest: int = 1, most: int = 10**6) -> Pair:
    n1, n2 = draw(st.integers(fewest, most)), draw(st.integers(fewest, most))
    return draw(st.integers(0, n1)), n1, draw(st.integers(0, n2)), n2


@given(pairs(), any_confidence, st.booleans())
def test_limits_enclose_the_difference_and_stay_within_minus_1_and_1(
    pair: Pair, confidence: float, continuity: bool
) -> None:
    difference, lower, upper = newcombe_difference(*pair, confidence, continuity)
    assert difference == pair[0] / pair[1] - pair[2] / pair[3]
    assert -1 <= lower <= difference <= upper <= 1


@given(pairs(), any_confidence, st.booleans())
def test_exchanging_the_groups_negates_and_reverses(pair: Pair, confidence: float, continuity: bool) -> None:
    difference, lower, upper = newcombe_difference(*pair, confidence, continuity)
    exchanged = newcombe_difference(*pair[2:], *pair[:2], confidence, continuity)
    assert exchanged == (-difference, -upper, -lower)


@given(pairs(), any_confidence, any_confidence, st.booleans())
def test_more_confidence_never_narrows_the_limits(
    pair: Pair, one: float, other: float, continuity: bool
) -> None:
    less, more = sorted((one, other))
    narrow = newcombe_difference(*pair, less, continuity)
    wide = newcombe_difference(*pair, more, continuity)
    assert wide.lower <= narrow.lower + 1e-12
    assert wide.upper >= narrow.upper - 1e-12


@given(pairs(most=10**4), st.integers(2, 50))
def test_more_trials_with_the_same_shares_narrow_the_limits(pair: Pair, times: int) -> None:
    x1, n1, x2, n2 = (times * count for count in pair)
    few, many = newcombe_difference(*pair), newcombe_difference(x1, n1, x2, n2)
    assert few.lower <= many.lower + 1e-12
    assert few.upper >= many.upper - 1e-12


@given(pairs())
def test_the_continuity_correction_never_narrows_the_limits(pair: Pair) -> None:
    plain, corrected = newcombe_difference(*pair), newcombe_difference(*pair, continuity=True)
    assert corrected.lower <= plain.lower
    assert corrected.upper >= plain.upper


@given(st.lists(pairs(fewest=0), max_size=20))
def test_a_table_of_pairs_gives_the_limits_of_each_row(table: list[Pair]) -> None:
    columns = np.array(table, dtype=int).reshape(-1, 4).T
    together = np.transpose(newcombe_difference(*columns))
    one_by_one = np.reshape([newcombe_difference(*row) for row in table], (-1, 3))
    assert np.array_equal(together, one_by_one, equal_nan=True)


def test_one_group_goes_with_a_table_of_others() -> None:
    found = newcombe_difference(3, 10, [0, 3, 10], 10)
    assert found.difference == pytest.approx([0.3, 0, -0.7])
    assert found.lower.shape == (3,)


def test_single_numbers_give_single_floats() -> None:
    assert all(isinstance(value, float) for value in newcombe_difference(1, 3, 2, 3))


@pytest.mark.parametrize("position", range(4))
@pytest.mark.parametrize(
    "value",
    [-1, 0.5, float("nan"), float("inf"), "1", True, None, np.ma.masked_array([1, 2], mask=[True, False])],
)
def test_what_is_no_count_is_refused_by_name(position: int, value: Any) -> None:
    counts: list[Any] = [2, 5, 1, 5]
    counts[position] = value
    with pytest.raises(ValueError, match=f"^{('x1', 'n1', 'x2', 'n2')[position]}: "):
        newcombe_difference(*counts)


@pytest.mark.parametrize(
    ("counts", "named"), [((6, 5, 1, 5), "x1"), ((1, 5, 6, 5), "x2"), ((0, 5, 1, 0), "x2")]
)
def test_more_successes_than_trials_are_refused_by_name(counts: Any, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: must not be above n"):
        newcombe_difference(*counts)


@pytest.mark.parametrize(
    "counts", [([1, 2], 5, [1, 2, 3], 5), (1, [5, 6], 1, [5]), ([1, 2], [3, 4], 1, [4, 5, 6])]
)
def test_unequal_lengths_are_refused(counts: Any) -> None:
    with pytest.raises(ValueError, match="must have the same shape"):
        newcombe_difference(*counts)


@pytest.mark.parametrize("confidence", [0, 1, 95, float("nan"), "0.95", None])
def test_a_confidence_that_is_none_is_refused_by_name(confidence: Any) -> None:
    with pytest.raises(ValueError, match=r"^confidence: "):
        newcombe_difference(1, 2, 1, 2, confidence)
