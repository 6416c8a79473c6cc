"""Quantiles of counts by search in their distribution; it interpolates nothing."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from analytics.statistics._inputs import FloatArray


def smallest_above(
    distribution: Callable[[FloatArray], FloatArray], probability: FloatArray, highest: FloatArray
) -> FloatArray:
    """Smallest whole number r from 0 to `highest` with distribution(r) > probability, else `highest`.

    `distribution` gives P(R <= r) for an array of r; all arrays have one shape.
    """
    low, high = np.zeros_like(highest), highest.copy()
    for _halving in range(int(np.ceil(np.log2(highest.max(initial=0) + 1))) + 1):
        middle = np.floor((low + high) / 2)
        above = distribution(middle) > probability
        high = np.where(above, middle, high)
        low = np.where(above, low, np.minimum(middle + 1, high))
    return high
