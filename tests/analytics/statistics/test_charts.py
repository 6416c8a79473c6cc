"""What holds for every control chart."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from analytics.statistics.control import ControlChart, g_chart, p_chart, t_chart, u_chart

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

TAIL = 0.00135
shares = st.lists(
    st.integers(0, 300).flatmap(lambda size: st.tuples(st.integers(0, size), st.just(size))), max_size=20
)
rates = st.lists(st.tuples(st.integers(0, 500), st.floats(1e-12, 1e15) | st.just(0.0)), max_size=20)
gaps = st.lists(st.integers(0, 10**5), max_size=20)
times = st.lists(st.floats(1e-12, 1e15) | st.just(0.0), max_size=20)


def ordered(chart: ControlChart) -> bool:
    known = ~np.isnan(chart.lower)
    lower, centre, upper = chart.lower[known], chart.centre[known], chart.upper[known]
    return bool(((lower >= 0) & (lower <= centre * (1 + 1e-9)) & (centre <= upper * (1 + 1e-9))).all())


@given(shares)
def test_limits_of_shares_are_ordered_and_within_0_and_1(table: list[tuple[int, int]]) -> None:
    chart = p_chart([seen for seen, _ in table], [size for _, size in table])
    assert ordered(chart)
    assert not (chart.upper > 1).any()


@given(rates)
def test_limits_of_rates_are_ordered(table: list[tuple[int, float]]) -> None:
    chart = u_chart([seen for seen, _ in table], [watched for _, watched in table])
    assert ordered(chart)
    assert len(chart.value) == len(table)


@given(gaps, st.sampled_from(["three_sigma", "probability"]))
def test_limits_of_gaps_are_ordered(values: list[int], limits: str) -> None:
    assert ordered(g_chart(values, limits))


@given(times, st.sampled_from(["power", "probability"]))
def test_limits_of_times_are_ordered(values: list[float], limits: str) -> None:
    assert ordered(t_chart(values, limits))


@given(rates)
def test_probability_limits_of_rates_hold_their_tails(table: list[tuple[int, float]]) -> None:
    watched = np.array([exposure for _, exposure in table])
    chart = u_chart([seen for seen, _ in table], watched, limits="probability")
    for centre, lower, upper, exposure in zip(chart.centre, chart.lower, chart.upper, watched, strict=True):
        if exposure:
            expected = centre * exposure
            assert special.pdtrc(round(upper * exposure), expected) <= TAIL * (1 + 1e-9)
            assert round(lower * exposure) == 0 or special.pdtr(round(lower * exposure) - 1, expected) <= TAIL


@given(st.integers(1, 10**6))
def test_probability_limits_of_gaps_hold_their_tails_and_go_no_farther(mean: int) -> None:
    chart = g_chart([mean], limits="probability")
    stay = math.log1p(-1 / (mean + 1))
    assert math.exp((chart.upper[0] + 1) * stay) <= TAIL * (1 + 1e-9) < math.exp(chart.upper[0] * stay)
    assert -math.expm1(chart.lower[0] * stay) <= TAIL


@given(gaps.filter(any))
def test_a_lower_limit_of_0_shows_no_cluster_of_short_gaps(values: list[int]) -> None:
    assert not g_chart(values).below.any()


@pytest.mark.parametrize("equal", [0.0, 3.0, 0.1, 1234.567])
@pytest.mark.parametrize("limits", ["power", "probability"])
def test_equal_times_are_never_out(equal: float, limits: str) -> None:
    assert not t_chart([equal] * 7, limits).out.any()


def test_points_without_trials_or_exposure_have_no_limits_and_are_not_out() -> None:
    for chart in (p_chart([1, 0], [9, 0]), u_chart([1, 3], [9, 0]), u_chart([1, 3], [9, 0], "probability")):
        assert np.isnan([chart.value[1], chart.lower[1], chart.upper[1]]).all()
        assert not chart.out[1]


def test_events_without_exposure_do_not_raise_the_centre() -> None:
    assert u_chart([1, 3], [9, 0]).centre[0] == u_chart([1], [9]).centre[0]


def test_nothing_gives_an_empty_chart() -> None:
    for chart in (p_chart([], []), u_chart([], []), g_chart([]), g_chart([], "probability"), t_chart([])):
        assert chart.value.shape == chart.out.shape == (0,)


def test_one_time_has_no_moving_range() -> None:
    assert np.isnan(t_chart([5]).upper).all()


def test_a_chart_cannot_be_written_to() -> None:
    chart = p_chart([1, 2], 10)
    for values in (chart.value, chart.centre, chart.upper, chart.above):
        with pytest.raises(ValueError, match="read-only"):
            values[0] = 0


def test_every_chart_says_how_its_limits_were_made() -> None:
    assert p_chart([1], [9]).limits == "three standard deviations"
    assert "0.00135 beyond each" in u_chart([1], [9], "probability").limits
    assert "geometric" in g_chart([1], "probability").limits
    assert "to the power 0.2777" in t_chart([1, 2]).limits


@pytest.mark.parametrize(
    ("chart", "given", "named"),
    [
        (p_chart, ([3], [2]), "events"),
        (p_chart, ([-1], [2]), "events"),
        (p_chart, ([1.5], [2]), "events"),
        (p_chart, ([1], [float("nan")]), "sizes"),
        (p_chart, ([1, 2], [5, 5, 5]), "events and sizes"),
        (p_chart, ([[1, 2]], 5), "events"),
        (u_chart, (["1"], [2]), "events"),
        (u_chart, ([1], [-2]), "exposures"),
        (u_chart, ([1], [float("inf")]), "exposures"),
        (u_chart, ([1], [1e-300]), "exposures"),
        (u_chart, ([1], [2], "two_sigma"), "limits"),
        (g_chart, ([-1],), "uses_between"),
        (g_chart, ([[1]],), "uses_between"),
        (g_chart, ([1], "power"), "limits"),
        (t_chart, ([-1],), "times_between"),
        (t_chart, ([True],), "times_between"),
        (t_chart, ([1e300],), "times_between"),
        (t_chart, ([1], "three_sigma"), "limits"),
    ],
)
def test_what_makes_no_chart_is_refused_by_name(chart: Any, given: tuple[Any, ...], named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        chart(*given)
