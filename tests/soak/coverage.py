"""How often limits hold the truth: exactly for a share, by simulation where attempts come from few cases."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

from analytics.statistics.proportions import clopper_pearson, clustered_wilson_of_sums, mid_p, wilson

Array = NDArray[np.float64]
Table = dict[str, dict[int, tuple[float, float]]]
Limits = Callable[[Array, Array], tuple[Array, Array]]

METHODS: dict[str, Limits] = {"wilson": wilson, "clopper_pearson": clopper_pearson, "mid_p": mid_p}
SIZES = range(5, 51)
SHOWN = (5, 10, 20, 30, 40, 50)
NOMINAL = 0.95
EDGE = 1e-9
"""How far beyond a limit its chance is taken: coverage falls there, as that outcome no longer holds the truth."""

SEED = 20_261
SIMULATED = 20_000
CASES = 30
MOST_ATTEMPTS = 5


def coverage(method: Limits, trials: int, chances: Sequence[float] | Array) -> Array:
    """The probability, for each chance of success, that the limits of what is seen in `trials` hold that chance."""
    seen = np.arange(trials + 1.0)
    lower, upper = method(seen, np.full(seen.size, float(trials)))
    chance = np.asarray(chances, dtype=np.float64)[:, np.newaxis]
    ways = special.gammaln(trials + 1) - special.gammaln(seen + 1) - special.gammaln(trials - seen + 1)
    likely = np.exp(ways + special.xlogy(seen, chance) + special.xlog1py(trials - seen, -chance))
    return np.asarray((likely * ((lower <= chance) & (chance <= upper))).sum(axis=1))


def mean_coverage(method: Limits, trials: int) -> float:
    """Coverage averaged over all chances from 0 to 1, by the integral of each outcome between its limits."""
    seen = np.arange(trials + 1.0)
    lower, upper = method(seen, np.full(seen.size, float(trials)))
    beneath = special.betainc(seen + 1, trials - seen + 1, np.array([lower, upper]))
    return float((beneath[1] - beneath[0]).sum() / (trials + 1))


def least_coverage(method: Limits, trials: int) -> float:
    """The least coverage at any chance: coverage is smooth between limits, and lowest beside one of them."""
    seen = np.arange(trials + 1.0)
    limits = np.concatenate(method(seen, np.full(seen.size, float(trials))))
    beside = np.concatenate([limits - EDGE, limits + EDGE])
    return float(coverage(method, trials, beside[(beside > 0) & (beside < 1)]).min())


def table() -> Table:
    """Mean and least coverage of each method at each number of trials."""
    return {
        name: {trials: (mean_coverage(method, trials), least_coverage(method, trials)) for trials in SIZES}
        for name, method in METHODS.items()
    }


def clustered(chance: float, correlation: float, draws: int = SIMULATED) -> dict[str, float]:
    """Coverage of both limits where each of 30 cases has its own chance, beta distributed about `chance`.

    Cases have 1 to 5 attempts whatever their results, so this shows what the widening of limits does, and not what
    stopping at the first success does to the share itself.
    """
    chances = np.random.default_rng(SEED)
    tried = chances.integers(1, MOST_ATTEMPTS + 1, (draws, CASES)).astype(np.float64)
    prior = 1 / correlation - 1
    own = chances.beta(chance * prior, (1 - chance) * prior, (draws, CASES))
    won = chances.binomial(tried.astype(np.int64), own).astype(np.float64)
    sums = [
        won.sum(1),
        tried.sum(1),
        np.full(draws, float(CASES)),
        (won**2 / tried).sum(1),
        (tried**2).sum(1),
    ]
    widened, apart = clustered_wilson_of_sums(*sums), wilson(sums[0], sums[1])
    return {
        "widened": float(((widened.lower <= chance) & (chance <= widened.upper)).mean()),
        "as_if_apart": float(((apart[0] <= chance) & (chance <= apart[1])).mean()),
    }


def measured() -> dict[str, Any]:
    """All figures, printed as a table, and what is wrong with them.

    Wilson's mean is to be near the level (Brown, Cai & DasGupta, Stat Sci 2001;16:101-133), and exact limits are never
    to fall below it.
    """
    exact = table()
    simulated = {
        f"chance {chance}, correlation {correlation}": clustered(chance, correlation)
        for chance in (0.3, 0.6)
        for correlation in (0.1, 0.3)
    }
    wrong = [
        f"wilson at {n}: mean {mean}"
        for n, (mean, _) in exact["wilson"].items()
        if abs(mean - NOMINAL) > 0.01
    ]
    wrong += [
        f"clopper_pearson at {n}: least {least}"
        for n, (_, least) in exact["clopper_pearson"].items()
        if least < NOMINAL
    ]
    wrong += [f"clustered, {where}: {one}" for where, one in simulated.items() if one["widened"] < 0.93]
    print(in_words(exact))
    return {"exact": exact, "clustered": simulated, "wrong": wrong}


def in_words(exact: Table) -> str:
    """The table as it stands in the notes for developers."""
    lines = ["| n | Wilson | Clopper-Pearson | mid-p |", "| --- | --- | --- | --- |"]
    for trials in SHOWN:
        cells = [f"{mean:.4f} ({least:.4f})" for mean, least in (exact[name][trials] for name in METHODS)]
        lines.append(f"| {trials} | {' | '.join(cells)} |")
    return "\n".join(lines)


if __name__ == "__main__":
    measured()
