"""Two groups compared by their counts, plainly or within strata; it never says why they differ."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from analytics.statistics._exact import less_and_equally_likely, log_probabilities, require_few_outcomes
from analytics.statistics._inputs import (
    FloatArray,
    amounts,
    counts,
    require_same_shape,
    row,
    successes_in_trials,
    two_sided_quantile,
)
from analytics.statistics.proportions import wilson


class MidPOfTable(NamedTuple):
    """A mid-p value and the convention it was computed by."""

    p_value: FloatArray
    convention: str


class StratifiedDifference(NamedTuple):
    """A difference within strata, from -1 to 1, with how many strata and trials of either group it rests on."""

    difference: FloatArray
    lower: FloatArray
    upper: FloatArray
    variance: FloatArray
    strata: FloatArray
    n1: FloatArray
    n2: FloatArray


class StandardisedProportion(NamedTuple):
    """A proportion at a common mix of strata, with the method of its limits."""

    estimate: FloatArray
    lower: FloatArray
    upper: FloatArray
    variance: FloatArray
    method: str


def fisher_exact(table: ArrayLike) -> FloatArray:
    """Fisher's exact p-value of a table of two rows and two columns, two-sided by probabilities.

    `table` holds whole numbers in the shape (2, 2), or many tables in the shape (..., 2, 2). Returns one p-value for
    each, from 0 to 1 (a NumPy float for one table): how likely the tables with the same margins are that are at most
    as likely as this one. It is 1 where a row or a column is empty: then there is only one such table.

    Raises ValueError, naming the argument, for counts that are negative, not whole or not numbers, for another shape,
    and for more than 1,000,000 tables with the same margins.

    Source: Fisher, The Design of Experiments, 1935, chapter 2; two-sided by probabilities: Freeman & Halton,
    Biometrika 1951;38:141-149.

    Example: fisher_exact([[3, 1], [1, 3]]) gives 0.485714.
    """
    less, equal, _observed = _chances(table)
    return np.minimum(less + equal, 1.0)[()]


def mid_p_of_table(table: ArrayLike, convention: str = "ties_halved") -> MidPOfTable:
    """The mid-p value of a table of two rows and two columns, two-sided, and the convention it was computed by.

    `table`, its shapes and errors as in `fisher_exact`; the value is at most Fisher's, which it corrects for being too
    large on average. There are two conventions, which differ where other tables are exactly as likely as this one:
    "ties_halved" takes half of all these, "observed_halved" half of this one alone. A convention that is neither is
    refused. Where a row or a column is empty the value is 0.5, half of the only table there is.

    Source: ties halved: Hwang & Yang, Stat Sinica 2001;11:807-826; observed halved: Lancaster, J Am Stat Assoc
    1961;56:223-234 (from memory).

    Example: mid_p_of_table([[3, 1], [1, 3]]) gives 0.257143.
    """
    less, equal, observed = _chances(table)
    if convention == "ties_halved":
        value = less + equal / 2
    elif convention == "observed_halved":
        value = less + equal - observed / 2
    else:
        raise ValueError(f"convention: must be 'ties_halved' or 'observed_halved', not {convention!r}")
    return MidPOfTable(np.minimum(value, 1.0)[()], convention)


def mantel_haenszel_difference(
    x1: ArrayLike, n1: ArrayLike, x2: ArrayLike, n2: ArrayLike, confidence: float = 0.95
) -> StratifiedDifference:
    """Mantel and Haenszel's difference `x1`/`n1` - `x2`/`n2` within strata, such as the order of attempts.

    Each holds one whole number for each stratum in its last axis; further axes in front are rows of their own. Returns
    the difference common to the strata, its limits, its variance, and how many `strata` and trials (`n1`, `n2`) it
    rests on: strata in which both were tried, since others say nothing of a difference. Without such a stratum the
    difference, its limits and variance are NaN. Where in each stratum all or none of either group succeeded the
    variance is 0 and the limits are NaN: few trials without exception are no certainty. Otherwise the limits, those
    of a normal distribution, are cut off at -1 and 1.

    One figure for all strata takes the difference for the same in each; show the strata beside it.

    Raises ValueError, naming the argument, for counts that are negative, not whole or not numbers, for more
    successes than trials, for unequal shapes and for a confidence outside (0, 1).

    Sources: Greenland & Robins, Biometrics 1985;41:55-68, the estimate; its variance, valid for few large strata and
    for many small ones: Sato, Greenland & Robins, Biometrics 1989;45:1323-1324.

    Example: mantel_haenszel_difference([8, 22], [106, 98], [5, 16], [120, 85]) gives 0.034900,
    from -0.027628 to 0.097428.
    """
    won_1, tried_1 = successes_in_trials(x1, n1, ("x1", "n1"))
    won_2, tried_2 = successes_in_trials(x2, n2, ("x2", "n2"))
    require_same_shape(x1=won_1, n1=tried_1, x2=won_2, n2=tried_2)
    z = two_sided_quantile(confidence)
    strata = np.atleast_1d(*np.broadcast_arrays(won_1, tried_1, won_2, tried_2))
    both = (strata[1] > 0) & (strata[3] > 0)
    won_1, tried_1, won_2, tried_2 = (np.where(both, each, 0.0) for each in strata)
    difference, variance = _mantel_haenszel(won_1, tried_1, won_2, tried_2)
    reach = z * np.sqrt(np.where(variance > 0, variance, np.nan))
    return StratifiedDifference(
        difference[()],
        np.maximum(difference - reach, -1.0)[()],
        np.minimum(difference + reach, 1.0)[()],
        variance[()],
        both.sum(axis=-1),
        tried_1.sum(axis=-1),
        tried_2.sum(axis=-1),
    )


def directly_standardised(
    successes: ArrayLike, trials: ArrayLike, weights: ArrayLike, confidence: float = 0.95
) -> StandardisedProportion:
    """The proportion of `successes` in `trials` there would be at a common mix of strata: direct standardisation.

    `successes` and `trials` hold one whole number for each stratum in their last axis; further axes in front are rows
    of their own. `weights` is one row of amounts of 0 or more for all of them, one for each stratum, of which only the
    shares count: attempts of all techniques by order, say. Returns the estimate, its limits within [0, 1], its
    variance and the name of the limits' method. All are NaN where a stratum with a weight has no trial: no
    mix can tell what was never tried. A stratum without weight does not count.

    The limits combine Wilson's of each stratum by squares ("wilson_by_squares"), as Newcombe's do for a difference;
    the variance, the sum of share² p(1 - p)/n, is not used for them, as it is 0 where none or all succeeded.

    Raises ValueError, naming the argument, for counts that are negative, not whole or not numbers, for more successes
    than trials, for weights that are negative, not finite or all 0, for unequal lengths and for a confidence outside
    (0, 1).

    Sources: direct standardisation: Breslow & Day, Statistical Methods in Cancer Research II, 1987, chapter 2; limits:
    Zou, Huang & Zhang, Comput Stat Data Anal 2009;53:1080-1085 (from memory).

    Example: directly_standardised([40, 2], [50, 10], [1, 1]) gives 0.5, from 0.403128 to 0.660986.
    """
    won, tried, share = _strata_that_count(successes, trials, weights)
    lower, upper = wilson(won, tried, confidence)
    tried = np.where(tried > 0, tried, np.nan)
    part = won / tried
    estimate = (share * part).sum(axis=-1)
    below = np.sqrt(((share * (part - lower)) ** 2).sum(axis=-1))
    above = np.sqrt(((share * (upper - part)) ** 2).sum(axis=-1))
    variance = (share**2 * part * (1 - part) / tried).sum(axis=-1)
    return StandardisedProportion(
        estimate,
        np.maximum(estimate - below, 0.0),
        np.minimum(estimate + above, 1.0),
        variance,
        "wilson_by_squares",
    )


def _strata_that_count(
    successes: ArrayLike, trials: ArrayLike, weights: ArrayLike
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Successes, trials and shares of the weights, over the strata that have a weight."""
    won, tried = map(np.atleast_1d, np.broadcast_arrays(*successes_in_trials(successes, trials)))
    share = row("weights", amounts("weights", weights))
    if not share.any():
        raise ValueError("weights: must not all be 0")
    if won.shape[-1] != share.size:
        raise ValueError(
            f"weights: must be one for each stratum, but there are {share.size} for {won.shape[-1]} strata"
        )
    counted = share > 0
    share = share[counted] / share.max()  # first, so that no sum of great weights is infinite
    return won[..., counted], tried[..., counted], share / share.sum()


def _mantel_haenszel(
    won_1: FloatArray, tried_1: FloatArray, won_2: FloatArray, tried_2: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """The difference and Sato's variance over the last axis; strata of which one group is empty are all 0."""
    tried = np.maximum(tried_1 + tried_2, 1.0)
    part_1, part_2 = tried_1 / tried, tried_2 / tried
    weight = (tried_1 * part_2).sum(axis=-1)
    weight = np.where(weight > 0, weight, np.nan)
    difference = np.clip((won_1 * part_2 - won_2 * part_1).sum(axis=-1) / weight, -1.0, 1.0)
    spread = part_1**2 * won_2 - part_2**2 * won_1 + part_1 * part_2 * (tried_2 - tried_1) / 2
    unlike = (won_1 * (tried_2 - won_2) + won_2 * (tried_1 - won_1)) / tried / 2
    variance = (difference * spread.sum(axis=-1) + unlike.sum(axis=-1)) / weight**2
    # Rounding leaves about 1e-16 where the variance is 0; counts that can be told from that leave far more.
    return difference, np.where(variance * weight > 1e-12, variance, 0.0 * variance)


def _chances(table: ArrayLike) -> tuple[FloatArray, FloatArray, FloatArray]:
    """How likely, of all tables with these margins: those less likely, those as likely, and the observed one."""
    tables = counts("table", table)
    if tables.shape[-2:] != (2, 2):
        raise ValueError(f"table: must have two rows and two columns, not the shape {tables.shape}")
    chances = np.array([_chances_of_one(one) for one in tables.reshape(-1, 2, 2)]).reshape(-1, 3).T
    less, equal, observed = chances.reshape(3, *tables.shape[:-2])
    return less, equal, observed


def _chances_of_one(table: FloatArray) -> tuple[float, float, float]:
    upper_row, left_column, total = table[0].sum(), table[:, 0].sum(), table.sum()
    fewest, most = max(0.0, upper_row + left_column - total), min(upper_row, left_column)
    require_few_outcomes("table: its smallest margin", most - fewest)
    cell = np.arange(fewest, most)
    stays, comes = (
        np.log(upper_row - cell) + np.log(left_column - cell),
        np.log(cell + 1) + np.log(total - upper_row - left_column + cell + 1),
    )
    logs = log_probabilities(stays - comes)
    observed = int(table[0, 0] - fewest)
    return *less_and_equally_likely(logs, observed), float(np.exp(logs[observed]))
