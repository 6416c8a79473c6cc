"""What had happened by the n-th attempt, with competing endings; it never takes those for censored."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from analytics.statistics._inputs import FloatArray, IntArray, counts


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
        _read_only(attempts),
        _read_only(at_risk),
        MappingProxyType(dict(zip(names, _read_only(incidence), strict=True))),
        MappingProxyType(dict(zip(names, _read_only(variance), strict=True))),
    )


def _one_per_complication(
    attempt: ArrayLike, cause: Iterable[str | None] | None
) -> tuple[IntArray, list[str | None]]:
    made = np.atleast_1d(counts("attempt", attempt)).astype(np.int64)
    if made.ndim > 1:
        raise ValueError("attempt: must be one row of numbers, one per complication")
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
    """Incidence and variance from events, all three of shape (causes, attempts), and from those at risk.

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
    return incidence, np.maximum(np.cumsum(added, axis=1), 0.0)


def _read_only(array: NDArray[Any]) -> NDArray[Any]:
    array.setflags(write=False)
    return array
