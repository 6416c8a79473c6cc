"""What holds for the cumulative incidence of any set of complications."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics.sequences import CumulativeIncidence, cumulative_incidence

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

Records = list[tuple[int, str | None]]

causes = st.sampled_from(["out", "secured", "left", "surgery", "died"])
records = st.lists(st.tuples(st.integers(0, 8), st.none() | causes), min_size=1, max_size=60)
uncensored = st.lists(st.tuples(st.integers(0, 8), causes), min_size=1, max_size=60)


def curve(of: Records) -> CumulativeIncidence:
    return cumulative_incidence([attempt for attempt, _ in of], [cause for _, cause in of])


@given(records)
def test_the_grid_is_every_attempt_to_the_largest_from_0_only_where_one_is_0(of: Records) -> None:
    made = [attempt for attempt, _ in of]
    result = curve(of)
    assert result.attempts.tolist() == list(range(0 if 0 in made else 1, max(made) + 1))
    assert result.at_risk.tolist() == [sum(each >= attempt for each in made) for attempt in result.attempts]


@given(records)
def test_exactly_the_causes_that_occurred_are_named_in_order(of: Records) -> None:
    occurred = sorted({cause for _, cause in of if cause is not None})
    result = curve(of)
    assert list(result.incidence) == list(result.variance) == occurred


@given(records)
def test_shares_only_rise_and_never_pass_1_together(of: Records) -> None:
    result = curve(of)
    together = np.zeros(result.attempts.size)
    for share in result.incidence.values():
        assert (np.diff(share, prepend=0.0) >= 0).all()
        assert (share <= 1).all()
        together += share
    assert (together <= 1 + 1e-12).all()


@given(records)
def test_shares_and_what_is_still_open_make_1(of: Records) -> None:
    """Still open: the product over attempts of the share of those at risk who did not end then."""
    result = curve(of)
    ended = [sum(a == attempt and c is not None for a, c in of) for attempt in result.attempts]
    still_open = np.cumprod(1 - np.array(ended) / result.at_risk)
    assert sum(result.incidence.values()) + still_open == pytest.approx(np.ones(still_open.size))


@given(uncensored)
def test_without_censoring_shares_and_variances_are_those_of_plain_proportions(of: Records) -> None:
    result = curve(of)
    for cause, share in result.incidence.items():
        plain = [sum(a <= attempt and c == cause for a, c in of) / len(of) for attempt in result.attempts]
        assert share == pytest.approx(plain, abs=1e-12)
        assert result.variance[cause] == pytest.approx(share * (1 - share) / len(of), abs=1e-12)


@given(records)
def test_variances_are_at_least_0_and_finite(of: Records) -> None:
    for variance in curve(of).variance.values():
        assert (variance >= 0).all()
        assert np.isfinite(variance).all()


@given(records)
def test_a_single_cause_has_the_variance_of_greenwood(of: Records) -> None:
    """Then the share is 1 - S, and Var(S) is S² times the sum of d/(n(n - d)), 0 where nobody stays."""
    result = curve([(attempt, cause and "ended") for attempt, cause in of])
    if not result.incidence:
        return
    events = np.diff(np.append(0, [sum(a <= t and c is not None for a, c in of) for t in result.attempts]))
    at_risk = result.at_risk
    stayed = at_risk - events
    growth = np.divide(events, at_risk * stayed, out=np.zeros(events.size), where=stayed > 0)
    greenwood = np.cumprod(stayed / at_risk) ** 2 * np.cumsum(growth)
    assert result.variance["ended"] == pytest.approx(greenwood, abs=1e-12)


@given(records, st.randoms())
def test_the_order_of_the_complications_does_not_matter(of: Records, random: Any) -> None:
    shuffled = random.sample(of, len(of))
    one, other = curve(of), curve(shuffled)
    assert all(np.array_equal(one.incidence[cause], other.incidence[cause]) for cause in one.incidence)
    assert all(np.array_equal(one.variance[cause], other.variance[cause]) for cause in one.variance)


@given(records, st.integers(2, 5))
def test_more_of_the_same_keeps_the_curve_and_divides_the_variance(of: Records, times: int) -> None:
    one, many = curve(of), curve(of * times)
    for cause, share in one.incidence.items():
        assert many.incidence[cause] == pytest.approx(share)
        assert many.variance[cause] == pytest.approx(one.variance[cause] / times, abs=1e-12)


@given(records, st.sampled_from(["surgery", "left"]), st.sampled_from(["out", "secured"]))
def test_calling_one_competing_ending_by_anothers_name_leaves_the_rest_alone(
    of: Records, old: str, new: str
) -> None:
    before = curve(of)
    after = curve([(attempt, new if cause == old else cause) for attempt, cause in of])
    for cause in set(before.incidence) - {old, new}:
        assert np.array_equal(after.incidence[cause], before.incidence[cause])


def test_a_gap_in_the_attempts_is_on_the_grid_and_changes_nothing() -> None:
    result = cumulative_incidence([1, 4], ["out", "left"])
    assert result.attempts.tolist() == [1, 2, 3, 4]
    assert result.at_risk.tolist() == [2, 1, 1, 1]
    assert result.incidence["out"].tolist() == [0.5, 0.5, 0.5, 0.5]


def test_a_share_that_rounding_would_lift_above_1_is_1() -> None:
    result = cumulative_incidence([1, 3, 5, 5, 5], ["out", None, "out", "out", "out"])
    assert result.incidence["out"][-1] == 1


def test_one_censored_at_an_attempt_was_at_risk_at_it() -> None:
    result = cumulative_incidence([1, 1], ["out", None])
    assert result.at_risk.tolist() == [2]
    assert result.incidence["out"].tolist() == [0.5]


def test_only_censored_complications_have_a_grid_and_no_curve() -> None:
    result = cumulative_incidence([0, 2], [None, None])
    assert result.attempts.tolist() == [0, 1, 2]
    assert result.at_risk.tolist() == [2, 1, 1]
    assert result.incidence == result.variance == {}


def test_without_complications_all_is_empty() -> None:
    result = cumulative_incidence([], [])
    assert result.attempts.size == result.at_risk.size == 0
    assert result.incidence == result.variance == {}


def test_a_single_complication_may_be_given_without_a_list() -> None:
    assert cumulative_incidence(2, "out").incidence["out"].tolist() == [0, 1]
    assert cumulative_incidence(1, None).at_risk.tolist() == [1]


def test_arrays_serve_as_well_as_lists() -> None:
    result = cumulative_incidence(np.array([1.0, 2.0]), np.array(["out", None], dtype=object))
    assert result.incidence["out"].tolist() == [0.5, 0.5]


def test_a_result_cannot_be_changed() -> None:
    result: Any = cumulative_incidence([1, 2], ["out", "left"])
    with pytest.raises(dataclasses.FrozenInstanceError):
        result.attempts = np.arange(2)
    with pytest.raises(TypeError):
        result.incidence["out"] = np.zeros(2)
    for array in (result.attempts, result.at_risk, result.incidence["out"], result.variance["left"]):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


@pytest.mark.parametrize(
    ("attempt", "cause", "named"),
    [
        ([-1], ["out"], "attempt"),
        ([1.5], ["out"], "attempt"),
        ([float("nan")], ["out"], "attempt"),
        ([None], ["out"], "attempt"),
        (["1"], ["out"], "attempt"),
        ([True], ["out"], "attempt"),
        ([[1, 2]], ["out", "out"], "attempt"),
        ([1], [0], "cause"),
        ([1], [float("nan")], "cause"),
        ([1], [["out"]], "cause"),
        ([1], 1, "cause"),
        ([1, 2, 3], "out", "attempt and cause"),
        ([1, 2], ["out"], "attempt and cause"),
        ([], ["out"], "attempt and cause"),
        (1, ["out", "left"], "attempt and cause"),
    ],
)
def test_records_that_make_no_curve_are_refused_by_name(attempt: Any, cause: Any, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        cumulative_incidence(attempt, cause)
