"""What holds for every cumulative sum, its threshold and the rule "k events within m uses"."""

from __future__ import annotations

import itertools
import math
import time
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics.control import (
    average_run_length,
    bernoulli_cusum,
    binomial_cusum,
    cusum_design,
    events_within,
    expected_crossings,
    risk_adjusted_average_run_length,
    risk_adjusted_cusum,
)

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

outcomes = st.lists(st.integers(0, 1), max_size=60)
chances = st.floats(0.001, 0.9)
odds_ratios = st.floats(1.2, 20) | st.floats(0.05, 0.8)
thresholds = st.floats(0.05, 8)
unresetting = 1e6


@given(outcomes, chances, odds_ratios, thresholds)
def test_a_path_is_never_negative_and_alarms_are_where_it_reaches_the_threshold(
    seen: list[int], p0: float, odds_ratio: float, threshold: float
) -> None:
    result = bernoulli_cusum(seen, p0, odds_ratio, threshold)
    assert (result.path >= 0).all()
    assert result.path.shape == (len(seen),)
    assert (result.path[result.alarms] >= threshold * (1 - 1e-8)).all()
    quiet = np.delete(result.path, result.alarms)
    assert (quiet < threshold).all()


@given(outcomes, chances, odds_ratios, thresholds)
def test_after_an_alarm_the_sum_begins_anew(
    seen: list[int], p0: float, odds_ratio: float, threshold: float
) -> None:
    result = bernoulli_cusum(seen, p0, odds_ratio, threshold)
    if result.alarms.size:
        first = result.alarms[0] + 1
        anew = bernoulli_cusum(seen[first:], p0, odds_ratio, threshold)
        assert np.array_equal(result.path[first:], anew.path)
        assert np.array_equal(result.alarms[1:], anew.alarms + first)


@given(outcomes, chances, odds_ratios, thresholds)
def test_one_risk_for_all_is_the_sum_without_adjustment(
    seen: list[int], p0: float, odds_ratio: float, threshold: float
) -> None:
    plain, adjusted = (
        bernoulli_cusum(seen, p0, odds_ratio, threshold),
        risk_adjusted_cusum(seen, [p0] * len(seen), odds_ratio, threshold),
    )
    assert np.array_equal(plain.path, adjusted.path)
    assert np.array_equal(plain.alarms, adjusted.alarms)


@given(outcomes.filter(len), chances, odds_ratios, thresholds)
def test_a_period_of_one_use_is_a_single_outcome(
    seen: list[int], p0: float, odds_ratio: float, threshold: float
) -> None:
    by_period = binomial_cusum(seen, 1, p0, odds_ratio, threshold)
    assert np.array_equal(by_period.path, bernoulli_cusum(seen, p0, odds_ratio, threshold).path)


@given(st.lists(st.lists(st.integers(0, 1), min_size=12, max_size=12), min_size=1, max_size=6), thresholds)
def test_many_devices_together_are_each_device_alone(rows: list[list[int]], threshold: float) -> None:
    together = bernoulli_cusum(rows, 0.1, 2.0, threshold)
    for number, row in enumerate(rows):
        alone = bernoulli_cusum(row, 0.1, 2.0, threshold)
        assert np.array_equal(together.path[number], alone.path)
        assert np.array_equal(together.alarms[together.alarms[:, 0] == number, 1], alone.alarms)


@given(st.permutations([0, 0, 0, 1, 1]), chances, odds_ratios)
def test_a_baseline_odds_ratio_is_a_change_of_risk(order: list[int], p0: float, ratio: float) -> None:
    """From odds R0 times those of p to RA times: as from the risk at R0, by RA/R0."""
    moved = 1.5 * p0 / (1 - p0 + 1.5 * p0)
    one = risk_adjusted_cusum(order, p0, 1.5 * ratio, unresetting, baseline_ratio=1.5).path
    other = risk_adjusted_cusum(order, moved, ratio, unresetting).path
    assert one == pytest.approx(other, rel=1e-9, abs=1e-12)


def test_a_sum_that_meets_the_threshold_has_reached_it() -> None:
    """Two events m - 1 uses apart reach a threshold of one event's step exactly; floats fall short by a hair."""
    design = cusum_design(0.01, 1.982316, 250.0)
    assert design.states == 70
    gap = [0] * 68
    assert bernoulli_cusum([1, *gap, 1], 0.01, design.odds_ratio, design.threshold).alarms.tolist() == [69]
    assert bernoulli_cusum([1, 0, *gap, 1], 0.01, design.odds_ratio, design.threshold).alarms.size == 0


def test_a_result_says_its_boundary_and_its_reset() -> None:
    result = bernoulli_cusum([1], 0.01, 2.0, 1.0)
    assert result.boundary == cusum_design(0.01, 2.0, 500.0).boundary
    assert "at or above" in result.boundary
    assert result.reset == "back to 0 after each alarm"
    assert result.threshold == 1.0


def test_two_thousand_devices_over_ten_years_take_no_time() -> None:
    months = np.random.default_rng(1).random((2000, 120)) < 0.01
    best = math.inf
    for _each in range(5):
        start = time.perf_counter()
        bernoulli_cusum(months, 0.01, 2.0, 2.0)
        best = min(best, time.perf_counter() - start)
    assert best < 0.1


def test_one_number_of_uses_serves_all_periods_and_what_is_given_stays_as_it_is() -> None:
    events, uses = np.array([0.0, 2.0, 1.0]), np.full(3, 30.0)
    together = binomial_cusum(events, uses, 0.02, 2.0, 1.3)
    assert np.array_equal(binomial_cusum(events, 30, 0.02, 2.0, 1.3).path, together.path)
    assert np.array_equal(binomial_cusum([events], 30, 0.02, 2.0, 1.3).path[0], together.path)
    assert events.tolist() == [0, 2, 1] and uses.tolist() == [30, 30, 30]
    assert binomial_cusum(2, 30, 0.02, 2.0, 1.3).path.shape == (1,)


def test_nothing_gives_an_empty_path() -> None:
    for result in (bernoulli_cusum([], 0.1, 2.0, 1.0), binomial_cusum([], [], 0.1, 2.0, 1.0)):
        assert result.path.shape == result.alarms.shape == (0,)


def test_paths_cannot_be_written_to() -> None:
    result = bernoulli_cusum([1, 1, 1], 0.01, 2.0, 1.0)
    for values in (result.path, result.alarms):
        with pytest.raises(ValueError, match="read-only"):
            values[0] = 0


@given(st.floats(0.002, 0.2), odds_ratios, st.floats(20, 5000))
def test_a_threshold_runs_as_long_as_asked_and_says_so(p0: float, odds_ratio: float, wanted: float) -> None:
    design = cusum_design(p0, odds_ratio, wanted)
    assert design.in_control_arl >= wanted
    assert design.in_control_arl == average_run_length(p0, p0, design.odds_ratio, design.threshold)
    assert design.out_of_control_arl == average_run_length(design.p1, p0, design.odds_ratio, design.threshold)
    assert design.odds_ratio == pytest.approx(odds_ratio, rel=0.05)
    assert design.method.startswith("exact Markov chain") or design.method.endswith("an approximation")


@given(st.floats(0.002, 0.2), st.floats(1.3, 10), thresholds, st.floats(0.001, 0.5), st.floats(0.001, 0.5))
def test_more_events_are_seen_sooner(p0: float, ratio: float, h: float, one: float, other: float) -> None:
    few, many = sorted((one, other))
    rare, often = (average_run_length(p, p0, ratio, h) for p in (few, many))
    assert often <= rare * (1 + 1e-6)


@given(st.floats(0.002, 0.2), odds_ratios, thresholds, thresholds)
def test_a_higher_threshold_runs_longer(p0: float, ratio: float, one: float, other: float) -> None:
    low, high = sorted((one, other))
    shorter, longer = (average_run_length(p0, p0, ratio, h) for h in (low, high))
    assert shorter <= longer * (1 + 1e-9)


def test_a_longer_run_or_a_commoner_event_asks_for_a_higher_threshold() -> None:
    by_run = [cusum_design(0.01, 2.0, run).threshold for run in (200.0, 500.0, 1000.0, 5000.0, 50000.0)]
    assert by_run == sorted(by_run)
    by_chance = [cusum_design(p0, 2.0, 5000.0).threshold for p0 in (0.002, 0.005, 0.01, 0.02, 0.05, 0.1)]
    assert by_chance == sorted(by_chance)


def test_a_chain_of_ten_thousand_states_is_fast() -> None:
    start = time.perf_counter()
    design = cusum_design(0.0001, 2.0, 60000.0)
    assert design.states > 10_000
    assert time.perf_counter() - start < 1


def test_an_odds_ratio_next_to_1_is_answered_too() -> None:
    start = time.perf_counter()
    design = cusum_design(0.5, 1.000001, 100000.0)
    assert design.out_of_control_arl <= design.in_control_arl
    assert time.perf_counter() - start < 2


def test_where_no_whole_steps_are_near_a_fraction_is_named() -> None:
    design = cusum_design(0.3, 2.0, 500.0)
    assert design.odds_ratio == 2
    assert design.steps == Fraction(37, 14)
    assert design.method == "Markov chain with the ratio of steps taken as 37/14, an approximation"


def test_a_sum_that_can_never_rise_runs_for_ever() -> None:
    assert average_run_length(0, 0.01, 2.0, 1.0) == math.inf
    assert average_run_length(1, 0.01, 0.5, 1.0) == math.inf
    assert risk_adjusted_average_run_length([0.0, 0.0], 2.0, 1.0) == math.inf


def test_sure_events_reach_the_threshold_in_so_many_steps() -> None:
    design = cusum_design(0.01, 2.0, 5000.0)
    expected = math.ceil(design.states / (design.steps - 1))
    assert average_run_length(1, 0.01, design.odds_ratio, design.threshold) == expected


def test_patients_of_one_risk_run_about_as_long_as_the_chain() -> None:
    design = cusum_design(0.02, 2.0, 1000.0)
    mixed = risk_adjusted_average_run_length([0.02], design.odds_ratio, design.threshold)
    assert mixed == pytest.approx(design.in_control_arl, rel=0.02)


def test_true_odds_above_the_risks_are_seen_sooner() -> None:
    risks = [0.01, 0.05, 0.2]
    runs = [risk_adjusted_average_run_length(risks, 2.0, 3.0, true_ratio=ratio) for ratio in (1.0, 1.5, 2.0)]
    assert runs == sorted(runs, reverse=True)


def test_shares_may_be_in_any_unit() -> None:
    one, other = (
        risk_adjusted_average_run_length([0.01, 0.1], 2.0, 3.0, shares=shares)
        for shares in ([3, 1], [75, 25])
    )
    assert one == pytest.approx(other, rel=1e-12)


@given(
    st.lists(st.integers(1, 200), unique=True, max_size=20).map(sorted), st.integers(1, 5), st.integers(5, 60)
)
def test_alarms_of_k_within_m_are_those_of_every_window(at: list[int], k: int, m: int) -> None:
    expected = [number for number, last in enumerate(at) if sum(last - m < one <= last for one in at) >= k]
    assert events_within(at, 200, k, m).alarms.tolist() == expected


@given(st.integers(1, 6), st.integers(6, 50), st.integers(1, 2000), st.floats(0.0001, 0.99))
def test_a_chance_of_false_alarm_is_a_chance(k: int, m: int, uses: int, p0: float) -> None:
    assert 0 <= events_within([], uses, k, m, p0).false_alarm <= 1


def test_without_a_chance_of_events_there_is_none_of_false_alarm() -> None:
    assert math.isnan(events_within([3], 10, 1, 5).false_alarm)


def test_one_event_is_a_cluster_of_one_with_an_exact_chance() -> None:
    result = events_within([3], 10, 1, 5, 0.1)
    assert result.alarms.tolist() == [0]
    assert result.false_alarm == pytest.approx(1 - 0.9**10, rel=1e-12)


def test_fewer_uses_than_events_asked_for_are_never_a_cluster() -> None:
    assert events_within([], 2, 3, 5, 0.5).false_alarm == 0


BERNOULLI = {"outcomes": [0, 1], "p0": 0.1, "odds_ratio": 2.0, "threshold": 1.0}
BINOMIAL = {"events": [0, 1], "uses": [5, 5], "p0": 0.1, "odds_ratio": 2.0, "threshold": 1.0}
ADJUSTED = {"outcomes": [0, 1], "expected": [0.1, 0.2], "odds_ratio": 2.0, "threshold": 1.0}
DESIGN = {"p0": 0.1, "odds_ratio": 2.0, "in_control_arl": 500.0}
RUN = {"p": 0.1, "p0": 0.1, "odds_ratio": 2.0, "threshold": 1.0}
MIX = {"expected": [0.1, 0.2], "odds_ratio": 2.0, "threshold": 1.0}
WITHIN = {"events_at": [3, 5], "uses": 10, "k": 2, "m": 4, "p0": 0.1}


@pytest.mark.parametrize(
    ("function", "right", "wrong", "named"),
    [
        (bernoulli_cusum, BERNOULLI, {"outcomes": [0, 2]}, "outcomes"),
        (bernoulli_cusum, BERNOULLI, {"outcomes": [0, float("nan")]}, "outcomes"),
        (bernoulli_cusum, BERNOULLI, {"outcomes": ["0"]}, "outcomes"),
        (bernoulli_cusum, BERNOULLI, {"p0": 0.0}, "p0"),
        (bernoulli_cusum, BERNOULLI, {"p0": 1}, "p0"),
        (bernoulli_cusum, BERNOULLI, {"odds_ratio": 1.0}, "odds_ratio"),
        (bernoulli_cusum, BERNOULLI, {"odds_ratio": -2.0}, "odds_ratio"),
        (bernoulli_cusum, BERNOULLI, {"odds_ratio": 1e6}, "odds_ratio"),
        (bernoulli_cusum, BERNOULLI, {"odds_ratio": [2.0, 3.0]}, "odds_ratio"),
        (bernoulli_cusum, BERNOULLI, {"threshold": 0}, "threshold"),
        (bernoulli_cusum, BERNOULLI, {"threshold": float("inf")}, "threshold"),
        (binomial_cusum, BINOMIAL, {"events": [0, 6]}, "events"),
        (binomial_cusum, BINOMIAL, {"uses": [5, 5, 5]}, "events and uses"),
        (risk_adjusted_cusum, ADJUSTED, {"expected": [0.1, 1.2]}, "expected"),
        (risk_adjusted_cusum, ADJUSTED, {"expected": [0.1]}, "outcomes and expected"),
        (risk_adjusted_cusum, ADJUSTED, {"baseline_ratio": 2.0}, "odds_ratio"),
        (risk_adjusted_cusum, ADJUSTED, {"baseline_ratio": 0}, "baseline_ratio"),
        (cusum_design, DESIGN, {"p0": "0.1"}, "p0"),
        (cusum_design, DESIGN, {"p0": 1e-9}, "p0"),
        (cusum_design, DESIGN, {"odds_ratio": 1}, "odds_ratio"),
        (cusum_design, DESIGN, {"in_control_arl": 1}, "in_control_arl"),
        (cusum_design, DESIGN, {"in_control_arl": 1e10}, "in_control_arl"),
        (average_run_length, RUN, {"p": 1.5}, "p"),
        (average_run_length, RUN, {"p": [0.1, 0.2]}, "p"),
        (average_run_length, RUN, {"p0": 0}, "p0"),
        (average_run_length, RUN, {"threshold": 1e9}, "threshold"),
        (risk_adjusted_average_run_length, MIX, {"expected": [[0.1]]}, "expected"),
        (risk_adjusted_average_run_length, MIX, {"shares": [0, 0]}, "shares"),
        (risk_adjusted_average_run_length, MIX, {"shares": [1, 1, 1]}, "expected and shares"),
        (risk_adjusted_average_run_length, MIX, {"true_ratio": 0}, "true_ratio"),
        (risk_adjusted_average_run_length, MIX, {"states": 5}, "states"),
        (events_within, WITHIN, {"events_at": [5, 3]}, "events_at"),
        (events_within, WITHIN, {"events_at": [0, 3]}, "events_at"),
        (events_within, WITHIN, {"events_at": [3, 11]}, "events_at"),
        (events_within, WITHIN, {"uses": 0}, "uses"),
        (events_within, WITHIN, {"k": 1.5}, "k"),
        (events_within, WITHIN, {"k": 5}, "k"),
        (events_within, WITHIN, {"m": True}, "m"),
        (events_within, WITHIN, {"p0": 1.0}, "p0"),
    ],
)
def test_what_makes_no_sum_is_refused_by_name(
    function: Any, right: dict[str, Any], wrong: dict[str, Any], named: str
) -> None:
    function(**right)
    with pytest.raises(ValueError, match=f"^{named}: "):
        function(**{**right, **wrong})


@pytest.mark.parametrize(
    ("p0", "odds_ratio", "run"), [(0.01, 3.0, 1000), (0.011, 3.0, 1000), (0.2, 3.0, 300), (0.05, 2.0, 5000)]
)
@pytest.mark.parametrize("events", [1, 3, 8, 30])
def test_crossings_expected_are_those_of_the_sum_run_state_by_state(
    p0: float, odds_ratio: float, run: float, events: int
) -> None:
    design = cusum_design(p0, odds_ratio, run)
    rise, fall = design.steps.numerator - design.steps.denominator, design.steps.denominator
    at, crossed = {0: 1.0}, 0.0
    for _use in range(round(events / p0)):
        after: dict[int, float] = {}
        for place, chance in at.items():
            for to, part in ((place + rise, p0), (max(place - fall, 0), 1 - p0)):
                crosses = to >= design.states
                crossed += chance * part if crosses else 0.0
                after[0 if crosses else to] = after.get(0 if crosses else to, 0.0) + chance * part
        at = after
    assert expected_crossings(design, round(events / p0)) == pytest.approx(crossed, abs=0.006)


def test_crossings_expected_are_fewer_than_the_uses_over_the_run_and_grow_with_uses() -> None:
    design = cusum_design(0.002, 3.0, 5000)
    found = [expected_crossings(design, uses) for uses in (0, 500, 5_000, 50_000)]
    assert found[0] == 0 and found == sorted(found)
    assert all(
        many < uses / design.in_control_arl
        for many, uses in zip(found[1:], (500, 5_000, 50_000), strict=True)
    )


def test_crossings_are_expected_of_rises_alone() -> None:
    with pytest.raises(ValueError, match="design"):
        expected_crossings(cusum_design(0.2, 0.5, 300), 100)
    with pytest.raises(ValueError, match="uses"):
        expected_crossings(cusum_design(0.2, 2.0, 300), -1)


@pytest.mark.parametrize(("k", "m", "uses"), [(1, 3, 7), (2, 3, 8), (3, 4, 9), (3, 9, 6), (3, 4, 2)])
def test_alarms_expected_of_events_close_together_are_those_of_every_sequence(
    k: int, m: int, uses: int
) -> None:
    expected = 0.0
    for outcome in itertools.product((0, 1), repeat=uses):
        at = [number for number, event in enumerate(outcome, start=1) if event]
        alarms = events_within(at, uses, k, m).alarms.size
        expected += alarms * 0.2 ** len(at) * 0.8 ** (uses - len(at))
    assert events_within([], uses, k, m, 0.2).expected == pytest.approx(expected)
