"""Confidence limits of a proportion from its counts; it never turns "no trials" into a number."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.statistics._inputs import (
    FloatArray,
    amounts,
    confidence_level,
    counts,
    require_same_shape,
    row,
    successes_in_trials,
    two_sided_quantile,
)


class Difference(NamedTuple):
    """A difference of two proportions with its limits, from -1 to 1."""

    difference: FloatArray
    lower: FloatArray
    upper: FloatArray


class ClusteredProportion(NamedTuple):
    """A proportion with limits that allow for clusters; `design_effect` is 1 or more, NaN for one cluster."""

    estimate: FloatArray
    lower: FloatArray
    upper: FloatArray
    design_effect: FloatArray


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
    if not continuity:
        lower, upper = _score_limits(won, tried, z)
        return lower[()], upper[()]
    # The correction is the same limit, taken half a success further out.
    lower, _ = _score_limits(np.maximum(won - 0.5, 0.0), tried, z)
    _, upper = _score_limits(np.minimum(won + 0.5, tried), tried, z)
    return lower[()], upper[()]


def clopper_pearson(
    successes: ArrayLike, trials: ArrayLike, confidence: float = 0.95
) -> tuple[FloatArray, FloatArray]:
    """Clopper and Pearson's exact limits of `successes` in `trials`, two-sided.

    Arguments, shapes, edges and errors as in `wilson`. Each limit leaves at most half of (1 - confidence) in its
    tail, so that the limits cover the truth at least as often as they say, mostly more often. Journals that print
    limits of rare complications mostly print these, which is why the product's own can differ from a paper's.

    Source: Clopper & Pearson, Biometrika 1934;26:404-413; Newcombe, Stat Med 1998;17:857-872, method 5.

    Example: clopper_pearson(38, 11773) gives 0.002285 to 0.004428.
    """
    won, tried = successes_in_trials(successes, trials)
    tail = (1 - confidence_level(confidence)) / 2
    tried = np.where(tried > 0, tried, np.nan)
    lost = tried - won
    lower = special.betaincinv(np.maximum(won, 1.0), lost + 1, tail)
    upper = special.betainccinv(won + 1, np.maximum(lost, 1.0), tail)
    # The proportion itself is always within: rounding in the quantiles of great counts must not hide that.
    lower = np.where(won > 0, np.minimum(lower, won / tried), 0 * tried)
    upper = np.where(lost == 0, 1.0, np.maximum(upper, won / tried))
    return lower[()], upper[()]


def mid_p(successes: ArrayLike, trials: ArrayLike, confidence: float = 0.95) -> tuple[FloatArray, FloatArray]:
    """Mid-p limits of `successes` in `trials`, two-sided: the exact limits with the observed count taken as half.

    Arguments, shapes, edges and errors as in `wilson`. They are narrower than `clopper_pearson`'s and cover the
    truth about as often as they say, not at least as often. They contain the proportion at every confidence of
    0.11 or more.

    Source: Berry & Armitage, Statistician 1995;44:417-423; Newcombe, Stat Med 1998;17:857-872, method 6.

    Example: mid_p(5, 20) gives 0.097860 to 0.470224.
    """
    won, tried = successes_in_trials(successes, trials)
    doubt = 1 - confidence_level(confidence)
    tried = np.where(tried > 0, tried, np.nan)
    inside = (won > 0) & (won < tried)
    some_won, some_lost = np.where(inside, won, 1.0), np.where(inside, tried - won, 1.0)
    lower = _mid_p_limit(special.betainc, special.betaincinv, some_won, some_lost, doubt / 2)
    upper = _mid_p_limit(special.betaincc, special.betainccinv, some_won, some_lost, doubt / 2)
    # At none and at all the equation has a closed form: half of (1 - upper)^n, or of lower^n, is the tail.
    at_an_end = np.log(doubt) / tried
    lower = np.where(inside, lower, np.where(won > 0, np.exp(at_an_end), 0 * tried))
    upper = np.where(inside, upper, np.where(won < tried, -np.expm1(at_an_end), tried / tried))
    return lower[()], upper[()]


def newcombe_difference(
    x1: ArrayLike,
    n1: ArrayLike,
    x2: ArrayLike,
    n2: ArrayLike,
    confidence: float = 0.95,
    continuity: bool = False,
) -> Difference:
    """Newcombe's limits of the difference `x1`/`n1` - `x2`/`n2` of two independent proportions, two-sided.

    All four are whole numbers, each a single number or an array, arrays of one shape. Returns `(difference, lower,
    upper)` in that shape (NumPy floats for single numbers), from -1 to 1, as fractions of 1: all three are NaN
    where either has no trial. `continuity=True` puts Wilson's limits with continuity correction inside.

    It compares what was counted and knows nothing of why: two groups may differ in more than what they are named
    for. For groups met in a different order use `comparisons.mantel_haenszel_difference`.

    Raises ValueError, naming the argument, for counts that are negative, not whole or not numbers, for more
    successes than trials, for unequal shapes and for a confidence outside (0, 1).

    Source: Newcombe, Stat Med 1998;17:873-890, method 10, and with continuity correction method 11.

    Example: newcombe_difference(56, 70, 48, 80) gives 0.2, from 0.052431 to 0.333873.
    """
    won_1, tried_1 = successes_in_trials(x1, n1, ("x1", "n1"))
    won_2, tried_2 = successes_in_trials(x2, n2, ("x2", "n2"))
    require_same_shape(x1=won_1, n1=tried_1, x2=won_2, n2=tried_2)
    lower_1, upper_1 = wilson(won_1, tried_1, confidence, continuity)
    lower_2, upper_2 = wilson(won_2, tried_2, confidence, continuity)
    share_1 = won_1 / np.where(tried_1 > 0, tried_1, np.nan)
    share_2 = won_2 / np.where(tried_2 > 0, tried_2, np.nan)
    difference = share_1 - share_2
    lower = difference - np.hypot(share_1 - lower_1, upper_2 - share_2)
    upper = difference + np.hypot(upper_1 - share_1, share_2 - lower_2)
    return Difference(difference[()], np.maximum(lower, -1.0)[()], np.minimum(upper, 1.0)[()])


def clustered_wilson(
    successes: ArrayLike, trials: ArrayLike, confidence: float = 0.95, method: str = "saha"
) -> ClusteredProportion:
    """Wilson's limits of a proportion whose trials come in clusters, such as attempts in cases, two-sided.

    `successes` and `trials` are whole numbers, one for each cluster; a cluster without trials is left out. Returns
    the estimate (all successes in all trials), its limits and the design effect, NumPy floats: the limits are
    Wilson's as if there were only trials / design effect of them. `method` is "saha", by the correlation within
    clusters of an analysis of variance, or "rao_scott", by the ratio estimator's variance.

    The design effect is never below 1: that is its floor where clusters are more alike than chance would make
    them, and its value where each cluster has one trial and where all trials or none succeeded. One cluster of
    several trials shows no design effect: it is NaN, and the limits are Wilson's own, too narrow by an unknown
    amount. Without trials all is NaN. With fewer than about 10 clusters show both counts beside the limits.

    It widens the limits and doesn't mend the estimate: where attempts stop at the first success, how large a
    cluster is depends on how it ended.

    Raises ValueError, naming the argument, for counts that are negative, not whole or not numbers, for more
    successes than trials, for more than one row, unequal lengths, another method and a confidence outside (0, 1).

    Sources: Saha, Miller & Wang, Int J Biostat 2016;12(2), the Wilson limits; Rao & Scott, Biometrics
    1992;48:577-585.

    Example: clustered_wilson([1, 1, 0, 1, 0, 1, 0, 2, 0, 1], [1, 2, 3, 1, 2, 3, 1, 2, 4, 1]) gives 0.35,
    from 0.143726 to 0.633347, with a design effect of 1.8.
    """
    won, tried = np.broadcast_arrays(*successes_in_trials(successes, trials))
    won, tried = row("successes and trials", won), row("successes and trials", tried)
    won, tried = won[tried > 0], tried[tried > 0]
    totals = (won.sum(), tried.sum(), tried.size, (won * won / tried).sum(), (tried * tried).sum())
    sums = [np.asarray(total, dtype=np.float64) for total in totals]
    if method == "saha":
        effect = _saha_design_effect(*sums)
    elif method == "rao_scott":
        effect = _rao_scott_design_effect(won, tried)
    else:
        raise ValueError(f"method: must be 'saha' or 'rao_scott', not {method!r}")
    return _wilson_at(sums[0], sums[1], sums[2], effect, confidence)


def clustered_wilson_of_sums(
    successes: ArrayLike,
    trials: ArrayLike,
    clusters: ArrayLike,
    squares_over_trials: ArrayLike,
    squared_trials: ArrayLike,
    confidence: float = 0.95,
) -> ClusteredProportion:
    """`clustered_wilson` by Saha, Miller & Wang for many rows at once, each given by five sums over its clusters.

    With x successes in n trials of a cluster, clusters without trials left out: `successes` the sum of x, `trials`
    that of n, `clusters` how many there are, `squares_over_trials` the sum of x²/n, `squared_trials` that of n².
    Each a single number or an array, arrays of one shape; all four results have that shape (NumPy floats for
    single numbers), with the edges of `clustered_wilson`.

    Raises ValueError, naming the argument, for what is negative or not a number, for counts that are not whole,
    for sums that no clusters have, for unequal shapes and for a confidence outside (0, 1).

    Source: Saha, Miller & Wang, Int J Biostat 2016;12(2).

    Example: clustered_wilson_of_sums(60, 203, 100, 42.416667, 585) gives 0.295567, from 0.228481 to 0.372830,
    with a design effect of 1.349133.
    """
    won, tried = successes_in_trials(successes, trials)
    groups, squared = counts("clusters", clusters), counts("squared_trials", squared_trials)
    shares = amounts("squares_over_trials", squares_over_trials)
    require_same_shape(
        successes=won, trials=tried, clusters=groups, squares_over_trials=shares, squared_trials=squared
    )
    _require_sums_of_clusters(won, tried, groups, shares, squared)
    return _wilson_at(
        won, tried, groups, _saha_design_effect(won, tried, groups, shares, squared), confidence
    )


def _score_limits(won: FloatArray, tried: FloatArray, z: float) -> tuple[FloatArray, FloatArray]:
    # The root is the upper limit times `tried + z²`. The lower is the product of both roots over it: no difference of
    # nearly equal numbers, and exactly 0 at 0; the smallest float keeps it from 0 / 0. Where all succeeded the root is
    # that of half z squared, which floats take exactly, so that the upper limit is exactly 1.
    squared = won / tried * won
    root = (won + np.finfo(np.float64).tiny) + z * (z / 2 + np.sqrt(won - squared + z / 2 * (z / 2)))
    return squared / root, root / np.maximum(tried + z * z, root)


def _mid_p_limit(
    chance_of: Callable[..., FloatArray],
    quantile_of: Callable[..., FloatArray],
    won: FloatArray,
    lost: FloatArray,
    tail: float,
) -> FloatArray:
    """The chance at which the mid-p tail is `tail`, where some trials succeeded and some did not.

    The mid-p tail is the mean of the exact tails with and without the observed count, so that the limit lies
    between the quantiles of both. Found there by the secant rule, in Illinois's manner: it keeps both sides of the
    limit in hand, and gains a decimal or more at each step.
    """

    def excess(chance: FloatArray) -> FloatArray:
        both = chance_of(won, lost + 1, chance) + chance_of(won + 1, lost, chance)
        # Where a quantile is rounded to 1, no chance is left in the tail: then no logarithm of 0.
        return np.asarray(np.log(np.maximum(both, np.finfo(np.float64).tiny)) - np.log(2 * tail))

    here, other = quantile_of(won, lost + 1, tail), quantile_of(won + 1, lost, tail)
    at_here, at_other = excess(here), excess(other)
    for _each in range(100):
        slope = at_here - at_other
        new = here - at_here * (here - other) / np.where(slope == 0, 1.0, slope)
        at_new = excess(new)
        crossed = at_new * at_here <= 0
        other, at_other = np.where(crossed, here, other), np.where(crossed, at_here, at_other / 2)
        settled = (np.abs(new - here) <= 4e-15 * new).all()
        here, at_here = new, at_new
        if settled:
            break
    return here


def _wilson_at(
    won: FloatArray, tried: FloatArray, clusters: FloatArray, effect: FloatArray, confidence: float
) -> ClusteredProportion:
    """Wilson's limits where `tried` trials tell as much as `tried / effect` independent ones."""
    z = two_sided_quantile(confidence)
    tried = np.where(tried > 0, tried, np.nan)
    alone = (clusters == 1) & (tried > 1)
    lower, upper = _score_limits(won / effect, tried / effect, z)
    shown = np.where(alone | np.isnan(tried), np.nan, effect)
    return ClusteredProportion((won / tried)[()], lower[()], upper[()], shown[()])


def _saha_design_effect(
    won: FloatArray, tried: FloatArray, clusters: FloatArray, shares: FloatArray, squared: FloatArray
) -> FloatArray:
    """By the correlation within clusters; 1 where the clusters say nothing of it."""
    trials = np.maximum(tried, 1.0)
    others = np.maximum(clusters - 1, 1.0)  # where there is one cluster only, the result is not used
    between = np.maximum(shares - won * won / trials, 0.0) / others
    within = np.maximum(won - shares, 0.0) / np.maximum(tried - clusters, 1.0)
    size = (tried * tried - squared) / (others * trials)
    total = between + (size - 1) * within
    correlation = np.where(total > 0, (between - within) / np.where(total > 0, total, 1.0), 0.0)
    effect = 1 + correlation * (squared / trials - 1)
    return np.where(clusters > 1, np.maximum(effect, 1.0), 1.0)


def _rao_scott_design_effect(won: FloatArray, tried: FloatArray) -> FloatArray:
    """By the variance of the ratio of all successes to all trials, of which clusters are the sampling units."""
    clusters, trials = tried.size, tried.sum()
    share = won.sum() / max(trials, 1.0)
    if clusters < 2 or trials == clusters or share in (0.0, 1.0):
        return np.asarray(1.0)
    variance = clusters / (clusters - 1) * ((won - tried * share) ** 2).sum() / trials**2
    return np.asarray(max(trials * variance / (share * (1 - share)), 1.0))


def _require_sums_of_clusters(
    won: FloatArray, tried: FloatArray, clusters: FloatArray, shares: FloatArray, squared: FloatArray
) -> None:
    """ValueError where no clusters have these sums; 1e-9 is left for sums of fractions in another order."""
    if ((clusters > tried) | ((clusters == 0) & (tried > 0))).any():
        raise ValueError("clusters: must be at most the trials, and at least 1 where there are any")
    if (shares > won * (1 + 1e-9)).any() or (shares * tried < won * won * (1 - 1e-9)).any():
        raise ValueError("squares_over_trials: must lie between successes²/trials and successes")
    if (squared > tried * tried).any() or (squared * clusters < tried * tried * (1 - 1e-9)).any():
        raise ValueError("squared_trials: must lie between trials²/clusters and trials²")
