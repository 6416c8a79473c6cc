"""Confidence limits of a rate from events and their exposure; it never turns "no exposure" into a number."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.statistics._inputs import FloatArray, amounts, confidence_level, counts, require_same_shape


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
