"""What had happened by the n-th attempt or by a time; it never takes an ending that competes for censored."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike

from analytics.statistics._inputs import (
    FloatArray,
    IntArray,
    amounts,
    counts,
    indicators,
    read_only,
    row,
    two_sided_quantile,
)
from analytics.statistics.proportions import wilson


@dataclass(frozen=True, slots=True, eq=False)
class CumulativeIncidence:
    """Share of complications ended from each cause by each attempt; every array is as long as `attempts`.

    `attempts`: every whole number from 0 (from 1 where nothing was seen at 0) to the largest. `at_risk`:
    those neither ended nor censored before that attempt. `incidence[cause]`: share ended from that cause up
    to and with that attempt, from 0 to 1. `variance[cause]`: variance of that share. The causes are those
    that occurred, sorted. Arrays are read-only.

    A variance of 0 is no certainty: like Greenwood's, this estimator gives it while a cause has not occurred
    and where all ended alike. For "k of m" show the limits of `proportions.wilson`.
    """

    attempts: IntArray
    at_risk: IntArray
    incidence: Mapping[str, FloatArray]
    variance: Mapping[str, FloatArray]


@dataclass(frozen=True, slots=True, eq=False)
class KaplanMeier:
    """Share still without the event after each of `times`; every array is as long and read-only.

    `times`: each time at which somebody had the event or was last seen, rising. `at_risk`: those neither with
    the event nor censored before it. `events`: those with the event at it. `survival`: share without the event
    after it, from 0 to 1. `variance`: Greenwood's variance of that share. `lower`, `upper`: its limits, one
    pair at each time, not a band for the curve as a whole.

    Where survival is 1 (no event yet) or 0 the variance is 0 and both limits are the share itself, as is
    usual: the transformation has no other there. That is no certainty; `proportions.wilson` says how little is known.
    """

    times: FloatArray
    at_risk: IntArray
    events: IntArray
    survival: FloatArray
    variance: FloatArray
    lower: FloatArray
    upper: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class ConditionalSuccess:
    """Success at each attempt among those who made it; every array is as long as `attempts` and read-only.

    `attempts`: every whole number from 1 to the largest. `made`: complications in which that attempt was
    made. `succeeded`: those that ended with it in success. `share`: the second in the first, from 0 to 1.
    `lower`, `upper`: Wilson's limits of that share.

    Those who made a later attempt are those in whom the earlier ones had not been enough: shares at
    different attempts are of different complications and say nothing of what is tried first or later.
    """

    attempts: IntArray
    made: IntArray
    succeeded: IntArray
    share: FloatArray
    lower: FloatArray
    upper: FloatArray


def cumulative_incidence(attempt: ArrayLike, cause: Iterable[str | None] | None) -> CumulativeIncidence:
    """Cumulative incidence of each cause by attempt (Aalen-Johansen estimator on whole attempts).

    One entry per complication: `attempt` the number of attempts made (0 or more) when it ended or was last
    seen, `cause` how it ended, None where it is censored. What is censored at an attempt was at risk at it.
    Without complications all arrays and mappings are empty.

    The variance is the Greenwood-type estimator: at each attempt the causes share out those at risk as a
    multinomial, carried forward by the delta method. It allows for ties, of which attempts have many; it is
    defined where all at risk end at once; without censoring it is F(1 - F)/n, that of a plain proportion.
    Estimators of Aalen's type divide by (at risk - events) and (at risk - 1), which become 0 there.

    Raises ValueError, naming the argument, for attempts that are negative, not whole or not numbers, for a
    cause that is neither text nor None, and for unequal lengths.

    Sources: Aalen & Johansen, Scand J Stat 1978;5:141-150; variance: Marubini & Valsecchi, Analysing Survival
    Data from Clinical Trials and Observational Studies, 1995; the same estimator is recommended by Allignol,
    Schumacher & Beyersmann, Biom J 2010;52:126-137.

    Example: cumulative_incidence([1, 2, 2, 1, 1], ["out", "out", "secured", "died", None]).incidence["out"] gives
    0.2 by the first attempt and 0.5 by the second.
    """
    made, causes = _one_per_complication(attempt, cause)
    names = sorted({name for name in causes if name is not None})
    first = 0 if (made == 0).any() else 1
    attempts = np.arange(first, made.max(initial=0) + 1, dtype=np.int64)
    ended = np.bincount(made - first, minlength=attempts.size)
    at_risk = ended[::-1].cumsum()[::-1]
    said = np.array(causes, dtype=object)
    events = np.array([np.bincount(made[said == name] - first, minlength=attempts.size) for name in names])
    incidence, variance = _aalen_johansen(events.reshape(len(names), attempts.size), at_risk)
    return CumulativeIncidence(
        read_only(attempts),
        read_only(at_risk),
        MappingProxyType(dict(zip(names, incidence, strict=True))),
        MappingProxyType(dict(zip(names, variance, strict=True))),
    )


def kaplan_meier(times: ArrayLike, events: ArrayLike, confidence: float = 0.95) -> KaplanMeier:
    """Share still without the event by time, some censored (Kaplan-Meier estimator).

    One entry per subject: `times` the amount of time (0 or more, any unit) until the event or until last
    seen, `events` 1 or True where it was the event, 0 or False where censored. What is censored at a time was
    at risk at it. Before the first of the times the share is 1. Without subjects all arrays are empty.

    Variance: Greenwood's, S² times the sum of d/(n(n - d)); where all at risk have the event it is 0, the
    limit without censoring. Limits: symmetric for log(-log S), so they never leave [0, 1]; those of a share
    of 1 or 0 are that share. An ending that rules the event out is no censoring: for several endings see
    `cumulative_incidence`.

    Raises ValueError, naming the argument, for times that are negative, not finite or not numbers, for events
    that are neither yes nor no, for unequal lengths and for a confidence outside (0, 1).

    Sources: Kaplan & Meier, J Am Stat Assoc 1958;53:457-481; variance: Greenwood, Reports on Public Health
    and Medical Subjects 33, 1926; limits: Kalbfleisch & Prentice, The Statistical Analysis of Failure Time
    Data, 1980, section 1.3.

    Example: kaplan_meier([6, 6, 6, 7, 9], [1, 1, 0, 1, 0]).survival gives 0.6, 0.3 and 0.3.
    """
    z = two_sided_quantile(confidence)
    seen = row("times", amounts("times", times))
    happened = row("events", indicators("events", events))
    if seen.size != happened.size:
        raise ValueError(f"times and events: must be equally long, but are {seen.size} and {happened.size}")
    moments, place = np.unique(seen, return_inverse=True)
    left = np.bincount(place, minlength=moments.size)
    had = np.bincount(place[happened], minlength=moments.size)
    at_risk = left[::-1].cumsum()[::-1]
    stayed = at_risk - had
    survival = np.cumprod(stayed / at_risk)
    growth = np.cumsum(had / (at_risk * np.where(stayed > 0, stayed, np.inf)))
    lower, upper = _log_log_limits(survival, growth, z)
    curve = (moments, at_risk, had, survival, survival**2 * growth, lower, upper)
    return KaplanMeier(*(read_only(array) for array in curve))


def _log_log_limits(survival: FloatArray, growth: FloatArray, z: float) -> tuple[FloatArray, FloatArray]:
    """Limits of the share from `growth`, its variance over its square; the share itself where that is 1 or 0."""
    inside = (survival > 0) & (survival < 1)
    hazard = -np.log(np.where(inside, survival, 0.5))
    with np.errstate(over="ignore"):  # a limit so far out that it is 0 or 1
        spread = np.exp(z * np.sqrt(growth) / hazard)
        lower, upper = np.exp(-hazard * spread), np.exp(-hazard / spread)
    return np.where(inside, lower, survival), np.where(inside, upper, survival)


def conditional_success(
    attempt: ArrayLike, succeeded: ArrayLike, confidence: float = 0.95
) -> ConditionalSuccess:
    """Success at each attempt among those who made it, with Wilson's limits.

    One entry per complication: `attempt` the number of attempts made (0 or more), `succeeded` 1 or True where
    the last of them succeeded, 0 or False where it ended otherwise or the record ends. Those without any
    attempt are counted at none. Without an attempt all arrays are empty.

    Raises ValueError, naming the argument, for attempts that are negative, not whole or not numbers, for
    success that is neither yes nor no or is given without an attempt, for unequal lengths and for a
    confidence outside (0, 1).

    Source: Wilson, J Am Stat Assoc 1927;22:209-212, for the limits; the shares are plain proportions.

    Example: conditional_success([1, 1, 2, 2, 2], [1, 1, 1, 0, 0]).share gives 0.4 and 0.333333.
    """
    tries = row("attempt", counts("attempt", attempt)).astype(np.int64)
    success = row("succeeded", indicators("succeeded", succeeded))
    if tries.size != success.size:
        raise ValueError(
            f"attempt and succeeded: must be equally long, but are {tries.size} and {success.size}"
        )
    if (success & (tries == 0)).any():
        raise ValueError("succeeded: there is no success without an attempt")
    last = int(tries.max(initial=0))
    made = np.bincount(tries, minlength=last + 1)[::-1].cumsum()[::-1][1:]
    won = np.bincount(tries[success], minlength=last + 1)[1:]
    lower, upper = wilson(won, made, confidence)
    table = (np.arange(1, last + 1, dtype=np.int64), made, won, won / made, lower, upper)
    return ConditionalSuccess(*(read_only(array) for array in table))


def _one_per_complication(
    attempt: ArrayLike, cause: Iterable[str | None] | None
) -> tuple[IntArray, list[str | None]]:
    made = row("attempt", counts("attempt", attempt)).astype(np.int64)
    if cause is None or isinstance(cause, str):
        causes: list[str | None] = [cause]
    else:
        try:
            causes = list(cause)
        except TypeError:
            raise ValueError("cause: must be one text per complication, None where censored") from None
    for name in causes:
        if not (name is None or isinstance(name, str)):
            raise ValueError(f"cause: must be text, or None where censored, not {name!r}")
    if made.size != len(causes):
        raise ValueError(f"attempt and cause: must be equally long, but are {made.size} and {len(causes)}")
    return made, causes


def _aalen_johansen(events: IntArray, at_risk: IntArray) -> tuple[FloatArray, FloatArray]:
    """Incidence and variance, read-only, from events, all three of shape (causes, attempts), and from those at risk.

    Someone is at risk at every attempt of the grid, and someone stays after each but the last: nothing here
    is ever divided by 0.
    """
    ended = events.sum(axis=0)
    stayed = at_risk - ended
    open_before = np.concatenate(([1.0], np.cumprod(stayed / at_risk)))[:-1]
    gain = open_before * events / at_risk
    # Var(S)/S² and Cov(F, S)/S as they stood before each attempt, S being the share still open.
    growth = ended[:-1] / (at_risk[:-1] * stayed[:-1])
    relative_variance = np.concatenate(([0.0], np.cumsum(growth)))[: at_risk.size]
    step = gain * (relative_variance - 1 / at_risk)
    covariance = np.cumsum(step, axis=1) - step
    added = gain**2 * relative_variance + 2 * gain * covariance + gain * (open_before - gain) / at_risk
    incidence = np.minimum(np.cumsum(gain, axis=1), 1.0)
    return read_only(incidence), read_only(np.maximum(np.cumsum(added, axis=1), 0.0))
