"""What holds for estimates of groups that borrow from each other."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import special

from analytics.statistics.counts import garwood
from analytics.statistics.shrinkage import Shrunken, beta_binomial, gamma_poisson

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

groups = st.lists(
    st.integers(0, 60).flatmap(lambda tried: st.tuples(st.integers(0, tried), st.just(tried))),
    min_size=0,
    max_size=15,
)
rates = st.lists(st.tuples(st.integers(0, 30), st.floats(0.5, 5000) | st.just(0.0)), max_size=15)


def of(table: list[tuple[int, int]], **how: Any) -> Shrunken:
    return beta_binomial([won for won, _ in table], [tried for _, tried in table], **how)


@given(groups, st.sampled_from(["likelihood", "moments"]))
def test_a_shrunk_share_lies_between_the_raw_share_and_the_prior_mean(
    table: list[tuple[int, int]], fit: str
) -> None:
    result = of(table, fit=fit)
    for (won, tried), mean in zip(table, result.mean, strict=True):
        ends = [end for end in (won / tried if tried else np.nan, result.prior_mean) if not np.isnan(end)]
        if ends:
            assert min(ends) - 1e-12 <= mean <= max(ends) + 1e-12


@given(groups)
def test_shares_keep_their_limits_in_order_and_within_0_and_1(table: list[tuple[int, int]]) -> None:
    result = of(table)
    known = ~np.isnan(result.mean)
    assert (result.lower[known] >= 0).all()
    assert (result.lower[known] <= result.upper[known]).all()
    assert (result.upper[known] <= 1).all()
    assert ((result.weight >= 0) & (result.weight <= 1)).all()


@given(groups)
def test_every_result_says_its_method(table: list[tuple[int, int]]) -> None:
    result = of(table)
    kind = result.method.split(":")[0]
    if result.alpha == 0:
        assert kind == "no prior"
    elif np.isinf(result.alpha):
        assert kind == "complete pooling"
    else:
        assert kind.startswith("beta prior by maximum likelihood")


@given(rates)
def test_a_shrunk_rate_lies_between_the_raw_rate_and_the_prior_mean(table: list[tuple[int, float]]) -> None:
    result = gamma_poisson([seen for seen, _ in table], [watched for _, watched in table])
    for (seen, watched), mean in zip(table, result.mean, strict=True):
        raw = seen / watched if watched else np.nan
        ends = [end for end in (raw, result.prior_mean) if not np.isnan(end)]
        if seen and not watched:
            assert np.isnan(mean)
        elif ends:
            assert min(ends) * (1 - 1e-9) <= mean <= max(ends) * (1 + 1e-9)


@given(rates)
def test_rates_keep_their_limits_in_order(table: list[tuple[int, float]]) -> None:
    result = gamma_poisson([seen for seen, _ in table], [watched for _, watched in table])
    known = ~np.isnan(result.mean)
    assert (result.lower[known] >= 0).all()
    assert (result.lower[known] <= result.upper[known]).all()


@given(st.floats(0.01, 100))
def test_a_change_of_unit_of_exposure_changes_only_the_unit(unit: float) -> None:
    events, exposure = [0, 2, 1, 14], np.array([400.0, 500, 300, 600])
    scaled = gamma_poisson(events, exposure * unit)
    assert scaled.mean * unit == pytest.approx(gamma_poisson(events, exposure).mean, rel=1e-6)


def test_groups_alike_are_pooled_with_the_exact_limits_of_the_total() -> None:
    result = beta_binomial([2, 2, 2], [10, 10, 10])
    assert result.alpha == result.beta == np.inf
    assert (result.mean == 0.2).all()
    assert (result.weight == 0).all()
    assert result.lower == pytest.approx(special.betaincinv(6, 25, 0.025), rel=1e-12)
    assert result.upper == pytest.approx(special.betaincinv(7, 24, 0.975), rel=1e-12)
    assert result.method.startswith("complete pooling: 3 groups differ no more than chance")


def test_pooled_rates_have_garwoods_limits_of_the_total() -> None:
    result = gamma_poisson([1, 1, 1], [100, 100, 100])
    assert (result.lower[0], result.upper[0]) == garwood(3, 300)


def test_groups_of_one_trial_say_nothing_of_how_groups_differ() -> None:
    assert of([(1, 1), (0, 1), (0, 1)]).method.startswith("complete pooling")


def test_groups_without_any_event_are_pooled_and_keep_an_upper_limit() -> None:
    result = of([(0, 10), (0, 20)])
    assert (result.mean == 0).all()
    assert result.upper == pytest.approx(1 - 0.025 ** (1 / 30), rel=1e-12)


def test_one_group_has_no_prior_and_keeps_its_raw_share() -> None:
    result = of([(3, 5), (0, 0)])
    assert (result.alpha, result.beta) == (0, 0)
    assert result.mean[0] == 0.6
    assert np.isnan(result.mean[1])
    assert result.method.startswith("no prior: fewer than two groups")


def test_all_or_none_in_every_group_has_no_prior() -> None:
    assert of([(0, 5), (5, 5)]).method.startswith("no prior: every group had all or none")
    assert of([(0, 5), (5, 5)], fit="moments").method.startswith("no prior: raw shares vary too much")


def test_equal_raw_shares_leave_moments_nothing_but_pooling() -> None:
    assert of([(1, 5), (2, 10)], fit="moments").method.startswith("complete pooling: all raw shares")


def test_a_group_without_trials_takes_the_prior() -> None:
    result = of([(0, 20), (9, 20), (0, 0)])
    assert result.mean[2] == pytest.approx(result.prior_mean, rel=1e-12)
    assert result.weight[2] == 0


def test_events_without_exposure_have_no_rate() -> None:
    result = gamma_poisson([0, 14, 3], [400, 500, 0])
    assert np.isnan([result.mean[2], result.lower[2], result.upper[2]]).all()
    assert np.array_equal(result.mean[:2], gamma_poisson([0, 14], [400, 500]).mean)


def test_nothing_gives_nothing() -> None:
    assert of([]).mean.shape == gamma_poisson([], []).mean.shape == (0,)


def test_large_groups_that_hardly_differ_are_fitted_without_loss_of_digits() -> None:
    """At a million trials a group, differences of gamma functions would have lost what is sought."""
    shares = np.array([0.1, 0.101, 0.1005, 0.0995, 0.099])
    result = beta_binomial(np.round(shares * 10**6), 10**6)
    sample = shares.var(ddof=0) - 0.09 / 10**6
    assert result.alpha + result.beta == pytest.approx(0.09 / sample, rel=0.02)


def test_arrays_cannot_be_written_to() -> None:
    with pytest.raises(ValueError, match="read-only"):
        of([(0, 20), (9, 20)]).mean[0] = 1


@pytest.mark.parametrize(
    ("won", "tried", "named"),
    [
        ([-1, 2], [5, 5], "successes"),
        ([6, 2], [5, 5], "successes"),
        ([1.5, 2], [5, 5], "successes"),
        ([1, 2], [5, float("nan")], "trials"),
        ([1, 2], [5, float("inf")], "trials"),
        (["1", "2"], [5, 5], "successes"),
        ([True, False], [5, 5], "successes"),
        ([1, 2], [5, 10**8], "trials"),
        ([1, 2], [5, 5, 5], "successes and trials"),
    ],
)
def test_what_makes_no_share_is_refused_by_name(won: Any, tried: Any, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        beta_binomial(won, tried)


@pytest.mark.parametrize(
    ("seen", "watched", "named"),
    [
        ([-1, 2], [5, 5], "events"),
        ([1.5, 2], [5, 5], "events"),
        ([1, 2], [5, -1], "exposure"),
        ([1, 2], [5, float("nan")], "exposure"),
        ([1, 2], [5, 1e-300], "exposure"),
        ([10**8, 2], [5, 5], "events"),
        ([1, 2], [5, 5, 5], "events and exposure"),
    ],
)
def test_what_makes_no_rate_is_refused_by_name(seen: Any, watched: Any, named: str) -> None:
    with pytest.raises(ValueError, match=f"^{named}: "):
        gamma_poisson(seen, watched)


@pytest.mark.parametrize("function", [beta_binomial, gamma_poisson])
def test_a_confidence_that_is_none_is_refused_by_name(function: Any) -> None:
    with pytest.raises(ValueError, match=r"^confidence: "):
        function([1, 2], [5, 5], 95)


def test_an_unknown_fit_is_refused_by_name() -> None:
    with pytest.raises(ValueError, match=r"^fit: must be .likelihood. or .moments."):
        beta_binomial([1, 2], [5, 5], fit="guess")
