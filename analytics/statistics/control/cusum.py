"""Cumulative sums of single outcomes and the rule "k events within m uses"; a signal asks for a look, no more."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.statistics._inputs import (
    FloatArray,
    IntArray,
    amounts,
    counts,
    fraction,
    indicators,
    one_amount,
    read_only,
    require_same_shape,
    row,
    successes_in_trials,
)

BOUNDARY = "signal where the path is at or above the threshold"
LARGEST_RATIO = 1000.0
TOUCHING = 1e-9  # a sum of floats this near below the threshold has reached it


@dataclass(frozen=True, slots=True, eq=False)
class Cusum:
    """Paths of one or many cumulative sums; arrays are read-only.

    `path`: the sum after each outcome, in the shape of the outcomes, never below 0; at an alarm as it was
    before its return to 0. `alarms`: where path >= threshold: indices of outcomes for one row, else rows of
    (index along each axis). `threshold`, `boundary` and `reset` say the rule.
    """

    path: FloatArray
    alarms: IntArray
    threshold: float
    boundary: str = BOUNDARY
    reset: str = "back to 0 after each alarm"


@dataclass(frozen=True, slots=True, eq=False)
class EventsWithin:
    """Alarms of the rule "k events within m uses": indices into the events given, of the one that completes k.

    `expected`: how many alarms chance alone gives in all `uses` at `p0`, exact; `false_alarm`: the chance of at
    least one; both NaN without a p0. `method`: of that chance.
    """

    alarms: IntArray
    expected: float
    false_alarm: float
    method: str


def bernoulli_cusum(outcomes: ArrayLike, p0: float, odds_ratio: float, threshold: float) -> Cusum:
    """Cumulative sum of log-likelihood ratios of outcomes, odds `odds_ratio` times those of `p0` against p0.

    `outcomes`: 1 or True for an event, 0 or False for none, in order of use along the last axis, earlier axes
    are separate sums (devices). S = max(0, S + W), W = ln(OR) - ln(1 - p0 + OR p0) at an event and
    -ln(1 - p0 + OR p0) without; signal where S >= threshold, after which S begins at 0 again. An odds ratio
    above 1 looks for more events, below 1 for fewer. The threshold is in log-likelihood units, as
    `cusum_design` gives it.

    Raises ValueError, naming the argument, for outcomes that are neither 0 nor 1, a p0 outside (0, 1), an
    odds ratio outside 0.001 to 1,000 or of 1, and a threshold that is not above 0.

    Source: Reynolds & Stoumbos, J Qual Technol 1999;31:87-108; weights as Steiner et al., Biostatistics
    2000;1:441-452, equation 2, with one risk for all.

    Example: bernoulli_cusum([0, 1, 0, 1, 1], 0.02, 2.0, 1.3).alarms gives 3.
    """
    seen = np.atleast_1d(indicators("outcomes", outcomes)).astype(np.float64)
    risk, ratio = fraction("p0", p0), odds_ratio_of(odds_ratio)
    return _cusum(log_likelihood_ratios(seen, 1.0, risk, ratio), threshold)


def binomial_cusum(
    events: ArrayLike, uses: ArrayLike, p0: float, odds_ratio: float, threshold: float
) -> Cusum:
    """As `bernoulli_cusum`, of `events` in `uses` per period (month) along the last axis, looked at once a period.

    Both whole numbers; one number of uses may serve all. It signals no earlier than the sum over single uses
    would, and average run lengths of `average_run_length` are not its own.

    Raises ValueError as `bernoulli_cusum`, and for counts that are negative, not whole or not numbers, events
    above uses and unequal shapes.

    Source: Steiner et al., Biostatistics 2000;1:441-452, equation 2, the weights of a period's uses added.

    Example: binomial_cusum([0, 2, 1], [30, 25, 40], 0.02, 2.0, 1.3).path[1] gives 0.891229.
    """
    seen, used = successes_in_trials(events, uses, ("events", "uses"))
    risk, ratio = fraction("p0", p0), odds_ratio_of(odds_ratio)
    if not seen.ndim or seen.shape != used.shape:
        seen, used = map(np.array, np.broadcast_arrays(np.atleast_1d(seen), used))
    # In place, in arrays that are nobody else's: for many devices new ones would cost more than the arithmetic.
    seen *= log_likelihood_ratios(1.0, 0.0, risk, ratio)
    used *= log_likelihood_ratios(0.0, 1.0, risk, ratio)
    seen += used
    return _cusum(seen, threshold)


def risk_adjusted_cusum(
    outcomes: ArrayLike,
    expected: ArrayLike,
    odds_ratio: float,
    threshold: float,
    baseline_ratio: float = 1.0,
) -> Cusum:
    """Cumulative sum of log-likelihood ratios of outcomes, each against its own expected risk.

    `outcomes` and axes as in `bernoulli_cusum`; `expected` the risk of each, from 0 to 1, or one for all.
    With p the risk, R0 = `baseline_ratio`, RA = `odds_ratio`: W = ln[((1 - p + R0 p) RA)/((1 - p + RA p) R0)]
    at an event, ln[(1 - p + R0 p)/(1 - p + RA p)] without. Signal where S >= threshold, then from 0 again.

    Raises ValueError, naming the argument, for outcomes that are neither 0 nor 1, risks outside [0, 1],
    unequal shapes, ratios outside 0.001 to 1,000 or equal to each other, and a threshold that is not above 0.

    Source: Steiner, Cook, Farewell & Treasure, Biostatistics 2000;1:441-452, equation 2.

    Example: risk_adjusted_cusum([0, 1, 0, 1], [0.02, 0.05, 0.02, 0.1], 2.0, 4.5).path[3] gives 1.222391.
    """
    seen = np.atleast_1d(indicators("outcomes", outcomes)).astype(np.float64)
    risk = risks("expected", expected)
    require_same_shape(outcomes=seen, expected=risk)
    weights = log_likelihood_ratios(
        seen, 1.0, risk, odds_ratio_of(odds_ratio, baseline_ratio), float(baseline_ratio)
    )
    return _cusum(weights, threshold)


def events_within(events_at: ArrayLike, uses: int, k: int, m: int, p0: float | None = None) -> EventsWithin:
    """The rule "k events within m uses in a row": where it speaks, and how often it would by chance.

    `events_at`: numbers of the uses, from 1 to `uses`, that had an event, rising. An event gives an alarm
    where it and the k - 1 before it lie within m uses; there is no return to 0. `p0` a constant chance of an
    event a use, for the false alarms that are expected, exact, and the chance of at least one: exact for up to m
    uses and for k of 1, else Naus's approximation, exact at 2m and 3m uses.

    Raises ValueError, naming the argument, for numbers that are not whole, not rising or above `uses`, for
    a `k` or `m` below 1, more than m events asked for and a p0 outside (0, 1).

    Source: Naus, J Am Stat Assoc 1982;77:177-183 (scan statistic of a sequence of Bernoulli trials).

    Example: events_within([5, 40, 44, 90], 100, 2, 10, 0.01).false_alarm gives 0.073438.
    """
    at = row("events_at", counts("events_at", events_at))
    total, needed, width = (_whole(name, value) for name, value in (("uses", uses), ("k", k), ("m", m)))
    if (np.diff(at) <= 0).any() or (at < 1).any() or (at > total).any():
        raise ValueError(f"events_at: must rise, from 1 to {total} uses")
    if needed > width:
        raise ValueError(f"k: must not be above m, but {needed} events cannot lie within {width} uses")
    close = at[needed - 1 :] - at[: at.size - needed + 1] < width if at.size >= needed else np.empty(0, bool)
    alarms = read_only(np.flatnonzero(close) + needed - 1)
    if p0 is None:
        return EventsWithin(alarms, float("nan"), float("nan"), "no chance of an event given")
    chance = fraction("p0", p0)
    expected = _expected_clusters(chance, total, needed, width)
    return EventsWithin(alarms, expected, *_chance_of_cluster(chance, total, needed, width))


def odds_ratio_of(odds_ratio: float, baseline_ratio: float = 1.0) -> float:
    """`odds_ratio` as a float; ValueError unless both are from 0.001 to 1,000 and differ."""
    ratio, baseline = one_amount("odds_ratio", odds_ratio), one_amount("baseline_ratio", baseline_ratio)
    for name, value in (("odds_ratio", ratio), ("baseline_ratio", baseline)):
        if not 1 / LARGEST_RATIO <= value <= LARGEST_RATIO:
            raise ValueError(
                f"{name}: must be from {1 / LARGEST_RATIO:g} to {LARGEST_RATIO:g}, not {value:g}"
            )
    if ratio == baseline:
        raise ValueError(f"odds_ratio: must differ from {baseline:g}, which it is compared with")
    return ratio


def risks(name: str, values: ArrayLike) -> FloatArray:
    """`values` as risks from 0 to 1; ValueError where one is not."""
    array = amounts(name, values)
    if (array > 1).any():
        raise ValueError(f"{name}: must be from 0 to 1, found {array.max():g}")
    return array


def least_reaching(threshold: float) -> float:
    """The least sum that has reached the threshold."""
    return threshold - TOUCHING * max(threshold, 1.0)


def log_likelihood_ratios(
    events: FloatArray | float,
    uses: FloatArray | float,
    risk: FloatArray | float,
    ratio: float,
    baseline: float = 1.0,
) -> FloatArray:
    """Log-likelihood ratio of `events` in `uses` at that risk."""
    without = np.log1p((baseline - 1) * risk) - np.log1p((ratio - 1) * risk)
    weights: FloatArray = events * (math.log(ratio) - math.log(baseline)) + uses * without
    return weights


def _cusum(weights: FloatArray, threshold: float) -> Cusum:
    """Step through the last axis, all rows at once."""
    limit = one_amount("threshold", threshold)
    reached = least_reaching(limit)
    by_step = np.array(np.moveaxis(weights, -1, 0), order="C")
    nothing, now = np.zeros(by_step.shape[1:]), np.zeros(by_step.shape[1:])
    # Each step is replaced by the sum after it: at this size new arrays would cost more than the sums.
    for index in range(len(by_step)):
        step = by_step[index, ...]
        np.maximum(np.add(step, now, out=step), nothing, out=step)
        np.multiply(step, step < reached, out=now)
    path = np.moveaxis(by_step, 0, -1)
    alarms = np.argwhere(path >= reached)
    return Cusum(read_only(path), read_only(alarms[:, 0] if path.ndim == 1 else alarms), limit)


def _whole(name: str, value: object) -> int:
    if isinstance(value, bool) or not isinstance(value, int) or value < 1:
        raise ValueError(f"{name}: must be one whole number of 1 or more, not {value!r}")
    return value


def _expected_clusters(p0: float, uses: int, k: int, m: int) -> float:
    """Over all uses: the chance that it is an event and that the m - 1 before it hold k - 1 or more."""
    if uses < k:
        return 0.0
    before = np.arange(k - 1, min(uses, m))
    enough = special.bdtrc(k - 2, before, p0) if k > 1 else np.ones(before.size)
    return float(p0 * (enough.sum() + max(uses - m, 0) * enough[-1]))


def _chance_of_cluster(p0: float, uses: int, k: int, m: int) -> tuple[float, str]:
    """Chance that some m uses in a row hold k events or more, and how it was found."""
    if k == 1:
        return -math.expm1(uses * math.log1p(-p0)), "exact"
    if uses <= m:
        return float(special.betainc(k, uses - k + 1, p0)) if uses >= k else 0.0, "exact"
    two, three = _no_cluster(p0, k, m)
    if not two > 0:
        return 1.0, "Naus's approximation"
    method = "exact" if uses in (2 * m, 3 * m) else "Naus's approximation"
    return min(max(1 - two * (three / two) ** (uses / m - 2), 0.0), 1.0), method


def _no_cluster(p0: float, k: int, m: int) -> tuple[float, float]:
    """Naus's exact chances of no k events within m uses, in 2m and in 3m uses."""

    def just(events: int) -> float:
        return at_most(events) - at_most(events - 1) if 0 <= events <= m else 0.0

    def at_most(events: int, trials: int = m) -> float:
        return float(special.bdtr(min(events, trials), trials, p0)) if events >= 0 else 0.0

    mean = m * p0
    b, f = just(k), at_most(k - 1)
    two = f**2 - (k - 1) * b * at_most(k - 2) + mean * b * at_most(k - 3, m - 1)
    a1 = 2 * b * f * ((k - 1) * at_most(k - 2) - mean * at_most(k - 3, m - 1))
    a2 = (
        0.5
        * b**2
        * (
            (k - 1) * (k - 2) * at_most(k - 3)
            - 2 * (k - 2) * mean * at_most(k - 4, m - 1)
            + m * (m - 1) * p0**2 * at_most(k - 5, m - 2)
        )
    )
    a3 = sum(just(2 * k - r) * at_most(r - 1) ** 2 for r in range(1, k))
    a4 = sum(
        just(2 * k - r) * just(r) * ((r - 1) * at_most(r - 2) - mean * at_most(r - 3, m - 1))
        for r in range(2, k)
    )
    return two, f**3 - a1 + a2 + a3 - a4
