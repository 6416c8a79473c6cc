"""Confidence limits of a rate from events and their exposure; it never turns "no exposure" into a number."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.statistics._exact import less_and_equally_likely, log_probabilities, require_few_outcomes
from analytics.statistics._inputs import FloatArray, amounts, confidence_level, counts, require_same_shape


class RateRatio(NamedTuple):
    """A ratio of two rates with its limits and the p-value of their being equal."""

    ratio: FloatArray
    lower: FloatArray
    upper: FloatArray
    p_value: FloatArray


def garwood(
    events: ArrayLike, exposure: ArrayLike = 1.0, confidence: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Garwood's exact Poisson limits of the rate of `events` per unit of `exposure`, two-sided.

    `events` are whole numbers, `exposure` any amounts of 0 or more (uses, procedures, patient-years), each a
    single number or an array, arrays of one shape. Returns `(lower, upper)` in that shape (NumPy floats for
    single numbers), in events per unit of exposure: lower is exactly 0 at 0 events, both are NaN where the
    exposure is 0.

    Raises ValueError, naming the argument, for what is negative, not finite or not a number, for events that
    are not whole, for unequal shapes and for a confidence outside (0, 1).

    Source: Garwood, Biometrika 1936;28:437-442; its chi-square quantiles are twice the gamma quantiles here.

    Example: garwood(5, 1.25) gives 1.298789 to 9.334666.
    """
    seen, watched = counts("events", events), amounts("exposure", exposure)
    require_same_shape(events=seen, exposure=watched)
    tail = (1 - confidence_level(confidence)) / 2
    lower = np.where(seen > 0, special.gammaincinv(np.maximum(seen, 1.0), tail), 0.0)
    upper = special.gammainccinv(seen + 1, tail)
    watched = np.where(watched > 0, watched, np.nan)
    with np.errstate(over="ignore"):  # an exposure next to nothing: the rate has no upper limit
        return (lower / watched)[()], (upper / watched)[()]


def compare_rates(
    x1: ArrayLike, exposure1: ArrayLike, x2: ArrayLike, exposure2: ArrayLike, confidence: float = 0.95
) -> RateRatio:
    """The ratio of the rate `x1`/`exposure1` to the rate `x2`/`exposure2`, with exact limits, two-sided.

    Events are whole numbers, exposures any amounts of 0 or more in one unit, each a single number or an array,
    arrays of one shape. Returns `(ratio, lower, upper, p_value)` in that shape (NumPy floats for single numbers).
    Without events in the second the ratio and its upper limit are infinite; without any events the ratio is NaN,
    from 0 to infinity, with a p-value of 1; all are NaN where either has no exposure.

    Given how many events there were in all, those of the first are binomial: the limits are Clopper and Pearson's,
    and the p-value adds up the outcomes at most as likely as the observed one. The limits leave half of the doubt
    at either end and the p-value does not, so that close to 1 - confidence the two can disagree.

    It compares what was counted: rates whose exposure was counted in other ways are not comparable.

    Raises ValueError, naming the argument, for what is negative, not finite or not a number, for events that are
    not whole or more than 1,000,000 in all, for unequal shapes and for a confidence outside (0, 1).

    Source: Przyborowski & Wilenski, Biometrika 1940;31:313-323 (the conditional test); Clopper & Pearson,
    Biometrika 1934;26:404-413 (the limits).

    Example: compare_rates(5, 1200, 1, 2500) gives 10.416667, from 1.165608 to 492.682693, with p 0.015711.
    """
    one, other = counts("x1", x1), counts("x2", x2)
    watched_1, watched_2 = amounts("exposure1", exposure1), amounts("exposure2", exposure2)
    require_same_shape(x1=one, exposure1=watched_1, x2=other, exposure2=watched_2)
    require_few_outcomes("x1 and x2 together", one + other)
    missing = (watched_1 == 0) | (watched_2 == 0)
    log_odds = np.log(np.where(missing, np.nan, watched_1)) - np.log(np.where(missing, np.nan, watched_2))
    some, others = np.maximum(one, 1.0), np.maximum(other, 1.0)
    lower, upper = _limits_of_odds(one, other, (1 - confidence_level(confidence)) / 2)
    nothing = np.where(missing, np.nan, 0.0)
    with np.errstate(over="ignore"):  # an exposure next to nothing: the ratio has no upper limit
        unit = np.exp(-log_odds)
        ratio = np.where(one > 0, some / others * unit, nothing)
        lower = np.where(one > 0, lower * unit, nothing)
        upper = np.where(other > 0, upper * unit, np.inf + nothing)
    ratio = np.where(other > 0, ratio, np.where(one > 0, np.inf, np.nan) + nothing)
    return RateRatio(ratio[()], lower[()], upper[()], _p_values(one, other, log_odds)[()])


def _limits_of_odds(one: FloatArray, other: FloatArray, tail: float) -> tuple[FloatArray, FloatArray]:
    """Exact limits of the odds of an event being one of the first; the lower counts where there is one of them."""
    some, others = np.maximum(one, 1.0), np.maximum(other, 1.0)
    # Each side of the odds as a quantile of its own, so that none is rounded to 0.
    lower = special.betaincinv(some, other + 1, tail) / special.betainccinv(other + 1, some, tail)
    upper = special.betainccinv(one + 1, others, tail) / special.betaincinv(others, one + 1, tail)
    return lower, upper


def _p_values(one: FloatArray, other: FloatArray, log_odds: FloatArray) -> FloatArray:
    rows = np.broadcast(one, other, log_odds)
    values = [_p_value(*row) for row in rows]
    return np.array(values, dtype=np.float64).reshape(rows.shape)


def _p_value(one: float, other: float, log_odds: float) -> float:
    """Exact binomial test that `one` of `one + other` events fell where the odds say, by probabilities."""
    if np.isnan(log_odds):
        return np.nan
    steps = np.arange(one + other)
    logs = log_probabilities(np.log(one + other - steps) - np.log(steps + 1) + log_odds)
    return min(sum(less_and_equally_likely(logs, int(one))), 1.0)
