"""Funnel limits and overdispersion against recomputed figures of the published formulas.

The formula of the exact limits (Spiegelhalter, Stat Med 2005;24:1185-1202) is from memory, its interpolation seen
in one public code base; those of overdispersion were seen in the R package FunnelPlotR 0.6.0. All figures are
recomputed; a worked phi from the paper was not to be had.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from analytics.statistics.control import funnel_limits, funnel_p_values, overdispersion

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

SIX_DECIMALS = 5e-7
BOTH_TAILS = (0.95, 0.998)

EXACT_LIMITS = [
    # target, size, limits at .001, .025, .975, .999
    (0.10, 20, 0, 0, 0.228468, 0.335172),
    (0.10, 50, 0, 0.013863, 0.179723, 0.240128),
    (0.10, 100, 0.014179, 0.040381, 0.157719, 0.198357),
    (0.10, 200, 0.037852, 0.057691, 0.140972, 0.168567),
    (0.80, 20, 0.460746, 0.583885, 0.938316, 0.995663),
    (0.80, 100, 0.663234, 0.713524, 0.870258, 0.909022),
    (0.005, 1000, 0, 0.000549, 0.009359, 0.012745),
    (0.005, 2000, 0.000614, 0.001894, 0.008068, 0.010313),
]


@pytest.mark.parametrize(("target", "size", "p001", "p025", "p975", "p999"), EXACT_LIMITS)
def test_exact_limits_with_interpolation(
    target: float, size: int, p001: float, p025: float, p975: float, p999: float
) -> None:
    result = funnel_limits(target, size, BOTH_TAILS)
    assert result.lower == pytest.approx((p025, p001), abs=SIX_DECIMALS)
    assert result.upper == pytest.approx((p975, p999), abs=SIX_DECIMALS)
    assert result.method == "exact binomial limits with interpolation"


@pytest.mark.parametrize(
    ("size", "tail", "r", "alpha"),
    [
        (20, 0.975, 5, 0.430648),
        (50, 0.025, 1, 0.306854),
        (100, 0.025, 5, 0.961940),
        (100, 0.975, 16, 0.228139),
    ],
)
def test_the_steps_of_the_interpolation_are_those_of_the_formula(
    size: int, tail: float, r: int, alpha: float
) -> None:
    result = funnel_limits(0.10, size, 0.95)
    limit = result.upper if tail > 0.5 else result.lower
    assert limit * size == pytest.approx(r - alpha, abs=1e-5)
    assert stats.binom.cdf(r - 1, size, 0.1) <= tail < stats.binom.cdf(r, size, 0.1)


def test_normal_limits_are_others_and_may_be_impossible() -> None:
    reach = {n: stats.norm.ppf([0.975, 0.999]) * np.sqrt(0.09 / n) for n in (20, 100)}
    assert 0.1 - reach[20][0] == pytest.approx(-0.031478, abs=SIX_DECIMALS)
    assert 0.1 + reach[20][0] == pytest.approx(0.231478, abs=SIX_DECIMALS)
    assert 0.1 + reach[100] == pytest.approx((0.158799, 0.192707), abs=SIX_DECIMALS)
    assert 0.1 - reach[100] == pytest.approx((0.041201, 0.007293), abs=SIX_DECIMALS)
    assert abs(funnel_limits(0.1, 100, BOTH_TAILS).upper - 0.1 - reach[100]).min() > 0.001


# Constructed.
EVENTS = [2, 9, 5, 12, 3, 18, 6, 10, 1, 14]
SIZES = [40, 60, 55, 80, 30, 70, 90, 100, 45, 50]
Z = [-1.491023, 0.484481, -0.843374, 0.559431, -0.474342, 3.197304, -1.764884, -0.866025, -2.137313, 3.184337]


def test_standardised_distances_from_the_total() -> None:
    result = overdispersion(EVENTS, SIZES)
    assert result.target == pytest.approx(80 / 620, rel=1e-12)
    assert result.z == pytest.approx(Z, abs=SIX_DECIMALS)
    assert result.groups == 10


def test_phi_is_winsorised_at_quantiles_of_type_7() -> None:
    result = overdispersion(EVENTS, SIZES)
    assert np.quantile(result.z, [0.1, 0.9]) == pytest.approx((-1.802127, 3.185633), abs=SIX_DECIMALS)
    assert result.phi_raw == pytest.approx(3.250279, abs=SIX_DECIMALS)
    assert result.phi == pytest.approx(3.110785, abs=SIX_DECIMALS)
    assert "type 7" in result.method
    assert overdispersion(EVENTS, SIZES, winsorise=0).phi == result.phi_raw


def test_winsorising_by_rank_would_give_another_phi() -> None:
    z = np.sort(overdispersion(EVENTS, SIZES).z)
    z[0], z[-1] = z[1], z[-2]
    assert (z**2).mean() == pytest.approx(3.096674, abs=SIX_DECIMALS)


def test_the_arcsine_scale_would_give_another_phi() -> None:
    events, sizes = np.array(EVENTS), np.array(SIZES)
    z = 2 * np.sqrt(sizes) * (np.arcsin(np.sqrt(events / sizes)) - np.arcsin(np.sqrt(80 / 620)))
    assert (z**2).mean() == pytest.approx(3.304570, abs=SIX_DECIMALS)


def test_the_variance_between_groups_follows_from_phi() -> None:
    result = overdispersion(EVENTS, SIZES)
    assert result.tau_squared == pytest.approx(0.00451272, abs=5e-9)
    assert np.sqrt(result.tau_squared) == pytest.approx(0.0671768, abs=5e-8)


def test_groups_times_phi_are_tested_by_chi_square() -> None:
    result = overdispersion(EVENTS, SIZES)
    assert result.p_value == pytest.approx(stats.chi2.sf(10 * result.phi, 10), rel=1e-9)


def test_limits_widened_for_overdispersion_are_cut_at_0() -> None:
    """The additive lower limit is -0.018116 before it is cut."""
    spread = overdispersion(EVENTS, SIZES)
    wide = funnel_limits(spread.target, 100, 0.95, spread)
    assert (wide.lower, wide.upper) == pytest.approx((0.013146, 0.244919), abs=SIX_DECIMALS)
    assert wide.method.startswith("normal limits, multiplicative adjustment, phi 3.1108")
    additive = funnel_limits(spread.target, 100, 0.95, spread, "additive")
    assert (additive.lower, additive.upper) == pytest.approx((0, 0.276180), abs=SIX_DECIMALS)
    assert spread.target - (additive.upper - spread.target) == pytest.approx(-0.018116, abs=SIX_DECIMALS)


def test_exact_limits_agree_with_scipys_binomial_at_random_targets_and_sizes() -> None:
    draw = np.random.default_rng(5)
    for target in draw.uniform(0.001, 0.999, 30):
        sizes = draw.integers(1, 3000, 60)
        result = funnel_limits(float(target), sizes, 0.95)
        r = stats.binom.ppf(0.975, sizes, target)
        reached, before = (stats.binom.cdf(r - step, sizes, target) for step in (0, 1))
        expected = (r - (reached - 0.975) / (reached - before)) / sizes
        assert result.upper == pytest.approx(np.clip(expected, 0, 1), rel=1e-8)


def test_p_values_are_twice_the_smaller_binomial_tail() -> None:
    events, sizes = np.array([0, 2, 9, 18, 20]), np.array([40, 40, 60, 70, 20])
    for target in (0.005, 0.1, 0.129, 0.8):
        tails = stats.binom.cdf(events, sizes, target), stats.binom.sf(events - 1, sizes, target)
        expected = np.minimum(1, 2 * np.minimum(*tails))
        assert funnel_p_values(events, sizes, target) == pytest.approx(expected, rel=1e-9)


def test_p_values_allow_for_spread_where_there_is_more_than_chance() -> None:
    """The constructed groups, of phi 3.110785."""
    spread = overdispersion(EVENTS, SIZES)
    found = funnel_p_values(EVENTS, SIZES, spread.target, spread)
    assert found[5] == pytest.approx(2 * stats.norm.sf(Z[5] / 3.110785**0.5), abs=SIX_DECIMALS)
    even = overdispersion([5, 5], [50, 50])
    assert funnel_p_values([5, 5], [50, 50], 0.1, even) == pytest.approx((1, 1))


def test_p_values_of_nothing_are_empty_and_a_strange_spread_is_refused() -> None:
    assert np.isnan(funnel_p_values([0], [0], 0.1)).all()
    for target, groups in ((0.2, 2), (0.1, 3)):
        with pytest.raises(ValueError, match="spread"):
            funnel_p_values([5] * groups, [50] * groups, target, overdispersion([5, 5], [50, 50]))
    with pytest.raises(ValueError, match="events"):
        funnel_p_values([5], [4], 0.1)
