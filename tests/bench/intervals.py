"""Wilson's limits of 2,000 devices, beside the bare expression that has no checks and no exact edges."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from analytics.statistics.proportions import wilson
from tests.bench.measuring import Measured, side_by_side

DEVICES = 2_000
REPEATED = 50
"""One turn is too short for a clock."""
TARGET = 3.0
Z = 1.959963984540054


def bare(successes: NDArray[np.float64], trials: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
    """Wilson's limits as a textbook has them."""
    half = Z * np.sqrt(successes * (1 - successes / trials) + Z * Z / 4)
    middle = successes + Z * Z / 2
    return (middle - half) / (trials + Z * Z), (middle + half) / (trials + Z * Z)


def intervals() -> Iterator[Measured]:
    """The ratio (P7); no database."""
    chances = np.random.default_rng(1)
    trials = chances.integers(1, 5_000, DEVICES)
    successes = chances.binomial(trials, 0.02)
    floats = successes.astype(np.float64), trials.astype(np.float64)
    ratio, detail = side_by_side(
        lambda: [wilson(successes, trials) for _ in range(REPEATED)],
        lambda: [bare(*floats) for _ in range(REPEATED)],
        rounds=21,
    )
    yield Measured("P7 wilson", "none", DEVICES, ratio, TARGET, f"{REPEATED} times: {detail}")
