"""What holds for Clopper and Pearson's and for the mid-p limits of any proportion."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analytics.statistics.proportions import clopper_pearson, mid_p
from tests.analytics.statistics.strategies import any_confidence, proportions, usual_confidence

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

Limits = Callable[..., tuple[Any, Any]]

functions = st.sampled_from([clopper_pearson, mid_p])


@given(proportions(10**9), any_confidence)
@example((32252800173091, 94384679523517), 0.001)  # the quantiles of so great counts are rounded past it
@example((187177680966213, 244804522259919), 0.001)
def test_exact_limits_enclose_the_proportion_and_stay_within_0_and_1(
    counts: tuple[int, int], confidence: float
) -> None:
    lower, upper = clopper_pearson(*counts, confidence)
    assert 0 <= lower <= counts[0] / counts[1] <= upper <= 1


@given(proportions(), st.floats(0.11, 1, exclude_max=True))
def test_mid_p_limits_enclose_the_proportion_from_a_confidence_of_11_percent(
    counts: tuple[int, int], confidence: float
) -> None:
    lower, upper = mid_p(*counts, confidence)
    assert 0 <= lower <= counts[0] / counts[1] * (1 + 1e-12)
    assert counts[0] / counts[1] * (1 - 1e-12) <= upper <= 1


@given(proportions(), any_confidence)
@example((1, 10**6), 1e-9)
@example((1, 2), 1 - 2**-53)
def test_no_counts_and_no_confidence_make_mid_p_limits_warn_or_cross(
    counts: tuple[int, int], confidence: float
) -> None:
    lower, upper = mid_p(*counts, confidence)
    assert 0 <= lower <= upper * (1 + 1e-12)
    assert upper <= 1


@given(proportions(), usual_confidence)
def test_mid_p_limits_lie_within_the_exact_ones(counts: tuple[int, int], confidence: float) -> None:
    exact, half = clopper_pearson(*counts, confidence), mid_p(*counts, confidence)
    assert exact[0] <= half[0] * (1 + 1e-12)
    assert half[1] <= exact[1] * (1 + 1e-12)


@given(functions, st.integers(1, 10**9), any_confidence)
def test_none_and_all_have_exact_limits(limits: Limits, trials: int, confidence: float) -> None:
    assert limits(0, trials, confidence)[0] == 0
    assert limits(trials, trials, confidence)[1] == 1


@given(functions, proportions(), usual_confidence)
def test_counting_failures_instead_mirrors_the_limits(
    limits: Limits, counts: tuple[int, int], confidence: float
) -> None:
    successes, trials = counts
    lower, upper = limits(successes, trials, confidence)
    mirrored = limits(trials - successes, trials, confidence)
    assert (1 - upper, 1 - lower) == pytest.approx(mirrored, rel=1e-9, abs=1e-11)


@given(functions, proportions(), usual_confidence, usual_confidence)
def test_more_confidence_never_narrows_the_limits(
    limits: Limits, counts: tuple[int, int], one: float, other: float
) -> None:
    less, more = sorted((one, other))
    narrow, wide = limits(*counts, less), limits(*counts, more)
    assert wide[0] <= narrow[0] * (1 + 1e-10)
    assert wide[1] >= narrow[1] * (1 - 1e-10)


@given(functions, proportions(10**4), st.integers(2, 50), st.floats(0.8, 0.999))
def test_more_trials_with_the_same_share_narrow_the_limits(
    limits: Limits, counts: tuple[int, int], times: int, confidence: float
) -> None:
    few, many = limits(*counts, confidence), limits(counts[0] * times, counts[1] * times, confidence)
    assert few[0] <= many[0] * (1 + 1e-10)
    assert few[1] >= many[1] * (1 - 1e-10)


@given(functions, proportions(), usual_confidence)
def test_one_more_success_raises_both_limits(
    limits: Limits, counts: tuple[int, int], confidence: float
) -> None:
    successes, trials = counts
    fewer, more = limits(successes, trials + 1, confidence), limits(successes + 1, trials + 1, confidence)
    assert more[0] > fewer[0]
    assert more[1] > fewer[1]


@given(functions, st.lists(proportions() | st.just((0, 0)), max_size=20))
def test_a_table_of_counts_gives_the_limits_of_each_row(limits: Limits, table: list[tuple[int, int]]) -> None:
    successes, trials = np.array(table, dtype=int).reshape(-1, 2).T
    together = np.transpose(limits(successes, trials))
    one_by_one = np.reshape([limits(*row) for row in table], (-1, 2))
    assert together == pytest.approx(one_by_one, rel=1e-11, nan_ok=True)


@pytest.mark.parametrize("limits", [clopper_pearson, mid_p])
def test_one_number_goes_with_a_table_of_any_shape(limits: Limits) -> None:
    lower, upper = limits(3, [[10, 20], [3, 40]])
    assert lower.shape == upper.shape == (2, 2)
    assert upper[1, 0] == 1


@pytest.mark.parametrize("limits", [clopper_pearson, mid_p])
def test_single_numbers_give_single_floats(limits: Limits) -> None:
    assert all(isinstance(limit, float) for limit in limits(1, 3))


@pytest.mark.parametrize("limits", [clopper_pearson, mid_p])
def test_limits_of_many_rows_are_missing_only_where_nothing_was_tried(limits: Limits) -> None:
    lower, upper = limits([0, 0, 2], [0, 5, 2])
    assert np.isnan(lower).tolist() == np.isnan(upper).tolist() == [True, False, False]


@pytest.mark.parametrize("limits", [clopper_pearson, mid_p])
@pytest.mark.parametrize(
    ("successes", "trials", "named"),
    [
        (-1, 5, "successes"),
        (1, -5, "trials"),
        (6, 5, "successes"),
        (0.5, 5, "successes"),
        (1, 5.5, "trials"),
        (float("nan"), 5, "successes"),
        (1, float("inf"), "trials"),
        ("1", 5, "successes"),
        (True, 5, "successes"),
        ([[1, 2], [3]], 5, "successes"),
        (np.ma.masked_array([1, 2], mask=[True, False]), 5, "successes"),
        ([1, 2], [3, 4, 5], "successes and trials"),
    ],
)
def test_counts_that_make_no_proportion_are_refused_by_name(
    limits: Limits, successes: Any, trials: Any, named: str
) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        limits(successes, trials)


@pytest.mark.parametrize("limits", [clopper_pearson, mid_p])
@pytest.mark.parametrize("confidence", [0, 1, 0.0, 1.0, -0.1, 95, float("nan"), "0.95", None])
def test_a_confidence_that_is_none_is_refused_by_name(limits: Limits, confidence: Any) -> None:
    with pytest.raises(ValueError, match=r"^confidence: .*between 0 and 1"):
        limits(1, 2, confidence)
