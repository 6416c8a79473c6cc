"""What holds for the limits of a proportion whose trials come in clusters."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics.proportions import clustered_wilson, clustered_wilson_of_sums, wilson
from tests.analytics.statistics.strategies import usual_confidence

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

Clusters = list[tuple[int, int]]

methods = st.sampled_from(["saha", "rao_scott"])


@st.composite
def cluster(draw: Any, fewest: int = 1) -> tuple[int, int]:
    tried = draw(st.integers(fewest, 8))
    return draw(st.integers(0, tried)), tried


clusters = st.lists(cluster(), min_size=1, max_size=30)


def columns(of: Clusters) -> tuple[list[int], list[int]]:
    return [won for won, _tried in of], [tried for _won, tried in of]


def sums(of: Clusters) -> tuple[float, ...]:
    won, tried = np.array(of, dtype=float).reshape(-1, 2).T
    return won.sum(), tried.sum(), won.size, (won**2 / tried).sum(), (tried**2).sum()


@given(clusters, methods, usual_confidence)
def test_limits_contain_those_of_independent_trials(of: Clusters, method: str, confidence: float) -> None:
    found = clustered_wilson(*columns(of), confidence, method)
    won, tried = sums(of)[:2]
    lower, upper = wilson(won, tried, confidence)
    assert found.estimate == won / tried
    assert 0 <= found.lower <= lower * (1 + 1e-12)
    assert upper * (1 - 1e-12) <= found.upper <= 1
    if found.design_effect > 1 + 1e-9:
        assert found.upper - found.lower > upper - lower


@given(clusters, methods)
def test_the_design_effect_is_at_least_1_and_missing_only_for_one_cluster(of: Clusters, method: str) -> None:
    effect = clustered_wilson(*columns(of), method=method).design_effect
    assert np.isnan(effect) == (len(of) == 1 and of[0][1] > 1)
    assert np.isnan(effect) or effect >= 1


@given(clusters)
def test_the_design_effect_is_at_most_that_of_clusters_all_won_or_all_lost(of: Clusters) -> None:
    _won, tried, _clusters, _shares, squared = sums(of)
    effect = clustered_wilson(*columns(of)).design_effect
    assert np.isnan(effect) or effect <= squared / tried * (1 + 1e-12)


@given(clusters, methods, usual_confidence, usual_confidence)
def test_more_confidence_never_narrows_the_limits(
    of: Clusters, method: str, one: float, other: float
) -> None:
    less, more = sorted((one, other))
    narrow = clustered_wilson(*columns(of), less, method)
    wide = clustered_wilson(*columns(of), more, method)
    assert wide.lower <= narrow.lower * (1 + 1e-12)
    assert wide.upper >= narrow.upper * (1 - 1e-12)


@given(clusters, methods)
def test_counting_failures_instead_mirrors_estimate_and_limits(of: Clusters, method: str) -> None:
    won, tried = columns(of)
    lost = [all_tried - some for some, all_tried in of]
    found, mirrored = (
        clustered_wilson(won, tried, method=method),
        clustered_wilson(lost, tried, method=method),
    )
    assert (1 - found.upper, 1 - found.lower) == pytest.approx(mirrored[1:3], abs=1e-9)
    assert found.design_effect == pytest.approx(mirrored.design_effect, nan_ok=True)


@given(clusters, methods, st.randoms())
def test_the_order_of_the_clusters_does_not_matter(of: Clusters, method: str, random: Any) -> None:
    shuffled = random.sample(of, len(of))
    assert clustered_wilson(*columns(of), method=method) == pytest.approx(
        clustered_wilson(*columns(shuffled), method=method), rel=1e-12, nan_ok=True
    )


@given(st.lists(cluster(fewest=0), max_size=10), methods)
def test_a_cluster_without_trials_is_left_out(of: Clusters, method: str) -> None:
    tried = [each for each in of if each[1]]
    found, without = (
        clustered_wilson(*columns(of), method=method),
        clustered_wilson(*columns(tried), method=method),
    )
    assert np.array_equal(found, without, equal_nan=True)


@given(st.lists(st.lists(cluster(), max_size=8), max_size=8), usual_confidence)
def test_a_table_of_sums_gives_what_each_rows_clusters_give(table: list[Clusters], confidence: float) -> None:
    rows = np.reshape([sums(of) for of in table], (-1, 5)).T
    won, tried, groups, shares, squared = rows
    together = np.transpose(clustered_wilson_of_sums(won, tried, groups, shares, squared, confidence))
    one_by_one = np.reshape([clustered_wilson(*columns(of), confidence) for of in table], (-1, 4))
    assert together == pytest.approx(one_by_one, rel=1e-12, nan_ok=True)


def test_no_trials_have_no_estimate() -> None:
    for found in (clustered_wilson([], []), clustered_wilson([0, 0], [0, 0]), clustered_wilson(0, 0)):
        assert np.isnan(found).all()


def test_single_numbers_give_single_floats() -> None:
    assert all(isinstance(value, float) for value in clustered_wilson([1, 0], [2, 3]))
    assert all(isinstance(value, float) for value in clustered_wilson_of_sums(1, 5, 2, 0.5, 13))


@pytest.mark.parametrize(
    ("successes", "trials", "named"),
    [
        ([-1], [5], "successes"),
        ([1], [-5], "trials"),
        ([6, 1], [5, 5], "successes"),
        ([0.5], [5], "successes"),
        ([float("nan")], [5], "successes"),
        ([1], [float("inf")], "trials"),
        (["1"], [5], "successes"),
        ([True], [5], "successes"),
        ([[1, 2], [3]], [5], "successes"),
        (np.ma.masked_array([1, 2], mask=[True, False]), [5, 5], "successes"),
        ([1, 2], [3, 4, 5], "successes and trials"),
        ([[1, 2], [1, 2]], [[3, 4], [3, 4]], "successes and trials"),
    ],
)
def test_what_is_no_row_of_clusters_is_refused_by_name(successes: Any, trials: Any, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        clustered_wilson(successes, trials)


@pytest.mark.parametrize("method", ["wilson", "", None])
def test_another_method_is_refused_by_name(method: Any) -> None:
    with pytest.raises(ValueError, match=r"^method: must be 'saha' or 'rao_scott'"):
        clustered_wilson([1], [2], method=method)


@pytest.mark.parametrize("confidence", [0, 1, 95, float("nan"), "0.95", None])
def test_a_confidence_that_is_none_is_refused_by_name(confidence: Any) -> None:
    with pytest.raises(ValueError, match=r"^confidence: "):
        clustered_wilson([1, 2], [2, 3], confidence)
    with pytest.raises(ValueError, match=r"^confidence: "):
        clustered_wilson_of_sums(1, 5, 2, 0.5, 13, confidence)


@pytest.mark.parametrize(
    ("changed", "named"),
    [
        ({"successes": 6}, "successes"),
        ({"successes": 1.5}, "successes"),
        ({"trials": "5"}, "trials"),
        ({"clusters": 6}, "clusters"),
        ({"clusters": 0}, "clusters"),
        ({"clusters": 1.5}, "clusters"),
        ({"squares_over_trials": 1.1}, "squares_over_trials"),
        ({"squares_over_trials": 0.1}, "squares_over_trials"),
        ({"squares_over_trials": float("nan")}, "squares_over_trials"),
        ({"squared_trials": 26}, "squared_trials"),
        ({"squared_trials": 12}, "squared_trials"),
        ({"squared_trials": -1}, "squared_trials"),
        ({"trials": [5, 5], "successes": [1, 1, 1]}, "successes and trials"),
    ],
)
def test_sums_that_no_clusters_have_are_refused_by_name(changed: dict[str, Any], named: str) -> None:
    right = {"successes": 1, "trials": 5, "clusters": 2, "squares_over_trials": 0.5, "squared_trials": 13}
    assert clustered_wilson_of_sums(**right).estimate == 0.2
    with pytest.raises(ValueError, match=f"^{named}: "):
        clustered_wilson_of_sums(**right | changed)
