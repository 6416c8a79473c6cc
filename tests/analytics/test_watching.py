"""Cumulative sums over months: the same as one use after the other, with a baseline that is never the whole period.

Weights and path: Steiner et al., Biostatistics 2000;1:441-452, equation 2; thresholds and run lengths: Reynolds &
Stoumbos, J Qual Technol 1999;31:87-108, by `analytics.statistics.control`, which is checked against both.
"""

from __future__ import annotations

import datetime
import math
import time
from itertools import pairwise
from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from analytics.statistics.control import average_run_length, bernoulli_cusum
from analytics.watching import (
    Baseline,
    MonthOfUse,
    Watch,
    baseline_of,
    chance_of_at_least,
    events_at,
    limit_of_a_month,
    spread_over_month,
    uses_between,
    watch,
)

pytestmark = pytest.mark.pure

CLASS = Baseline(12, 6020, datetime.date(2020, 1, 1), datetime.date(2021, 12, 1), 0.00103, 0.00348)


def months(number: int, uses: int, risk: float, seed: int, first: int = 2022) -> list[MonthOfUse]:
    """Invented months in a row, each use with the same chance of an event, on any of the first 28 days."""
    chance = Random(seed)
    found = []
    for which in range(number):
        month = datetime.date(first + which // 12, which % 12 + 1, 1)
        opened = chance.randint(0, uses)
        events = sum(chance.random() < risk for _ in range(opened))
        days = sorted(month.replace(day=chance.randint(1, 28)) for _ in range(events))
        found.append(MonthOfUse(month, opened, tuple(days)))
    return found


def outcomes_of(found: list[MonthOfUse], after: datetime.date) -> list[int]:
    """Every use watched, 1 where it is an event."""
    outcomes: list[int] = []
    for one in found:
        if one.month > after:
            uses = [0] * one.uses
            for use in events_at(one.month, one.uses, one.events):
                uses[use - 1] = 1
            outcomes += uses
    return outcomes


seeds = st.integers(0, 2**32)


@given(seeds, st.sampled_from([0.0, 0.002, 0.01, 0.05, 0.3]), st.integers(1, 120))
def test_the_sum_is_that_of_single_uses_one_after_the_other(seed: int, risk: float, uses: int) -> None:
    found = months(36, uses, risk, seed)
    watched = watch(found, CLASS)
    if watched is None:
        assert not any(one.uses for one in found)
        return
    outcomes = outcomes_of(found, watched.baseline.last)
    plain = bernoulli_cusum(outcomes, watched.p0, watched.odds_ratio, watched.threshold)
    assert watched.uses == len(outcomes)
    assert [one.index - 1 for one in watched.crossings] == plain.alarms.tolist()
    for point in watched.path:
        if point.event is not None:
            assert point.value == pytest.approx(plain.path[point.use - 1])
    events = [point.event for point in watched.path if point.event is not None]
    assert len(events) == sum(outcomes)
    assert events == list(range(events[0], events[0] + len(events))) if events else True


@given(seeds)
def test_the_events_behind_a_crossing_are_those_since_the_sum_last_stood_at_0(seed: int) -> None:
    found = months(36, 120, 0.02, seed)
    watched = watch(found, CLASS)
    assert watched is not None
    outcomes = outcomes_of(found, watched.baseline.last)
    plain = bernoulli_cusum(outcomes, watched.p0, watched.odds_ratio, watched.threshold).path
    resets = {one.index - 1 for one in watched.crossings}
    for one in watched.crossings:
        begin = one.index - 1
        while begin > 0 and plain[begin - 1] > 1e-9 and begin - 1 not in resets:
            begin -= 1
        assert len(one.events) == sum(outcomes[begin : one.index])
        assert one.value >= watched.threshold - 1e-9


@given(seeds)
def test_the_path_only_falls_between_events_and_never_below_0(seed: int) -> None:
    watched = watch(months(30, 60, 0.02, seed), CLASS)
    assert watched is not None
    crossed = {one.index for one in watched.crossings}
    for before, after in pairwise(watched.path):
        assert after.value >= 0 and after.at >= before.at and after.use >= before.use
        if after.event is None and before.use not in crossed:
            assert after.value <= before.value


def test_a_baseline_is_the_first_24_months_and_never_all_of_them() -> None:
    steady = [
        MonthOfUse(datetime.date(2022 + which // 12, which % 12 + 1, 1), 100, (datetime.date(2022, 1, 5),))
        for which in range(48)
    ]
    long, short, least, none = (baseline_of(steady[:number]) for number in (36, 35, 13, 12))
    assert long is not None and (long.events, long.uses, f"{long.last:%Y-%m}") == (24, 2400, "2023-12")
    assert short is not None and (short.events, f"{short.last:%Y-%m}") == (12, "2022-12")
    assert least is not None and least.events == 12
    assert none is None


def test_fewer_than_five_events_make_no_baseline_and_the_class_stands_in() -> None:
    sparse = [MonthOfUse(datetime.date(2023, month, 1), 50, ()) for month in range(1, 13)]
    sparse += [MonthOfUse(datetime.date(2024, 1, 1), 50, (datetime.date(2024, 1, 9),))]
    assert baseline_of(sparse) is None
    assert watch(sparse) is None
    watched = watch(sparse, CLASS)
    assert watched is not None and watched.of_class
    assert (watched.baseline.events, watched.baseline.uses) == (12, 6020)


def test_a_threshold_does_not_move_with_months_after_the_first_24() -> None:
    found = months(60, 100, 0.01, 7)
    earlier, later = watch(found[:40]), watch(found)
    assert earlier is not None and later is not None
    assert (earlier.threshold, earlier.p0) == (later.threshold, later.p0)
    assert later.path[: len(earlier.path)] == earlier.path


def test_a_run_without_change_lasts_25_years_at_the_pace_of_the_baseline() -> None:
    steady = [
        MonthOfUse(
            datetime.date(2022 + which // 12, which % 12 + 1, 1),
            100,
            (datetime.date(2022, 1, 5),) * (which % 4 == 0),
        )
        for which in range(48)
    ]
    watched = watch(steady)
    assert watched is not None
    assert watched.uses_a_year == 1200
    assert 25 <= watched.years(watched.in_control_run) < 25.5
    assert watched.in_control_run == average_run_length(
        watched.p0, watched.p0, watched.odds_ratio, watched.threshold
    )
    assert watched.run_at_upper < watched.in_control_run
    assert watched.out_of_control_run < watched.run_at_upper


def test_two_events_at_once_never_share_a_use_and_keep_within_their_month() -> None:
    month = datetime.date(2026, 2, 1)
    last = datetime.date(2026, 2, 28)
    assert events_at(month, 3, [last, last, last]) == [1, 2, 3]
    assert events_at(month, 28, [datetime.date(2026, 2, 7)] * 2) == [7, 8]
    assert events_at(month, 1, [datetime.date(2026, 2, 1)]) == [1]


def test_many_events_of_one_day_share_its_uses_evenly() -> None:
    month = datetime.date(2026, 2, 1)
    assert events_at(month, 2_800, [datetime.date(2026, 2, 2)] * 4) == [125, 150, 175, 200]


def test_events_without_a_day_are_spread_over_their_month() -> None:
    month = datetime.date(2026, 2, 1)
    assert [day.day for day in spread_over_month(month, 1)] == [15]
    assert [day.day for day in spread_over_month(month, 4)] == [4, 11, 18, 25]
    assert spread_over_month(month, 0) == []


def test_a_sum_of_many_events_a_day_at_the_rate_of_its_baseline_does_not_cross_day_by_day() -> None:
    found = months(48, 40_000, 0.02, seed=3)  # some 400 events a month
    watched = watch(found)
    assert watched is not None
    events = sum(len(one.events) for one in found if one.month > watched.baseline.last)
    assert events > 5_000 and len(watched.crossings) <= 3


def test_more_events_than_uses_and_months_that_do_not_rise_are_refused() -> None:
    day = datetime.date(2026, 1, 1)
    with pytest.raises(ValueError, match="2 events in 1 uses"):
        watch([MonthOfUse(day, 1, (day, day))])
    with pytest.raises(ValueError, match="must rise"):
        watch([MonthOfUse(day, 1, ()), MonthOfUse(day, 1, ())])
    with pytest.raises(ValueError, match="odds_ratio"):
        watch([], odds_ratio=1.0)


def test_months_without_any_use_are_not_watched() -> None:
    nothing = [MonthOfUse(datetime.date(2022 + which // 12, which % 12 + 1, 1), 0, ()) for which in range(30)]
    assert watch(nothing, CLASS) is None
    assert watch([], CLASS) is None


def test_sixty_models_over_four_years_take_well_under_a_second() -> None:
    found = [months(48, 150, 0.001 * (1 + seed % 8), seed) for seed in range(60)]
    start = time.perf_counter()
    watched: list[Watch | None] = [watch(one, CLASS) for one in found]
    assert time.perf_counter() - start < 0.7
    assert all(watched)


def test_the_limit_of_a_month_is_the_smallest_count_with_a_chance_of_at_most_0_00135() -> None:
    """Poisson by hand: at 0.2 expected, 3 or more has 1 - e^-0.2 (1 + 0.2 + 0.02) = 0.00115, 2 or more 0.0175."""
    assert limit_of_a_month(0.2) == 3
    assert chance_of_at_least(3, 0.2) == pytest.approx(1 - math.exp(-0.2) * 1.22)
    assert chance_of_at_least(0, 0.2) == 1


@given(st.floats(0.001, 40))
def test_the_limit_of_a_month_holds_for_any_expectation(expected: float) -> None:
    limit = limit_of_a_month(expected)
    below = math.exp(-expected) * sum(expected**k / math.factorial(k) for k in range(limit))
    assert 1 - below <= 0.00135 + 1e-9
    assert (
        limit == 0
        or 1 - (below - math.exp(-expected) * expected ** (limit - 1) / math.factorial(limit - 1)) > 0.00135
    )


def test_gaps_count_the_uses_without_an_event_between() -> None:
    first, second = datetime.date(2026, 1, 1), datetime.date(2026, 2, 1)
    found = [
        MonthOfUse(first, 31, (datetime.date(2026, 1, 10),)),
        MonthOfUse(second, 28, (datetime.date(2026, 2, 5),)),
    ]
    assert uses_between(found) == ([31 - 10 + 4], 23)
    assert uses_between([]) == ([], 0)
