"""Shares and rates of groups drawn towards what all groups show; it never hides how far, nor when it did not."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.statistics._inputs import (
    FloatArray,
    confidence_level,
    counts,
    measures,
    read_only,
    require_same_shape,
    successes_in_trials,
)
from analytics.statistics.counts import garwood
from analytics.statistics.proportions import clopper_pearson

LARGEST_GROUP = 10**6  # the likelihood is a sum over single trials or events
ENDLESS = 1e-7  # a spread this small times the largest group leaves the data of no group any weight
STEPS = 200

Surface = Callable[[FloatArray], tuple[float, FloatArray, FloatArray]]


@dataclass(frozen=True, slots=True, eq=False)
class Shrunken:
    """Estimates of all groups and the prior they share; arrays have the shape of what was given, read-only.

    `alpha`, `beta`: the prior, Beta(alpha, beta) of shares or Gamma(shape alpha, rate beta) of rates; both
    infinite under complete pooling, both 0 without a prior. `prior_mean`: its mean. `mean`: posterior means.
    `lower`, `upper`: equal-tailed limits. `weight`: how much of each mean is the group's own data, 0 to 1.
    `log_likelihood`: of the prior or of the pooled value, without terms that depend on the data alone; NaN where
    likelihood chose neither. `method`: what was done, and why where it is a fall-back.

    The limits take the fitted prior as known: with few groups they are too narrow.
    """

    alpha: float
    beta: float
    prior_mean: float
    mean: FloatArray
    lower: FloatArray
    upper: FloatArray
    weight: FloatArray
    log_likelihood: float
    method: str


def beta_binomial(
    successes: ArrayLike, trials: ArrayLike, confidence: float = 0.95, fit: str = "likelihood"
) -> Shrunken:
    """Shares of groups shrunk towards their common mean by a beta prior fitted to all groups.

    `successes` and `trials` are whole numbers of one shape, a group each, at most 1,000,000 trials in one.
    `fit="likelihood"` is marginal maximum likelihood, `fit="moments"` the unweighted mean and the sample
    variance (n - 1) of the raw shares. A group without trials takes the prior; groups without trials count
    nowhere. Order groups by the shrunk share or not at all: 0/20 and 0/17 differ by it.

    Fall-backs, said in `method`. Complete pooling: where the groups differ no more than chance makes them
    (likelihood has its maximum at alpha + beta infinite); every mean is the pooled share, every limit the
    Clopper-Pearson limit of the pooled share. No prior: with fewer than two groups that have trials, where every
    group with trials had all or none, or where moments give no prior; means are raw shares, limits
    Clopper-Pearson's, NaN without trials.

    Raises ValueError, naming the argument, for counts that are negative, not whole or not numbers, for more
    successes than trials, for unequal shapes, for a confidence outside (0, 1) and for an unknown fit.

    Sources: Griffiths, Biometrics 1973;29:637-648 (maximum likelihood); Gelman et al., Bayesian Data
    Analysis, 3rd ed. 2013, section 5.1 (moments); Tarone, Biometrika 1979;66:585-590 (score for pooling).

    Example: beta_binomial([0, 1, 5, 9], [20, 20, 20, 20]).mean gives 0.029500, 0.071340, 0.238698 and 0.406057.
    """
    won, tried = np.broadcast_arrays(*successes_in_trials(successes, trials))
    if tried.max(initial=0) > LARGEST_GROUP:
        raise ValueError(f"trials: must be at most {LARGEST_GROUP:,} in one group, found {tried.max():,.0f}")
    tail = (1 - confidence_level(confidence)) / 2
    seen = tried > 0
    alpha, beta, height, method = _beta_prior(won[seen], tried[seen], fit)
    if not 0 < alpha < np.inf:
        return _shares_without_prior(won, tried, confidence, (alpha, height, method))
    ahead, behind = alpha + won, beta + tried - won
    limits = special.betaincinv(ahead, behind, tail), special.betainccinv(ahead, behind, tail)
    prior, total = (alpha, beta, alpha / (alpha + beta)), ahead + behind
    return _shrunken(prior, ahead / total, limits, tried / total, height, method)


def gamma_poisson(events: ArrayLike, exposure: ArrayLike, confidence: float = 0.95) -> Shrunken:
    """Rates of groups shrunk towards their common rate by a gamma prior fitted to all groups.

    `events` are whole numbers, `exposure` amounts (uses, procedures), of one shape, a group each, at most
    1,000,000 events in one. The fit is marginal maximum likelihood (negative binomial); rates are per unit
    of exposure. A group without exposure takes the prior if it had no event, and is NaN if it had: its
    denominator is missing. Neither counts in the fit.

    Fall-backs, said in `method`. Complete pooling: where the groups differ no more than chance makes them;
    every mean is the pooled rate, every limit Garwood's of the pooled rate. No prior: with fewer than two
    groups that have exposure; the raw rate with Garwood's limits, NaN without exposure.

    Raises ValueError, naming the argument, for what is negative, not finite or not a number, for an
    exposure beyond 1e-12 to 1e15, for events that are not whole, for unequal shapes and for a confidence outside
    (0, 1).

    Sources: Greenwood & Yule, J R Stat Soc 1920;83:255-279 (the model); Lawless, Can J Stat 1987;15:209-225
    (maximum likelihood).

    Example: gamma_poisson([0, 2, 1, 14], [400, 500, 300, 600]).mean gives 0.001562, 0.004648, 0.004470 and 0.021184.
    """
    seen, watched = counts("events", events), measures("exposure", exposure)
    require_same_shape(events=seen, exposure=watched)
    seen, watched = np.broadcast_arrays(seen, watched)
    if seen.max(initial=0) > LARGEST_GROUP:
        raise ValueError(f"events: must be at most {LARGEST_GROUP:,} in one group, found {seen.max():,.0f}")
    tail = (1 - confidence_level(confidence)) / 2
    known = watched > 0
    alpha, beta, height, method = _gamma_prior(seen[known], watched[known])
    if not 0 < alpha < np.inf:
        return _rates_without_prior(seen, watched, confidence, (alpha, height, method))
    after = np.where(known | (seen == 0), beta + watched, np.nan)
    limits = (
        special.gammaincinv(alpha + seen, tail) / after,
        special.gammainccinv(alpha + seen, tail) / after,
    )
    prior = (alpha, beta, alpha / beta)
    return _shrunken(prior, (alpha + seen) / after, limits, watched / after, height, method)


def _beta_prior(won: FloatArray, tried: FloatArray, fit: str) -> tuple[float, float, float, str]:
    """Alpha, beta, log-likelihood and method; alpha infinite for complete pooling, 0 for no prior."""
    if fit not in ("likelihood", "moments"):
        raise ValueError(f'fit: must be "likelihood" or "moments", not {fit!r}')
    if won.size < 2:
        return 0.0, 0.0, np.nan, "no prior: fewer than two groups have trials; exact limits"
    pooled = won.sum() / tried.sum()
    if fit == "moments":
        return _beta_moments(won / tried)
    if not 0 < pooled < 1:
        return np.inf, np.inf, 0.0, "complete pooling: all groups had none or all had all; exact limits"
    binomial = won.sum() * np.log(pooled) + (tried - won).sum() * np.log1p(-pooled)
    chance = f"complete pooling: {tried.size} groups differ no more than chance makes them; exact limits"
    if _score_of_shares(won, tried, pooled) <= 0:
        return np.inf, np.inf, float(binomial), chance
    if ((won == 0) | (won == tried)).all():
        return 0.0, 0.0, np.nan, "no prior: every group had all or none; exact limits"
    place, height = _climb(_beta_surface(won, tried), np.array([special.logit(pooled), np.log(0.1)]))
    mean, spread = special.expit(place[0]), np.exp(place[1])
    if spread * tried.max() < ENDLESS:
        return np.inf, np.inf, float(binomial), chance
    method = f"beta prior by maximum likelihood from {tried.size} groups"
    return float(mean / spread), float((1 - mean) / spread), height, method


def _beta_moments(shares: FloatArray) -> tuple[float, float, float, str]:
    mean, variance = float(shares.mean()), float(shares.var(ddof=1))
    if variance == 0:
        return np.inf, np.inf, np.nan, "complete pooling: all raw shares are equal; exact limits"
    total = mean * (1 - mean) / variance - 1
    if total <= 0:
        return 0.0, 0.0, np.nan, "no prior: raw shares vary too much for the method of moments; exact limits"
    return (
        mean * total,
        (1 - mean) * total,
        np.nan,
        f"beta prior by the method of moments from {shares.size} groups",
    )


def _gamma_prior(seen: FloatArray, watched: FloatArray) -> tuple[float, float, float, str]:
    if seen.size < 2:
        return 0.0, 0.0, np.nan, "no prior: fewer than two groups have exposure; Garwood's limits"
    if not seen.any():
        return np.inf, np.inf, 0.0, "complete pooling: no group had an event; Garwood's limits"
    rate = seen.sum() / watched.sum()
    expected = rate * watched
    poisson = float((seen * np.log(rate) - expected).sum())
    chance = f"complete pooling: {seen.size} groups differ no more than chance makes them; Garwood's limits"
    if ((seen - expected) ** 2 - seen).sum() <= 0:
        return np.inf, np.inf, poisson, chance
    place, height = _climb(_gamma_surface(seen, watched), np.array([np.log(rate), np.log(0.1)]))
    mean, spread = np.exp(place[0]), np.exp(place[1])
    if spread * expected.max() < ENDLESS:
        return np.inf, np.inf, poisson, chance
    method = f"gamma prior by maximum likelihood from {seen.size} groups"
    return float(1 / spread), float(1 / (spread * mean)), height, method


def _score_of_shares(won: FloatArray, tried: FloatArray, pooled: float) -> float:
    """Twice the slope of the log-likelihood where the groups begin to differ (Tarone's score)."""
    lost = tried - won
    return float((won * (won - 1) / pooled + lost * (lost - 1) / (1 - pooled) - tried * (tried - 1)).sum())


def _more_than(values: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Whole numbers k from 0, and how many of `values` are above each; up to the largest value."""
    tally = np.bincount(values.astype(np.int64))
    return np.arange(tally.size - 1.0), tally[::-1].cumsum()[::-1][1:].astype(np.float64)


def _beta_surface(won: FloatArray, tried: FloatArray) -> Surface:
    """Log-likelihood by (logit of the mean, log of the spread 1/(alpha + beta)), its slopes and curvatures.

    Griffiths' form: sums over single trials, which lose no digit however large alpha and beta become.
    """
    wins, losses, all_trials = _more_than(won), _more_than(tried - won), _more_than(tried)

    def surface(place: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        mean, spread = special.expit(place[0]), np.exp(place[1])
        rest = special.expit(-place[0])
        (i, a), (j, b), (k, c) = wins, losses, all_trials
        won_terms, lost_terms, all_terms = mean + i * spread, rest + j * spread, 1 + k * spread
        value = a @ np.log(won_terms) + b @ np.log(lost_terms) - c @ np.log(all_terms)
        by_mean = a @ (1 / won_terms) - b @ (1 / lost_terms)
        by_spread = a @ (i / won_terms) + b @ (j / lost_terms) - c @ (k / all_terms)
        mean_mean = -(a @ won_terms**-2) - b @ lost_terms**-2
        mean_spread = -(a @ (i / won_terms**2)) + b @ (j / lost_terms**2)
        spread_spread = -(a @ (i / won_terms) ** 2) - b @ (j / lost_terms) ** 2 + c @ (k / all_terms) ** 2
        chain = np.array([mean * rest, spread])
        slope = np.array([by_mean, by_spread]) * chain
        curve = np.array([[mean_mean, mean_spread], [mean_spread, spread_spread]]) * np.outer(chain, chain)
        return float(value), slope, curve + np.diag(slope * [rest - mean, 1.0])

    return surface


def _gamma_surface(seen: FloatArray, watched: FloatArray) -> Surface:
    """Log-likelihood by (log of the mean rate, log of the spread 1/alpha), its slopes and curvatures."""
    k, above = _more_than(seen)

    def surface(place: FloatArray) -> tuple[float, FloatArray, FloatArray]:
        spread = np.exp(place[1])
        expected = np.exp(place[0]) * watched
        grown = 1 + spread * expected
        own = np.log1p(spread * expected) / spread
        value = above @ np.log1p(k * spread) + (seen * place[0] - own - seen * np.log(grown)).sum()
        by_mean = ((seen - expected) / grown).sum()
        share = expected / grown
        by_spread = above @ (k / (1 + k * spread)) + ((own - share) / spread - seen * share).sum()
        mean_mean = -(expected * (1 + spread * seen) / grown**2).sum()
        mean_spread = -((seen - expected) * expected / grown**2).sum()
        bend = (2 * (share - own) / spread + share**2) / spread + seen * share**2
        spread_spread = bend.sum() - above @ (k / (1 + k * spread)) ** 2
        curve = np.array(
            [
                [mean_mean, mean_spread * spread],
                [mean_spread * spread, spread_spread * spread**2 + by_spread * spread],
            ]
        )
        return float(value), np.array([by_mean, by_spread * spread]), curve

    return surface


def _climb(surface: Surface, place: FloatArray) -> tuple[FloatArray, float]:
    """Top of a smooth surface by Newton's method: uphill whatever the curvature, never down, in short steps."""
    value, slope, curve = surface(place)
    for _step in range(STEPS):
        sizes, axes = np.linalg.eigh(curve)
        step = axes @ ((axes.T @ slope) / np.maximum(np.abs(sizes), 1e-12))
        step *= min(1.0, 2.0 / max(float(np.abs(step).max()), 1e-300))
        while (tried := surface(place + step))[0] < value and np.abs(step).max() > 1e-14:
            step = step / 2
        if np.abs(step).max() <= 1e-13 or tried[0] < value:
            break
        place, (value, slope, curve) = place + step, tried
        if np.abs(step).max() < 1e-9:
            break
    return place, value


def _shares_without_prior(
    won: FloatArray, tried: FloatArray, confidence: float, prior: tuple[float, float, str]
) -> Shrunken:
    alpha, height, method = prior
    weight = np.full(tried.shape, 0.0 if alpha else 1.0)
    if alpha:
        won, tried = np.full_like(won, won.sum()), np.full_like(tried, tried.sum())
    mean = won / np.where(tried > 0, tried, np.nan)
    common = float(mean.flat[0]) if alpha else np.nan
    lower, upper = clopper_pearson(won, tried, confidence)
    return _shrunken((alpha, alpha, common), mean, (lower, upper), weight, height, method)


def _rates_without_prior(
    seen: FloatArray, watched: FloatArray, confidence: float, prior: tuple[float, float, str]
) -> Shrunken:
    alpha, height, method = prior
    known = (watched > 0) | (seen == 0)
    weight = np.where(known, 0.0 if alpha else 1.0, np.nan)
    common = np.nan
    if alpha:
        events, exposure = seen[known].sum(), watched.sum(where=known)
        common = float(events / exposure)
        seen, watched = np.full_like(seen, events), np.where(known, exposure, 0.0)
    mean = seen / np.where(watched > 0, watched, np.nan)
    lower, upper = garwood(seen, watched, confidence)
    return _shrunken((alpha, alpha, common), mean, (lower, upper), weight, height, method)


def _shrunken(
    prior: tuple[float, float, float],
    mean: FloatArray,
    limits: tuple[FloatArray, FloatArray],
    weight: FloatArray,
    log_likelihood: float,
    method: str,
) -> Shrunken:
    """The result, its arrays read-only; `prior` is alpha, beta and the prior's mean."""
    means, lower, upper, weights = (
        read_only(np.array(values, dtype=np.float64)) for values in (mean, *limits, weight)
    )
    return Shrunken(*prior, means, lower, upper, weights, log_likelihood, method)
