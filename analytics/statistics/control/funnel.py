"""Limits of a funnel plot and how much more than chance groups differ; a group outside is no verdict."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.statistics._inputs import (
    FloatArray,
    counts,
    fraction,
    read_only,
    successes_in_trials,
)
from analytics.statistics.control.quantiles import smallest_above

SMALLEST_SHARE = 1e-9
ADJUSTMENTS = ("multiplicative", "additive")


@dataclass(frozen=True, slots=True, eq=False)
class Overdispersion:
    """How much more than chance groups differ about one target.

    `target`: the share compared with. `z`: standardised distance of each group, in the shape given, NaN
    without trials. `phi`: mean of the squared winsorised z, NaN where no group can be compared; `phi_raw`:
    the same without winsorising. `tau_squared`: variance between groups by the method of moments. `groups`:
    groups with trials. `p_value`: upper tail of chi-square on as many degrees of freedom at groups times phi;
    winsorising makes it cautious. `method`: in words.
    """

    target: float
    z: FloatArray
    phi: float
    phi_raw: float
    tau_squared: float
    groups: int
    p_value: float
    method: str


@dataclass(frozen=True, slots=True, eq=False)
class FunnelLimits:
    """Limits of a share about a target by size of group.

    `lower`, `upper`: shape of `coverage` followed by that of `sizes`, within [0, 1], NaN at size 0; read-only.
    `coverage`: the levels, as given. `target`: the share compared with. `method`: exact, or how widened.
    """

    target: float
    coverage: FloatArray
    lower: FloatArray
    upper: FloatArray
    method: str


def funnel_limits(
    target: float,
    sizes: ArrayLike,
    coverage: ArrayLike = (0.95, 0.998),
    spread: Overdispersion | None = None,
    adjustment: str = "multiplicative",
) -> FunnelLimits:
    """Limits between which shares of groups of these sizes fall by chance, about one target.

    `target` is a share strictly between 0 and 1, `sizes` whole numbers, `coverage` levels strictly between
    0 and 1, each a single number or an array. Without `spread`: exact binomial limits with interpolation; at
    tail p, r is the smallest whole number with P(R <= r) > p, the limit is (r - a)/n with
    a = (P(R <= r) - p)/(P(R <= r) - P(R <= r-1)), cut to [0, 1].

    With `spread` from `overdispersion`, and only where its phi is above 1, normal limits widened for it:
    `adjustment="multiplicative"` target ± z √(phi v/n), `"additive"` target ± z √(v/n + tau²), v being
    target (1 - target), cut to [0, 1]. Where phi is 1 or less, exact limits as without it; `method` says which.

    Raises ValueError, naming the argument, for a target or a coverage outside (0, 1), sizes that are negative,
    not whole or not numbers, a spread about another target, and an unknown adjustment.

    Source: Spiegelhalter, Stat Med 2005;24:1185-1202, appendix A.1.1 (exact limits) and section 5 (adjustments).

    Example: funnel_limits(0.1, 100, 0.95) gives 0.040381 to 0.157719.
    """
    aim, size = fraction("target", target), counts("sizes", sizes)
    levels = _levels(coverage)
    if adjustment not in ADJUSTMENTS:
        raise ValueError(f"adjustment: must be one of {', '.join(ADJUSTMENTS)}, not {adjustment!r}")
    _require_same_target(spread, aim)
    tails = ((1 - levels) / 2).reshape(levels.shape + (1,) * size.ndim)
    shown = np.where(size > 0, size, np.nan)
    if spread is not None and spread.phi > 1:
        variance = aim * (1 - aim) / shown
        additive = adjustment == "additive"
        variance = variance + spread.tau_squared if additive else variance * spread.phi
        reach = -special.ndtri(tails) * np.sqrt(variance)
        lower, upper = aim - reach, aim + reach
        amount = f"tau squared {spread.tau_squared:.6f}" if additive else f"phi {spread.phi:.4f}"
        method = f"normal limits, {adjustment} adjustment, {amount}, p {spread.p_value:.3g}"
    else:
        lower, upper = _exact_limit(aim, size, shown, tails), _exact_limit(aim, size, shown, 1 - tails)
        method = "exact binomial limits with interpolation"
        if spread is not None:
            method += "; not widened: phi is not above 1"
    lower, upper = (read_only(np.clip(limit, 0, 1)) for limit in (lower, upper))
    return FunnelLimits(aim, levels, lower, upper, method)


def overdispersion(
    events: ArrayLike, sizes: ArrayLike, target: float | None = None, winsorise: float = 0.1
) -> Overdispersion:
    """How much more than chance the shares `events` of `sizes` differ about `target`, their total if None.

    Whole numbers of one shape, a group each; groups of size 0 are left out. z = (y - target)/√(v/n), with
    v = target (1 - target); z beyond its `winsorise` and 1 - `winsorise` quantiles (type 7, linear, as
    NumPy's and R's default) is set to them; 0 winsorises nothing. phi = Σ z²/I. tau² = max(0, (I phi -
    (I - 1))/(Σw - Σw²/Σw)), w = n/v, 0 for a single group.

    Where the total is 0 % or 100 %, or no group has trials, there is nothing to compare: NaN throughout.

    Raises ValueError, naming the argument, for counts that are negative, not whole or not numbers, events
    above sizes, unequal shapes, a target nearer than 1e-9 to 0 or 1 and winsorise outside [0, 0.5).

    Source: Spiegelhalter, Stat Med 2005;24:1185-1202, section 5 and appendix A.2 (DerSimonian & Laird's tau²).

    Example: overdispersion([2, 9, 5, 12], [40, 60, 55, 80]).phi gives 0.731878.
    """
    seen, size = np.broadcast_arrays(*successes_in_trials(events, sizes, ("events", "sizes")))
    cut = _winsorised_share(winsorise)
    aim = _aim(seen, size, target)
    variance = aim * (1 - aim)
    known = (size > 0) & (variance > 0)
    groups = int(known.sum())
    z = np.full(size.shape, np.nan)
    z[known] = (seen[known] / size[known] - aim) / np.sqrt(variance / size[known])
    method = f"z winsorised at its {cut:g} and {1 - cut:g} quantiles (type 7)" if cut else "z not winsorised"
    if not groups:
        nothing = float("nan")
        return Overdispersion(aim, read_only(z), nothing, nothing, nothing, 0, nothing, "nothing to compare")
    phi = float((np.clip(z[known], *np.quantile(z[known], [cut, 1 - cut])) ** 2).mean())
    return Overdispersion(
        aim,
        read_only(z),
        phi,
        float((z[known] ** 2).mean()),
        _between_groups(phi, size[known] / variance),
        groups,
        float(special.chdtrc(groups, groups * phi)),
        method,
    )


def funnel_p_values(
    events: ArrayLike, sizes: ArrayLike, target: float, spread: Overdispersion | None = None
) -> FloatArray:
    """How often chance alone puts a group at least as far from the target, on either side.

    Whole numbers of one shape, a group each; the p-values have that shape, NaN at size 0. Without `spread`: twice
    the smaller tail of the binomial distribution, the group's own count included, at most 1. With `spread` from
    `overdispersion`, and only where its phi is above 1, by the normal distribution of its z over √phi, as its
    multiplicative limits are widened.

    Raises ValueError, naming the argument, for counts that are negative, not whole or not numbers, events above
    sizes, unequal shapes, a target outside (0, 1), and a spread about another target or of other groups.

    Source: twice the smaller tail, Fay, Biostatistics 2010;11:373-374 ("central" test, from memory); z over √phi,
    Spiegelhalter, Stat Med 2005;24:1185-1202, section 5.

    Example: funnel_p_values([5, 18], [55, 70], 0.1) gives 1 and 0.000275.
    """
    aim = fraction("target", target)
    seen, size = successes_in_trials(events, sizes, ("events", "sizes"))
    _require_same_target(spread, aim)
    if spread is not None and spread.z.shape != seen.shape:
        raise ValueError("spread: was measured of other groups")
    if spread is not None and spread.phi > 1:
        return read_only(special.erfc(np.abs(spread.z) / math.sqrt(2 * spread.phi)))
    at_least = np.where(seen > 0, special.betainc(np.maximum(seen, 1), size - seen + 1, aim), 1.0)
    smaller = np.minimum(_at_most(seen, size, aim), at_least)
    return read_only(np.where(size > 0, np.minimum(2 * smaller, 1.0), np.nan))


def _require_same_target(spread: Overdispersion | None, aim: float) -> None:
    if spread is not None and not math.isclose(spread.target, aim, rel_tol=1e-9):
        raise ValueError(f"spread: was measured about {spread.target:g}, not about the target {aim:g}")


def _levels(coverage: ArrayLike) -> FloatArray:
    levels = np.asarray(coverage)
    if levels.dtype.kind != "f" or not ((levels > 0) & (levels < 1)).all():
        raise ValueError(f"coverage: must be numbers between 0 and 1, such as 0.95, not {coverage!r}")
    return read_only(levels.astype(np.float64))


def _winsorised_share(winsorise: object) -> float:
    if isinstance(winsorise, bool) or not isinstance(winsorise, int | float) or not 0 <= winsorise < 0.5:
        raise ValueError(f"winsorise: must be one number from 0 to below 0.5, not {winsorise!r}")
    return float(winsorise)


def _aim(seen: FloatArray, size: FloatArray, target: float | None) -> float:
    if target is not None:
        if not SMALLEST_SHARE <= (aim := fraction("target", target)) <= 1 - SMALLEST_SHARE:
            raise ValueError(f"target: must be {SMALLEST_SHARE:g} or more away from 0 and 1, not {aim:g}")
        return aim
    return float(seen.sum() / size.sum()) if size.any() else float("nan")


def _between_groups(phi: float, weights: FloatArray) -> float:
    if weights.size < 2:
        return 0.0
    excess = weights.size * phi - (weights.size - 1)
    return max(0.0, float(excess / (weights.sum() - (weights**2).sum() / weights.sum())))


def _exact_limit(aim: float, size: FloatArray, shown: FloatArray, tail: FloatArray) -> FloatArray:
    size, tail = (np.array(each) for each in np.broadcast_arrays(size, tail))
    r = smallest_above(lambda count: _at_most(count, size, aim), tail, size)
    reached = _at_most(r, size, aim)
    before = np.where(r > 0, _at_most(np.maximum(r - 1, 0), size, aim), 0.0)
    return (r - (reached - tail) / (reached - before)) / shown


def _at_most(count: FloatArray, size: FloatArray, aim: float) -> FloatArray:
    """P(R <= count) for R binomial; 1 where the count is the size."""
    return np.where(count < size, special.betainc(np.maximum(size - count, 1), count + 1, 1 - aim), 1.0)
