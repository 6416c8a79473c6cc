"""P7 and P13: statistics of many rows at once, beside bare expressions that check nothing; no database."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from analytics.statistics.control import binomial_cusum
from analytics.statistics.proportions import wilson
from analytics.statistics.similarity import Codes, Kind, gower
from tests.bench.measuring import Measured, side_by_side

DEVICES = 2_000
REPEATED = 50
"""One turn is too short for a clock."""
MONTHS = 120
CASES = (100_000, 1_000_000)
VARIABLES: dict[str, int] = {
    **{"situation": 30, "device_class": 40, "segment": 25, "calcification": 4, "tortuosity": 3},
    **{"access": 5, "kind": 3, "wire_class": 12},
}
"""What cases are compared by, each with its number of codes."""
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
    yield Measured("P7 wilson", "none", DEVICES, ratio, 2.0, f"{REPEATED} times: {detail}")


def sums() -> Iterator[Measured]:
    """Cumulative sums of 2,000 devices over ten years of months (P7)."""
    chances = np.random.default_rng(2)
    uses = chances.integers(0, 200, (DEVICES, MONTHS))
    events = chances.binomial(uses, 0.02)
    steps = (events * np.log(2.0) - uses * np.log1p(0.02)).T.copy()
    assert np.allclose(binomial_cusum(events, uses, 0.02, 2.0, 1.3).path, _bare_sums(steps, 1.3).T)
    floats = events.astype(np.float64), uses.astype(np.float64)

    def floor() -> None:
        weights = (floats[0] * np.log(2.0) - floats[1] * np.log1p(0.02)).T.copy()
        _bare_sums(weights, 1.3)

    ratio, detail = side_by_side(lambda: binomial_cusum(events, uses, 0.02, 2.0, 1.3), floor, rounds=21)
    yield Measured("P7 cusum", "none", DEVICES, ratio, 2.0, f"{MONTHS} months; {detail}")


def _bare_sums(steps: NDArray[np.float64], threshold: float) -> NDArray[np.float64]:
    path, now = np.empty_like(steps), np.zeros(steps.shape[1])
    for month, step in enumerate(steps):
        path[month] = now = np.maximum(now + step, 0.0)
        now = np.where(now >= threshold, 0.0, now)
    return path


def alike() -> Iterator[Measured]:
    """The most alike of many coded cases (P13), some of their values missing."""
    for cases in CASES:
        yield _alike(cases)


def _alike(cases: int) -> Measured:
    chances = np.random.default_rng(3)
    given = {
        name: np.where(chances.random(cases) < 0.1, np.nan, chances.integers(0, codes, cases))
        for name, codes in VARIABLES.items()
    }
    columns = {name: Codes.of(values) for name, values in given.items()}
    query = {name: float(chances.integers(0, codes)) for name, codes in VARIABLES.items()}
    kinds: dict[str, Kind] = dict.fromkeys(VARIABLES, "category")
    weights = np.linspace(1.0, 0.3, len(VARIABLES))
    weighted = dict(zip(VARIABLES, weights.tolist(), strict=True))
    matrix = np.stack([np.nan_to_num(column, nan=-1) for column in given.values()]).astype(np.int8)
    asked = np.array(list(query.values()), dtype=np.int8)

    def floor() -> NDArray[np.float64]:
        told, same = np.zeros(cases), np.zeros(cases)
        for row, value, weight in zip(matrix, asked, weights, strict=True):
            told += weight * (row >= 0)
            same += weight * (row == value)
        return np.divide(same, told, out=np.full(cases, np.nan), where=told > 0)

    assert np.allclose(gower(query, columns, kinds, weighted), floor(), equal_nan=True), (
        "the likenesses differ"
    )
    ratio, detail = side_by_side(lambda: gower(query, columns, kinds, weighted), floor, rounds=15)
    held = sum(column.codes.nbytes for column in columns.values()) / 1e6
    return Measured(
        "P13", "none", cases, ratio, 1.5, f"{len(VARIABLES)} coded variables, {held:.1f} MB; {detail}"
    )
