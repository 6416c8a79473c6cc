"""What holds for the exact comparison of any two rates."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analytics.statistics.counts import compare_rates
from tests.analytics.statistics.strategies import usual_confidence

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

Rates = tuple[int, float, int, float]

events = st.integers(0, 500)
exposures = st.floats(1e-2, 1e6)
rates = st.tuples(events, exposures, events, exposures)


@given(rates, usual_confidence)
def test_limits_enclose_the_ratio_and_the_p_value_is_a_chance(of: Rates, confidence: float) -> None:
    ratio, lower, upper, p_value = compare_rates(*of, confidence)
    assert 0 <= lower <= upper
    assert np.isnan(ratio) == (of[0] == of[2] == 0)
    assert np.isnan(ratio) or lower <= ratio <= upper
    assert 0 <= p_value <= 1


@given(rates, usual_confidence)
def test_exchanging_the_rates_turns_the_ratio_over(of: Rates, confidence: float) -> None:
    ratio, lower, upper, p_value = compare_rates(*of, confidence)
    exchanged = compare_rates(*of[2:], *of[:2], confidence)
    with np.errstate(divide="ignore"):
        turned = np.divide(1.0, [ratio, upper, lower])
    assert exchanged[:3] == pytest.approx(turned, rel=1e-9, nan_ok=True)
    assert exchanged.p_value == pytest.approx(p_value, rel=1e-6)


@given(rates, st.floats(1e-3, 1e3))
def test_a_change_of_unit_changes_nothing(of: Rates, unit: float) -> None:
    x1, exposure1, x2, exposure2 = of
    scaled = compare_rates(x1, exposure1 * unit, x2, exposure2 * unit)
    assert scaled == pytest.approx(compare_rates(*of), rel=1e-6, nan_ok=True)


@given(rates, usual_confidence, usual_confidence)
def test_more_confidence_never_narrows_the_limits(of: Rates, one: float, other: float) -> None:
    less, more = sorted((one, other))
    narrow, wide = compare_rates(*of, less), compare_rates(*of, more)
    assert wide.lower <= narrow.lower * (1 + 1e-9)
    assert wide.upper >= narrow.upper * (1 - 1e-9)


@given(st.integers(1, 100), exposures, st.integers(1, 100), exposures, st.integers(2, 5))
def test_more_events_at_the_same_rates_narrow_the_limits(
    x1: int, exposure1: float, x2: int, exposure2: float, times: int
) -> None:
    few = compare_rates(x1, exposure1, x2, exposure2)
    many = compare_rates(x1 * times, exposure1 * times, x2 * times, exposure2 * times)
    assert few.lower < many.lower
    assert many.upper < few.upper


@given(events, st.floats(0, allow_infinity=False), events, st.floats(0, allow_infinity=False))
@example(3, 5e-324, 3, 1e308)
@example(3, 1e308, 3, 5e-324)
@example(0, 1e308, 3, 5e-324)
@example(0, 5e-324, 0, 1e308)
def test_no_exposure_makes_it_warn_or_cross(x1: int, exposure1: float, x2: int, exposure2: float) -> None:
    found = compare_rates(x1, exposure1, x2, exposure2)
    if exposure1 == 0 or exposure2 == 0:
        assert np.isnan(found).all()
    else:
        assert 0 <= found.lower <= found.upper


@given(events, exposures)
def test_equal_rates_with_equal_exposures_do_not_differ(count: int, exposure: float) -> None:
    found = compare_rates(count, exposure, count, exposure)
    assert found.p_value == pytest.approx(1)
    assert found.lower <= 1 <= found.upper


@given(st.lists(rates, max_size=10))
def test_a_table_of_rates_gives_the_comparison_of_each_row(table: list[Rates]) -> None:
    columns = np.array(table, dtype=float).reshape(-1, 4).T
    together = np.transpose(compare_rates(*columns))
    one_by_one = np.reshape([compare_rates(*row) for row in table], (-1, 4))
    assert together == pytest.approx(one_by_one, rel=1e-11, nan_ok=True)


def test_one_rate_goes_with_a_table_of_others() -> None:
    found = compare_rates(3, 100, [[0, 3], [6, 9]], 100)
    assert found.ratio.tolist() == [[np.inf, 1], [0.5, pytest.approx(1 / 3)]]
    assert found.p_value.shape == (2, 2)


def test_single_numbers_give_single_floats() -> None:
    assert all(isinstance(value, float) for value in compare_rates(1, 3, 2, 3))


@pytest.mark.parametrize("position", range(4))
@pytest.mark.parametrize("value", [-1, float("nan"), float("inf"), "1", True, None, [[1, 2], [3]]])
def test_what_makes_no_rate_is_refused_by_name(position: int, value: Any) -> None:
    given_values: list[Any] = [2, 50, 1, 50]
    given_values[position] = value
    with pytest.raises(ValueError, match=f"^{('x1', 'exposure1', 'x2', 'exposure2')[position]}: "):
        compare_rates(*given_values)


@pytest.mark.parametrize("position", [0, 2])
def test_half_an_event_is_refused(position: int) -> None:
    given_values: list[Any] = [2, 50, 1, 50]
    given_values[position] = 0.5
    with pytest.raises(ValueError, match=r"^x[12]: must be whole numbers"):
        compare_rates(*given_values)


def test_unequal_lengths_and_more_events_than_can_be_added_up_are_refused() -> None:
    with pytest.raises(ValueError, match=r"^x1 and x2: must have the same shape"):
        compare_rates([1, 2], 5, [1, 2, 3], 5)
    with pytest.raises(
        ValueError, match=r"^x1 and x2 together: must be at most 1,000,000 for an exact p-value"
    ):
        compare_rates(999_999, 5, 2, 5)


@pytest.mark.parametrize("confidence", [0, 1, 95.0, float("nan"), "0.95", None])
def test_a_confidence_that_is_none_is_refused_by_name(confidence: Any) -> None:
    with pytest.raises(ValueError, match=r"^confidence: .*between 0 and 1"):
        compare_rates(1, 2, 1, 2, confidence)
