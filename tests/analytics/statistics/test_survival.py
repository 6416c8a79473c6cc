"""What holds for the survival curve of any set of subjects, and for success at each attempt."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics.proportions import wilson
from analytics.statistics.sequences import (
    KaplanMeier,
    conditional_success,
    cumulative_incidence,
    kaplan_meier,
)
from tests.analytics.statistics.strategies import usual_confidence

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

Records = list[tuple[float, bool]]

moments = st.integers(0, 12).map(float) | st.floats(0, 1e6)
records = st.lists(st.tuples(moments, st.booleans()), min_size=1, max_size=60)
complications = st.lists(
    st.tuples(st.integers(0, 8), st.booleans()).map(lambda pair: (pair[0], pair[1] and pair[0] > 0)),
    max_size=60,
)


def curve(of: Records, confidence: float = 0.95) -> KaplanMeier:
    return kaplan_meier([time for time, _ in of], [event for _, event in of], confidence)


@given(records)
def test_the_share_without_the_event_only_falls_within_0_and_1(of: Records) -> None:
    survival = curve(of).survival
    assert (np.diff(survival, prepend=1.0) <= 0).all()
    assert (survival >= 0).all()


@given(records)
def test_without_censoring_it_is_1_minus_the_share_that_had_the_event(of: Records) -> None:
    result = curve([(time, True) for time, _ in of])
    had = [sum(time <= moment for time, _ in of) / len(of) for moment in result.times]
    assert result.survival == pytest.approx(1 - np.array(had), abs=1e-12)
    assert result.variance == pytest.approx(result.survival * (1 - result.survival) / len(of), abs=1e-12)


@given(records, usual_confidence)
def test_limits_enclose_the_share_and_stay_within_0_and_1(of: Records, confidence: float) -> None:
    result = curve(of, confidence)
    assert (result.lower >= 0).all()
    assert (result.upper <= 1).all()
    assert (result.lower <= result.survival + 1e-12).all()
    assert (result.survival <= result.upper + 1e-12).all()


@given(records)
def test_every_moment_is_listed_once_with_those_still_at_risk(of: Records) -> None:
    result = curve(of)
    assert result.times.tolist() == sorted({time for time, _ in of})
    assert result.at_risk.tolist() == [sum(time >= moment for time, _ in of) for moment in result.times]
    assert result.events.tolist() == [
        sum(event and time == moment for time, event in of) for moment in result.times
    ]


@given(records, st.randoms())
def test_the_order_of_the_subjects_does_not_matter(of: Records, random: Any) -> None:
    assert np.array_equal(curve(of).lower, curve(random.sample(of, len(of))).lower)


@given(st.lists(st.tuples(st.integers(1, 8), st.booleans()), min_size=1, max_size=60))
def test_with_a_single_ending_it_is_1_minus_the_cumulative_incidence(of: list[tuple[int, bool]]) -> None:
    survival = kaplan_meier([attempt for attempt, _ in of], [out for _, out in of])
    share = cumulative_incidence([attempt for attempt, _ in of], ["out" if out else None for _, out in of])
    shared = np.isin(share.attempts, survival.times)
    expected = share.incidence.get("out", np.zeros(shared.size))[shared]
    assert 1 - survival.survival == pytest.approx(expected, abs=1e-12)


def test_one_censored_at_a_time_was_at_risk_at_it() -> None:
    result = kaplan_meier([3, 3], [1, 0])
    assert result.at_risk.tolist() == [2]
    assert result.survival.tolist() == [0.5]


def test_before_and_after_all_events_the_limits_are_the_share_itself() -> None:
    result = kaplan_meier([1, 2], [0, 1])
    assert result.survival.tolist() == result.lower.tolist() == result.upper.tolist() == [1, 0]
    assert result.variance.tolist() == [0, 0]


def test_no_subjects_make_an_empty_curve() -> None:
    result = kaplan_meier([], [])
    assert all(getattr(result, field.name).size == 0 for field in dataclasses.fields(result))


def test_one_subject_may_be_given_without_a_list() -> None:
    assert kaplan_meier(5, True).survival.tolist() == [0]


@pytest.mark.parametrize("result", [kaplan_meier([1], [1]), conditional_success([1], [1])])
def test_a_result_cannot_be_changed(result: Any) -> None:
    for field in dataclasses.fields(result):
        with pytest.raises(ValueError, match="read-only"):
            getattr(result, field.name)[0] = 0
    with pytest.raises(dataclasses.FrozenInstanceError):
        result.lower = np.zeros(1)


@given(complications)
def test_success_at_an_attempt_is_counted_among_those_who_made_it(of: list[tuple[int, bool]]) -> None:
    result = conditional_success([attempt for attempt, _ in of], [out for _, out in of])
    assert result.attempts.tolist() == list(range(1, max((attempt for attempt, _ in of), default=0) + 1))
    for attempt, made, succeeded in zip(result.attempts, result.made, result.succeeded, strict=True):
        assert made == sum(each >= attempt for each, _ in of)
        assert succeeded == sum(out and each == attempt for each, out in of)
    assert result.share == pytest.approx(result.succeeded / result.made)
    assert np.array_equal((result.lower, result.upper), wilson(result.succeeded, result.made))


def test_without_an_attempt_there_is_nothing_to_share_out() -> None:
    assert conditional_success([0, 0], [0, 0]).attempts.size == 0
    assert conditional_success([], []).share.size == 0


WRONG_ROWS: list[Any] = [
    [-1.0],
    [float("nan")],
    [float("inf")],
    [None],
    ["1"],
    [True],
    [[1.0]],
    [[1], [1, 2]],
]


@pytest.mark.parametrize("times", WRONG_ROWS)
def test_times_that_are_none_are_refused_by_name(times: Any) -> None:
    with pytest.raises(ValueError, match=r"^times: "):
        kaplan_meier(times, [1])


@pytest.mark.parametrize("attempt", [*WRONG_ROWS, [0.5]])
def test_attempts_that_are_none_are_refused_by_name(attempt: Any) -> None:
    with pytest.raises(ValueError, match=r"^attempt: "):
        conditional_success(attempt, [1])


@pytest.mark.parametrize(
    "told",
    [
        *[[2], [0.5], [-1], ["yes"], [None], [float("nan")], [[1]], [[True], [True, False]]],
        np.ma.masked_array([True], mask=[True]),
    ],
)
def test_what_is_neither_yes_nor_no_is_refused_by_name(told: Any) -> None:
    with pytest.raises(ValueError, match=r"^events: "):
        kaplan_meier([1], told)
    with pytest.raises(ValueError, match=r"^succeeded: "):
        conditional_success([1], told)


@pytest.mark.parametrize("confidence", [0, 1, 95.0, float("nan"), "0.95", None])
def test_a_confidence_that_is_none_is_refused_by_name(confidence: Any) -> None:
    with pytest.raises(ValueError, match=r"^confidence: "):
        kaplan_meier([1], [1], confidence)
    with pytest.raises(ValueError, match=r"^confidence: "):
        conditional_success([1], [1], confidence)


def test_unequal_lengths_are_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"^times and events: .* 2 and 1"):
        kaplan_meier([1, 2], [1])
    with pytest.raises(ValueError, match=r"^attempt and succeeded: .* 1 and 2"):
        conditional_success([1], [1, 0])


def test_a_success_without_an_attempt_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^succeeded: there is no success without an attempt"):
        conditional_success([0, 1], [1, 0])
