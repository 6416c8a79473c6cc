"""What holds for the limits of any proportion."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from analytics.statistics.proportions import wilson
from tests.analytics.statistics.strategies import any_confidence, proportions, usual_confidence

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]


@given(proportions(2**53), any_confidence, st.booleans())
@example((598980551970203, 598980551970204), 0.99, True)  # rounded, its upper root would be just above 1
def test_limits_enclose_the_proportion_and_stay_within_0_and_1(
    counts: tuple[int, int], confidence: float, continuity: bool
) -> None:
    successes, trials = counts
    lower, upper = wilson(successes, trials, confidence, continuity)
    assert 0 <= lower <= successes / trials * (1 + 1e-15)
    assert successes / trials * (1 - 1e-15) <= upper <= 1


@given(st.integers(1, 2**53), any_confidence, st.booleans())
def test_none_and_all_have_exact_limits(trials: int, confidence: float, continuity: bool) -> None:
    assert wilson(0, trials, confidence, continuity)[0] == 0
    assert wilson(trials, trials, confidence, continuity)[1] == 1


@given(proportions(), usual_confidence, st.booleans())
def test_counting_failures_instead_mirrors_the_limits(
    counts: tuple[int, int], confidence: float, continuity: bool
) -> None:
    successes, trials = counts
    lower, upper = wilson(successes, trials, confidence, continuity)
    mirrored = wilson(trials - successes, trials, confidence, continuity)
    assert (1 - upper, 1 - lower) == pytest.approx(mirrored, rel=1e-12, abs=1e-12)


@given(proportions(), usual_confidence, usual_confidence, st.booleans())
def test_more_confidence_never_narrows_the_limits(
    counts: tuple[int, int], one: float, other: float, continuity: bool
) -> None:
    less, more = sorted((one, other))
    narrow, wide = wilson(*counts, less, continuity), wilson(*counts, more, continuity)
    assert wide[0] <= narrow[0] * (1 + 1e-12)
    assert wide[1] >= narrow[1] * (1 - 1e-12)


@given(proportions(), usual_confidence)
def test_the_continuity_correction_never_narrows_the_limits(
    counts: tuple[int, int], confidence: float
) -> None:
    plain, corrected = wilson(*counts, confidence), wilson(*counts, confidence, continuity=True)
    assert corrected[0] <= plain[0]
    assert corrected[1] >= plain[1]


@given(proportions(), usual_confidence)
def test_one_more_success_raises_both_limits(counts: tuple[int, int], confidence: float) -> None:
    successes, trials = counts
    fewer, more = wilson(successes, trials + 1, confidence), wilson(successes + 1, trials + 1, confidence)
    assert more[0] > fewer[0]
    assert more[1] > fewer[1]


@given(proportions(), usual_confidence)
def test_each_limit_is_the_chance_at_which_the_score_test_turns(
    counts: tuple[int, int], confidence: float
) -> None:
    """Wilson's own definition: at either limit the proportion lies z standard errors away."""
    successes, trials = counts
    z = np.sqrt(wilson(0, 1, confidence)[1] / (1 - wilson(0, 1, confidence)[1]))  # 0 of 1: z²/(1 + z²)
    for limit in wilson(successes, trials, confidence):
        distance = abs(successes / trials - limit)
        assert distance == pytest.approx(z * np.sqrt(limit * (1 - limit) / trials), rel=1e-6, abs=1e-9)


@given(st.lists(proportions() | st.just((0, 0)), max_size=20), st.booleans())
def test_a_table_of_counts_gives_the_limits_of_each_row(
    table: list[tuple[int, int]], continuity: bool
) -> None:
    successes, trials = np.array(table, dtype=int).reshape(-1, 2).T
    together = wilson(successes, trials, continuity=continuity)
    one_by_one = [wilson(*row, continuity=continuity) for row in table]
    assert np.array_equal(np.transpose(together), np.reshape(one_by_one, (-1, 2)), equal_nan=True)


def test_one_number_goes_with_a_table_of_any_shape() -> None:
    lower, upper = wilson(3, [[10, 20], [0 + 3, 40]])
    assert lower.shape == upper.shape == (2, 2)
    assert upper[1, 0] == 1


def test_single_numbers_give_single_floats() -> None:
    assert all(isinstance(limit, float) for limit in wilson(1, 3))


def test_limits_of_many_rows_are_missing_only_where_nothing_was_tried() -> None:
    lower, upper = wilson([0, 0, 2], [0, 5, 2])
    assert np.isnan(lower).tolist() == np.isnan(upper).tolist() == [True, False, False]


@pytest.mark.parametrize(
    ("successes", "trials", "named"),
    [
        (-1, 5, "successes"),
        (1, -5, "trials"),
        (6, 5, "successes"),
        (1, 0, "successes"),
        ([1, 6], [5, 5], "successes"),
        (0.5, 5, "successes"),
        (1, 5.5, "trials"),
        (float("nan"), 5, "successes"),
        (1, float("nan"), "trials"),
        (1, float("inf"), "trials"),
        (None, 5, "successes"),
        ("1", 5, "successes"),
        (1, ["5", "6"], "trials"),
        (True, 5, "successes"),
        (1 + 0j, 5, "successes"),
        ([[1, 2], [3]], 5, "successes"),
        (1, {"of": 5}, "trials"),
        (1, 2**53 + 2, "trials"),
        (1, 10**30, "trials"),
        (np.ma.masked_array([1, 2], mask=[True, False]), 5, "successes"),
        ([1, 2], [3, 4, 5], "successes and trials"),
        ([1], [3, 4], "successes and trials"),
        ([[1], [2]], [3, 4], "successes and trials"),
    ],
)
def test_counts_that_make_no_proportion_are_refused_by_name(successes: Any, trials: Any, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        wilson(successes, trials)


@pytest.mark.parametrize(
    "confidence", [0, 1, 0.0, 1.0, -0.1, 95, 1.5, float("nan"), "0.95", None, [0.9, 0.95]]
)
def test_a_confidence_that_is_none_is_refused_by_name(confidence: Any) -> None:
    with pytest.raises(ValueError, match=r"^confidence: .*between 0 and 1"):
        wilson(1, 2, confidence)
