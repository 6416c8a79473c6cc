"""What holds for the limits of any rate."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from analytics.statistics.counts import garwood
from tests.analytics.statistics.strategies import any_confidence, usual_confidence

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

events = st.integers(0, 10**6)
exposures = st.floats(1e-3, 1e9)


@given(events, exposures, usual_confidence)
def test_limits_enclose_the_rate(count: int, exposure: float, confidence: float) -> None:
    lower, upper = garwood(count, exposure, confidence)
    assert 0 <= lower <= count / exposure < upper < np.inf


@given(st.integers(0, 2**53), st.floats(0, allow_infinity=False), any_confidence)
def test_no_count_exposure_or_confidence_makes_it_warn_or_cross(
    count: int, exposure: float, confidence: float
) -> None:
    lower, upper = garwood(count, exposure, confidence)
    assert (np.isnan(lower) and np.isnan(upper)) if exposure == 0 else 0 <= lower <= upper


@given(exposures, any_confidence)
def test_no_event_has_a_lower_limit_of_exactly_0(exposure: float, confidence: float) -> None:
    assert garwood(0, exposure, confidence)[0] == 0


@given(st.integers(1, 10**5), usual_confidence)
def test_each_limit_leaves_half_of_the_doubt_in_its_tail(count: int, confidence: float) -> None:
    """Garwood's own definition: so many events or more at the lower limit, so many or fewer at the upper."""
    lower, upper = garwood(count, 1, confidence)
    tail = (1 - confidence) / 2
    assert special.pdtrc(count - 1, lower) == pytest.approx(tail, rel=1e-7)
    assert special.pdtr(count, upper) == pytest.approx(tail, rel=1e-7)


@given(events, exposures, st.floats(1e-3, 1e3))
def test_a_change_of_unit_changes_only_the_unit(count: int, exposure: float, unit: float) -> None:
    scaled = unit * np.array(garwood(count, exposure * unit))
    assert scaled == pytest.approx(np.array(garwood(count, exposure)), rel=1e-12)


@given(events, usual_confidence, usual_confidence)
def test_more_confidence_never_narrows_the_limits(count: int, one: float, other: float) -> None:
    less, more = sorted((one, other))
    narrow, wide = garwood(count, 1, less), garwood(count, 1, more)
    assert wide[0] <= narrow[0] * (1 + 1e-12)
    assert wide[1] >= narrow[1] * (1 - 1e-12)


@given(events, usual_confidence)
def test_one_more_event_raises_both_limits(count: int, confidence: float) -> None:
    fewer, more = garwood(count, 1, confidence), garwood(count + 1, 1, confidence)
    assert more[0] > fewer[0]
    assert more[1] > fewer[1]


@given(st.lists(st.tuples(events, exposures | st.just(0.0)), max_size=20))
def test_a_table_of_counts_gives_the_limits_of_each_row(table: list[tuple[int, float]]) -> None:
    together = garwood([count for count, _ in table], [exposure for _, exposure in table])
    one_by_one = [garwood(*row) for row in table]
    assert np.array_equal(np.transpose(together), np.reshape(one_by_one, (-1, 2)), equal_nan=True)


def test_one_exposure_goes_with_a_table_of_any_shape() -> None:
    lower, upper = garwood([[0, 1], [2, 3]], 10)
    assert lower.shape == upper.shape == (2, 2)
    assert lower[0, 0] == 0


def test_single_numbers_give_single_floats() -> None:
    assert all(isinstance(limit, float) for limit in garwood(1, 30))


@pytest.mark.parametrize(
    ("count", "exposure", "named"),
    [
        (-1, 5, "events"),
        (1.5, 5, "events"),
        (float("nan"), 5, "events"),
        ("1", 5, "events"),
        (False, 5, "events"),
        (1, -0.1, "exposure"),
        (1, float("nan"), "exposure"),
        (1, float("inf"), "exposure"),
        (1, None, "exposure"),
        (1, "400", "exposure"),
        ([1, 2], [3, 4, 5], "events and exposure"),
        ([1, 2], [3], "events and exposure"),
        (np.ma.masked_array([1, 2], mask=[True, False]), 5, "events"),
    ],
)
def test_what_makes_no_rate_is_refused_by_name(count: Any, exposure: Any, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        garwood(count, exposure)


@pytest.mark.parametrize("confidence", [0, 1, 95.0, float("nan"), "0.95", None])
def test_a_confidence_that_is_none_is_refused_by_name(confidence: Any) -> None:
    with pytest.raises(ValueError, match=r"^confidence: .*between 0 and 1"):
        garwood(1, 2, confidence)
