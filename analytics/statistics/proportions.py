"""Confidence limits of a proportion from its counts; it never turns "no trials" into a number."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.statistics._inputs import FloatArray, successes_in_trials, two_sided_quantile


def wilson(
    successes: ArrayLike, trials: ArrayLike, confidence: float = 0.95, continuity: bool = False
) -> tuple[FloatArray, FloatArray]:
    """Wilson's score limits of `successes` in `trials`, two-sided.

    Both are whole numbers, each a single number or an array, arrays of one shape. Returns `(lower, upper)` in
    that shape (NumPy floats for single numbers), as fractions of 1: within [0, 1], exactly 0 at 0 successes,
    exactly 1 where every trial succeeded, NaN where there was no trial. `continuity=True` gives the wider
    limits with continuity correction.

    Raises ValueError, naming the argument, for counts that are negative, not whole or not numbers, for more
    successes than trials, for unequal shapes and for a confidence outside (0, 1).

    Source: Wilson, J Am Stat Assoc 1927;22:209-212; Newcombe, Stat Med 1998;17:857-872, method 3, and with
    continuity correction method 4.

    Example: wilson(7, 12) gives 0.319511 to 0.806740.
    """
    won, tried = successes_in_trials(successes, trials)
    z = two_sided_quantile(confidence)
    tried = np.where(tried > 0, tried, np.nan)
    # The correction is the same limit, taken half a success further out.
    step = 0.5 if continuity else 0.0
    lower = _score_lower(np.maximum(won - step, 0.0), tried, z)
    upper = _score_upper(np.minimum(won + step, tried), tried, z)
    return lower[()], upper[()]


def _score_lower(won: FloatArray, tried: FloatArray, z: float) -> FloatArray:
    # Product of both roots over the greater root: no difference of nearly equal numbers, and exactly 0 at 0.
    return won / tried * won / np.where(won > 0, _greater_root(won, tried, z), 1.0)


def _score_upper(won: FloatArray, tried: FloatArray, z: float) -> FloatArray:
    upper = np.minimum(_greater_root(won, tried, z) / (tried + z * z), 1.0)
    return np.where(won == tried, 1.0, upper)


def _greater_root(won: FloatArray, tried: FloatArray, z: float) -> FloatArray:
    """The upper score limit times `tried + z²`."""
    return won + z * z / 2 + z * np.sqrt(won * (1 - won / tried) + z * z / 4)
