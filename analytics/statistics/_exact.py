"""Exact p-values over all outcomes that could have been; it knows no question, only how likely each outcome is."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.statistics._inputs import FloatArray

MOST_OUTCOMES = 10**6  # that many can be added up while a page is waited for
SAME = 1e-7  # logarithms of probabilities closer than this are the same one, computed in two ways


def require_few_outcomes(name: str, outcomes: ArrayLike) -> None:
    """ValueError where there are more outcomes than can be added up."""
    if (np.asarray(outcomes) > MOST_OUTCOMES).any():
        raise ValueError(f"{name}: must be at most {MOST_OUTCOMES:,} for an exact p-value")


def log_probabilities(log_ratios: FloatArray) -> FloatArray:
    """Of all outcomes in a row, from the logarithm of each one's probability over that of the one before."""
    logs = np.concatenate(([0.0], np.cumsum(log_ratios)))
    logs -= logs.max()
    return np.asarray(logs - np.log(np.exp(logs).sum()))


def less_and_equally_likely(logs: FloatArray, observed: int) -> tuple[float, float]:
    """The probability of all outcomes less likely than the observed one, and of all as likely, itself included."""
    less = logs < logs[observed] - SAME
    equal = ~less & (logs <= logs[observed] + SAME)
    return float(np.exp(logs[less]).sum()), float(np.exp(logs[equal]).sum())
