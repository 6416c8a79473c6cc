"""Shrinkage against the rat tumours and other figures, each named with where it was seen.

Status of a figure: *seen* in a public copy; *from memory*, recalled and not seen; *recomputed*; *constructed*,
an arithmetic fixture without a publication.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize, special, stats

from analytics.statistics.shrinkage import beta_binomial, gamma_poisson

pytestmark = [pytest.mark.pure, pytest.mark.filterwarnings("error")]

SIX_DECIMALS = 5e-7

# Tarone, Biometrics 1982;38:215-220; Gelman et al., Bayesian Data Analysis, 3rd ed., table 5.1. Seen in several
# public copies, one of them altered: hence the check of the totals.
TUMOURS = np.array(
    [0] * 14 + [1] * 8 + [2] * 9 + [1, 5, 2, 5, 3, 2, 7, 7, 3, 3, 2, 9, 10] + [4] * 7
    + [10, 4, 4, 4, 5, 11, 12, 5, 5, 6, 5, 6, 6, 6, 6, 16, 15, 15, 9, 4]
)  # fmt: skip
RATS = np.array(
    [20] * 7 + [19] * 4 + [18, 18, 17] + [20] * 4 + [19, 19, 18, 18] + [25, 24, 23] + [20] * 6
    + [10, 49, 19, 46, 27, 17, 49, 47, 20, 20, 13, 48, 50] + [20] * 7
    + [48, 19, 19, 19, 22, 46, 49, 20, 20, 23, 19, 22, 20, 20, 20, 52, 46, 47, 24, 14]
)  # fmt: skip


def test_the_rat_tumours_are_those_of_the_publication() -> None:
    assert (TUMOURS.size, RATS.size) == (71, 71)
    assert (TUMOURS.sum(), RATS.sum()) == (267, 1739)


def test_moments_of_the_70_earlier_groups_are_the_books() -> None:
    """Recomputed; the book's mean .136, standard deviation .103 and prior (1.4, 8.6) are from memory."""
    result = beta_binomial(TUMOURS[:70], RATS[:70], fit="moments")
    assert (result.alpha, result.beta) == pytest.approx((1.356149, 8.615058), abs=SIX_DECIMALS)
    assert result.prior_mean == pytest.approx(0.136007, abs=SIX_DECIMALS)
    spread = np.sqrt(result.prior_mean * (1 - result.prior_mean) / (result.alpha + result.beta + 1))
    assert spread == pytest.approx(0.103492, abs=SIX_DECIMALS)
    assert (round(result.alpha, 1), round(result.beta, 1)) == (1.4, 8.6)
    assert "method of moments" in result.method


def test_the_variance_by_n_gives_another_prior_than_the_book_prints() -> None:
    shares = TUMOURS[:70] / RATS[:70]
    total = shares.mean() * (1 - shares.mean()) / shares.var(ddof=0) - 1
    assert (shares.mean() * total, (1 - shares.mean()) * total) == pytest.approx((1.378, 8.752), abs=5e-4)
    assert round((1 - shares.mean()) * total, 1) == 8.8


# Recomputed; 2.304768 and 14.079707 seen in the vignette of the R package BayesGOF, to its optimiser's tolerance.
def test_maximum_likelihood_of_the_70_earlier_groups_is_reproduced() -> None:
    result = beta_binomial(TUMOURS[:70], RATS[:70])
    assert (result.alpha, result.beta) == pytest.approx((2.304783, 14.079807), rel=1e-6)
    assert (result.alpha, result.beta) == pytest.approx((2.304768, 14.079707), rel=1e-4)
    assert result.log_likelihood == pytest.approx(-721.001020, abs=SIX_DECIMALS)
    assert result.method == "beta prior by maximum likelihood from 70 groups"


def test_maximum_likelihood_of_all_71_groups_is_reproduced() -> None:
    result = beta_binomial(TUMOURS, RATS)
    assert (result.alpha, result.beta) == pytest.approx((2.341614, 14.114804), abs=SIX_DECIMALS)


def test_the_posterior_of_the_last_group_is_the_books_with_its_unrounded_prior() -> None:
    """Recomputed; .223 and .083 are from memory. The rounded prior (1.4, 8.6) gives .225 and .0835."""
    rounded = stats.beta(5.4, 18.6)
    assert (rounded.mean(), rounded.std()) == pytest.approx((0.225, 0.083516), abs=SIX_DECIMALS)
    prior = beta_binomial(TUMOURS[:70], RATS[:70], fit="moments")
    posterior = stats.beta(prior.alpha + 4, prior.beta + 10)
    assert (round(posterior.mean(), 3), round(posterior.std(), 3)) == (0.223, 0.083)


@pytest.mark.parametrize(
    ("tumours", "rats", "expected"),
    [(0, 20, 0.063345), (0, 17, 0.069037), (16, 52, 0.267674), (10, 50, 0.185356)],
)
def test_posterior_means_under_the_prior_of_70_groups(tumours: int, rats: int, expected: float) -> None:
    result = beta_binomial(TUMOURS[:70], RATS[:70])
    (found,) = {round(float(m), 12) for m in result.mean[(TUMOURS[:70] == tumours) & (RATS[:70] == rats)]}
    assert found == pytest.approx(expected, abs=SIX_DECIMALS)


# Recomputed: groups which are none of the 70.
@pytest.mark.parametrize(("tumours", "rats", "expected"), [(1, 10, 0.125254), (4, 14, 0.207499)])
def test_posterior_means_of_a_new_group_follow_from_the_prior(
    tumours: int, rats: int, expected: float
) -> None:
    prior = beta_binomial(TUMOURS[:70], RATS[:70])
    mean = (prior.alpha + tumours) / (prior.alpha + prior.beta + rats)
    assert mean == pytest.approx(expected, abs=SIX_DECIMALS)


def test_the_last_groups_limits_follow_from_the_prior_of_the_others() -> None:
    prior = beta_binomial(TUMOURS[:70], RATS[:70])
    limits = special.betaincinv(prior.alpha + 4, prior.beta + 10, [0.025, 0.975])
    assert limits == pytest.approx((0.085612, 0.365690), abs=SIX_DECIMALS)


def test_groups_of_equal_raw_share_are_ordered_by_what_is_known_of_them() -> None:
    result = beta_binomial(TUMOURS, RATS)
    none_of_20, none_of_17 = (result.mean[(TUMOURS == 0) & (rats == RATS)][0] for rats in (20, 17))
    assert none_of_20 < none_of_17


def test_limits_are_scipys_quantiles_of_the_posterior() -> None:
    result = beta_binomial(TUMOURS, RATS, confidence=0.9)
    posterior = stats.beta(result.alpha + TUMOURS, result.beta + RATS - TUMOURS)
    assert result.lower == pytest.approx(posterior.ppf(0.05), rel=1e-9)
    assert result.upper == pytest.approx(posterior.ppf(0.95), rel=1e-9)


def test_no_beta_prior_is_likelier_by_scipys_own_search() -> None:
    """Constructed: 40 random sets of groups, marginal likelihood by SciPy's beta-binomial and Nelder-Mead."""
    draw = np.random.default_rng(7)
    fitted = 0
    for _each in range(40):
        tried = draw.integers(5, 80, 12)
        won = draw.binomial(tried, draw.beta(draw.uniform(0.5, 6), draw.uniform(0.5, 6), 12))
        result = beta_binomial(won, tried)
        if not 0 < result.alpha < np.inf:
            continue
        fitted += 1

        def loss(place: np.ndarray, won: np.ndarray = won, tried: np.ndarray = tried) -> float:
            return -float(stats.betabinom.logpmf(won, tried, *np.exp(place)).sum())

        ours = loss(np.log([result.alpha, result.beta]))
        assert ours <= optimize.minimize(loss, [0.0, 0.0], method="Nelder-Mead").fun + 1e-6
    assert fitted > 30


def test_no_gamma_prior_is_likelier_by_scipys_own_search() -> None:
    """Constructed: 40 random sets of groups, marginal likelihood by SciPy's negative binomial and Nelder-Mead."""
    draw = np.random.default_rng(8)
    fitted = 0
    for _each in range(40):
        exposure = draw.uniform(50, 800, 12)
        events = draw.poisson(exposure * draw.gamma(draw.uniform(0.5, 4), 0.01, 12))
        result = gamma_poisson(events, exposure)
        if not 0 < result.alpha < np.inf:
            continue
        fitted += 1

        def loss(place: np.ndarray, events: np.ndarray = events, exposure: np.ndarray = exposure) -> float:
            shape, rate = np.exp(place)
            return -float(stats.nbinom.logpmf(events, shape, rate / (rate + exposure)).sum())

        ours = loss(np.log([result.alpha, result.beta]))
        assert ours <= optimize.minimize(loss, [0.0, 4.0], method="Nelder-Mead").fun + 1e-6
    assert fitted > 30


def test_gamma_limits_are_scipys_quantiles_of_the_posterior() -> None:
    events, exposure = np.array([0, 2, 1, 14]), np.array([400, 500, 300, 600])
    result = gamma_poisson(events, exposure)
    posterior = stats.gamma(result.alpha + events, scale=1 / (result.beta + exposure))
    assert result.mean == pytest.approx(posterior.mean(), rel=1e-12)
    assert result.lower == pytest.approx(posterior.ppf(0.025), rel=1e-9)
    assert result.upper == pytest.approx(posterior.ppf(0.975), rel=1e-9)
