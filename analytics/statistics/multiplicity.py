"""P-values adjusted for how many were looked at; it never drops one, and never decides what counts as found."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from analytics.statistics._inputs import FloatArray, IntArray, amounts


def benjamini_hochberg(p: ArrayLike) -> FloatArray:
    """P-values adjusted for the false discovery rate, by Benjamini and Hochberg's procedure.

    `p` holds one p-value from 0 to 1 for each comparison that was made, in one row. Returns the adjusted ones in
    the order given: those at most q are found while at most the share q of what is found is expected to be false.
    They are never below the p-values and never above 1; no comparisons, none. The procedure assumes p-values that
    are independent or rise together.

    Raises ValueError, naming the argument, for what is not a number from 0 to 1, for NaN, and for more than a row.

    Source: Benjamini & Hochberg, J R Stat Soc B 1995;57:289-300, procedure (1); as adjusted p-values Yekutieli &
    Benjamini, J Stat Plan Inference 1999;82:171-196 (from memory).

    Example: benjamini_hochberg([0.01, 0.04, 0.03, 0.005]) gives 0.02, 0.04, 0.04 and 0.02.
    """
    values = _p_values(p)
    order = np.argsort(values, kind="stable").astype(np.int64)
    ranks = np.arange(1, values.size + 1)
    rising = np.minimum.accumulate((values[order] * values.size / ranks)[::-1])[::-1]
    return _in_order_given(rising, order, values)


def holm(p: ArrayLike) -> FloatArray:
    """P-values adjusted for the chance of any false finding at all, by Holm's step-down procedure.

    `p`, shape, result and errors as in `benjamini_hochberg`; those at most α are found while the chance that any of
    them is false stays at most α, whatever the p-values have to do with each other. They are never above
    Bonferroni's, each p-value times how many there are.

    Source: Holm, Scand J Stat 1979;6:65-70.

    Example: holm([0.01, 0.04, 0.03, 0.005]) gives 0.03, 0.06, 0.06 and 0.02.
    """
    values = _p_values(p)
    order = np.argsort(values, kind="stable").astype(np.int64)
    rising = np.maximum.accumulate(values[order] * np.arange(values.size, 0, -1))
    return _in_order_given(rising, order, values)


def _p_values(p: ArrayLike) -> FloatArray:
    values = amounts("p", p)
    if (values > 1).any():
        raise ValueError(f"p: must be at most 1, found {values.max():g}")
    if values.ndim != 1:
        raise ValueError("p: must be one row of p-values")
    return values


def _in_order_given(sorted_values: FloatArray, order: IntArray, values: FloatArray) -> FloatArray:
    """Rounding is not to put an adjusted p-value below the p-value itself."""
    adjusted = np.empty(values.size)
    adjusted[order] = sorted_values
    return np.clip(adjusted, values, 1.0)
