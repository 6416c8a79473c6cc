"""What holds for limits of a funnel and for the spread of groups about a target."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from analytics.statistics.control import funnel_limits, overdispersion

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

targets = st.floats(0.001, 0.999)
levels = st.floats(0.5, 0.999)
groups = st.lists(
    st.integers(0, 300).flatmap(lambda size: st.tuples(st.integers(0, size), st.just(size))), max_size=20
)


@given(targets, st.integers(0, 10**7), levels)
def test_limits_are_ordered_and_within_0_and_1(target: float, size: int, coverage: float) -> None:
    result = funnel_limits(target, size, coverage)
    if size == 0:
        assert np.isnan(result.lower)
        assert np.isnan(result.upper)
    else:
        assert 0 <= result.lower <= result.upper <= 1


@given(st.floats(0.05, 0.95), st.integers(30, 5000), levels)
def test_limits_narrow_with_size(target: float, size: int, coverage: float) -> None:
    """Four times the size: exact limits step, so that one more trial need not narrow them."""
    result = funnel_limits(target, [size, 4 * size], coverage)
    assert result.upper[1] - result.lower[1] < result.upper[0] - result.lower[0]


@given(targets, st.integers(1, 10**5), levels, levels)
def test_more_coverage_never_narrows_the_limits(target: float, size: int, one: float, other: float) -> None:
    result = funnel_limits(target, size, sorted((one, other)))
    assert result.lower[1] <= result.lower[0] + 1e-12
    assert result.upper[1] >= result.upper[0] - 1e-12


@given(targets, st.integers(1, 2000))
def test_no_more_than_the_tail_lies_a_whole_event_beyond_a_limit(target: float, size: int) -> None:
    """Interpolation ends within the event at which the tail is used up."""
    result = funnel_limits(target, size, 0.95)
    beyond = np.floor(result.upper * size + 1e-9) + 1
    assert special.bdtrc(np.minimum(beyond, size), size, target) <= 0.025 + 1e-9


@given(groups)
def test_phi_and_tau_are_never_negative_and_nothing_is_divided_by_0(table: list[tuple[int, int]]) -> None:
    result = overdispersion([seen for seen, _ in table], [size for _, size in table])
    if result.groups == 0:
        assert np.isnan([result.phi, result.tau_squared, result.p_value]).all()
        assert result.method == "nothing to compare"
    else:
        assert 0 <= result.phi <= result.phi_raw * (1 + 1e-12)
        assert result.tau_squared >= 0
        assert 0 <= result.p_value <= 1


def test_limits_have_the_shape_of_coverage_and_sizes() -> None:
    assert funnel_limits(0.1, [[10, 20, 30]]).lower.shape == (2, 1, 3)
    assert funnel_limits(0.1, 10).lower.shape == (2,)
    assert funnel_limits(0.1, []).upper.shape == (2, 0)


def test_limits_are_not_widened_where_groups_differ_no_more_than_chance() -> None:
    spread = overdispersion([2, 2, 2], [10, 10, 10])
    result = funnel_limits(0.2, 50, spread=spread)
    assert np.array_equal(result.upper, funnel_limits(0.2, 50).upper)
    assert result.method.endswith("not widened: phi is not above 1")


def test_groups_without_trials_count_nowhere() -> None:
    with_empty, without = overdispersion([2, 9, 0], [40, 60, 0]), overdispersion([2, 9], [40, 60])
    assert np.isnan(with_empty.z[2])
    assert (with_empty.phi, with_empty.groups) == (without.phi, 2)


def test_no_events_at_all_leave_nothing_to_compare() -> None:
    assert np.isnan(overdispersion([0, 0], [40, 60]).phi)


def test_one_group_has_no_variance_between_groups() -> None:
    assert overdispersion(9, 60, target=0.1).tau_squared == 0


@pytest.mark.parametrize(
    ("how", "named"),
    [
        ({"target": 0}, "target"),
        ({"target": 1.0}, "target"),
        ({"target": "0.1"}, "target"),
        ({"sizes": -1}, "sizes"),
        ({"sizes": 1.5}, "sizes"),
        ({"sizes": float("nan")}, "sizes"),
        ({"coverage": 95}, "coverage"),
        ({"coverage": [0.95, 1.0]}, "coverage"),
        ({"adjustment": "none"}, "adjustment"),
        ({"spread": overdispersion([1, 9], [40, 60])}, "spread"),
    ],
)
def test_what_makes_no_funnel_is_refused_by_name(how: dict[str, Any], named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        funnel_limits(**{"target": 0.5, "sizes": 10, **how})


@pytest.mark.parametrize(
    ("how", "named"),
    [
        ({"events": [5, 70]}, "events"),
        ({"events": [-1, 7]}, "events"),
        ({"events": [True, False]}, "events"),
        ({"sizes": [40, 60, 70]}, "events and sizes"),
        ({"target": 1.5}, "target"),
        ({"target": 1e-300}, "target"),
        ({"winsorise": 0.5}, "winsorise"),
        ({"winsorise": True}, "winsorise"),
        ({"winsorise": float("nan")}, "winsorise"),
    ],
)
def test_what_makes_no_spread_is_refused_by_name(how: dict[str, Any], named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        overdispersion(**{"events": [5, 7], "sizes": [40, 60], **how})
