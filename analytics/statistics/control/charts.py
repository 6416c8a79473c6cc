"""Control charts of shares, rates and gaps between events; a point outside is a question, not an answer."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from analytics.statistics._inputs import (
    BoolArray,
    FloatArray,
    counts,
    measures,
    read_only,
    require_same_shape,
    row,
    successes_in_trials,
)
from analytics.statistics.control.quantiles import smallest_above

TAIL = 0.00135  # of each side: what three standard deviations leave of a normal distribution
NELSON_POWER = 0.2777  # 1/3.6: makes exponential times nearly normal
MOVING_RANGE_FACTOR = 2.66  # 3/1.128, from the mean range of two neighbours to three standard deviations
FARTHEST = 60.0  # standard deviations beyond which no probability limit lies

ROUNDING = 1e-12  # relative; equal points make a limit of their own value, which is not to be crossed by it


@dataclass(frozen=True, slots=True, eq=False)
class ControlChart:
    """One value per point, the centre line and limits at each point; arrays are read-only, of one length.

    `above`, `below`: points beyond a limit; a point on a limit is within. `limits`: in words, how they were
    made and with which tail. Values and limits are NaN, and no point is out, where they cannot be said.
    """

    value: FloatArray
    centre: FloatArray
    lower: FloatArray
    upper: FloatArray
    above: BoolArray
    below: BoolArray
    limits: str

    @property
    def out(self) -> BoolArray:
        """Points beyond either limit."""
        return self.above | self.below


def p_chart(events: ArrayLike, sizes: ArrayLike) -> ControlChart:
    """Shares `events` of `sizes` about their total, with limits of three standard deviations.

    Whole numbers, one per point in order of time; one size may serve all. p ± 3 √(p(1 - p)/n), cut to [0, 1].
    A point of size 0 has no value and no limits.

    Raises ValueError, naming the argument, for counts that are negative, not whole or not numbers, events
    above sizes, unequal lengths and more than one row.

    Source: Shewhart, Economic Control of Quality of Manufactured Product, 1931; Montgomery, Introduction to
    Statistical Quality Control, 2nd ed. 1991, pp. 152-155.

    Example: p_chart([12, 15, 8, 10], 50).upper[0] gives 0.402165.
    """
    won, tried = successes_in_trials(events, sizes, ("events", "sizes"))
    seen, size = _points("events", won, "sizes", tried)
    shown = np.where(size > 0, size, np.nan)
    centre = seen.sum() / size.sum() if size.any() else np.nan
    reach = 3 * np.sqrt(centre * (1 - centre) / shown)
    lower, upper = np.maximum(centre - reach, 0), np.minimum(centre + reach, 1)
    return _chart(seen / shown, centre, lower, upper, "three standard deviations")


def u_chart(events: ArrayLike, exposures: ArrayLike, limits: str = "three_sigma") -> ControlChart:
    """Rates `events` per unit of `exposures` about their total; with an exposure of 1, counts (a c chart).

    One per point in order of time, events whole numbers, exposures amounts; one exposure may serve all. A
    point without exposure has no value and no limits.

    `limits="three_sigma"`: u ± 3 √(u/n), the lower cut at 0. `limits="probability"`: the smallest and
    largest counts which Poisson chance leaves within, by exposure; beyond each lies 0.00135 at most.

    Raises ValueError, naming the argument, for what is negative, not finite or not a number, exposures beyond
    1e-12 to 1e15, events that are not whole, unequal lengths, more than one row and unknown limits.

    Source: Montgomery, Introduction to Statistical Quality Control, 2nd ed. 1991, pp. 173-184.

    Example: u_chart([10, 12, 8, 14], 5).upper[0] gives 4.189975.
    """
    seen, watched = _points("events", counts("events", events), "exposures", measures("exposures", exposures))
    shown = np.where(watched > 0, watched, np.nan)
    known = watched > 0
    centre = seen.sum(where=known) / watched.sum() if known.any() else np.nan
    if _is_probability(limits):
        expected = np.where(known, centre * watched, 0.0)
        lower, upper = _poisson_limit(expected, TAIL), _poisson_limit(expected, 1 - TAIL)
        words = f"Poisson probability, {TAIL:g} beyond each at most"
        return _chart(seen / shown, centre, lower / shown, upper / shown, words)
    reach = 3 * np.sqrt(centre / shown)
    return _chart(
        seen / shown, centre, np.maximum(centre - reach, 0), centre + reach, "three standard deviations"
    )


def g_chart(uses_between: ArrayLike, limits: str = "three_sigma") -> ControlChart:
    """Uses between events about their mean: 0 where two uses in a row had one; the event's own use is not counted.

    Whole numbers, one per event in order of time. `limits="three_sigma"`: g ± 3 √(g(g + 1)), the lower cut
    at 0, about the mean g. `limits="probability"`: the smallest and largest gaps that a constant chance of
    1/(g + 1) leaves within, beyond each 0.00135 at most, about the median.

    A gap above the upper limit is a long run without events. A lower limit of 0 can never be crossed: for
    clusters of short gaps use `bernoulli_cusum` or `events_within`.

    Raises ValueError, naming the argument, for gaps that are negative, not whole or not numbers, more than one
    row and unknown limits.

    Source: Kaminsky et al., J Qual Technol 1992;24:63-69; Benneyan, Health Care Manag Sci 2001;4:305-318.

    Example: g_chart([12, 40, 8, 95]).upper[0] gives 156.490445.
    """
    gap = row("uses_between", counts("uses_between", uses_between))
    mean = gap.mean() if gap.size else np.nan
    if _is_probability(limits):
        lower, centre, upper = (_geometric_quantile(mean, part) for part in (TAIL, 0.5, 1 - TAIL))
        words = f"geometric probability, {TAIL:g} beyond each at most, about the median"
        return _chart(gap, centre, lower, upper, words)
    reach = 3 * math.sqrt(mean * (mean + 1))
    return _chart(gap, mean, max(mean - reach, 0.0), mean + reach, "three standard deviations")


def t_chart(times_between: ArrayLike, limits: str = "power") -> ControlChart:
    """Times between events, in any one unit, with limits in that unit.

    Amounts, one per event in order of time. `limits="power"`: individuals chart of x = t^0.2777 with mean ±
    2.66 mean moving ranges, the lower cut at 0, put back into time by x^(1/0.2777); needs two times, else NaN.
    `limits="probability"`: -m ln(0.99865), m ln 2 and -m ln(0.00135) about the mean time m, exponential.

    A time above the upper limit is a long run without events. Events of one day have a time of 0 between
    them, which carries no more than that; count uses (`g_chart`) where uses are known.

    Raises ValueError, naming the argument, for times that are negative, beyond 1e-12 to 1e15 or not numbers, more than
    one row and unknown limits.

    Source: Nelson, J Qual Technol 1994;26:239-240; exponential quantiles in closed form.

    Example: t_chart([286, 948, 536, 124]).upper[0] gives 3337.394654.
    """
    time = row("times_between", measures("times_between", times_between))
    if limits not in ("power", "probability"):
        raise ValueError(f'limits: must be "power" or "probability", not {limits!r}')
    if limits == "probability":
        mean = time.mean() if time.size else np.nan
        centre, upper = mean * math.log(2), -mean * math.log(TAIL)
        words = f"exponential probability, {TAIL:g} beyond each, about the median"
        return _chart(time, centre, -mean * math.log1p(-TAIL), upper, words)
    normal = time**NELSON_POWER
    centre = normal.mean() if time.size > 1 else np.nan
    reach = MOVING_RANGE_FACTOR * np.abs(np.diff(normal)).mean() if time.size > 1 else np.nan
    back = 1 / NELSON_POWER
    words = "individuals and moving ranges of the times to the power 0.2777"
    return _chart(time, centre**back, max(centre - reach, 0.0) ** back, (centre + reach) ** back, words)


def _points(
    name: str, values: FloatArray, other_name: str, others: FloatArray
) -> tuple[FloatArray, FloatArray]:
    require_same_shape(**{name: values, other_name: others})
    one, other = np.broadcast_arrays(row(name, values), row(other_name, others))
    return one, other


def _is_probability(limits: str) -> bool:
    if limits not in ("three_sigma", "probability"):
        raise ValueError(f'limits: must be "three_sigma" or "probability", not {limits!r}')
    return limits == "probability"


def _poisson_limit(expected: FloatArray, probability: float) -> FloatArray:
    highest = np.ceil(expected + FARTHEST * np.sqrt(expected) + FARTHEST)
    wanted = np.full_like(expected, probability)
    return smallest_above(lambda count: special.pdtr(count, expected), wanted, highest)


def _geometric_quantile(mean: float, probability: float) -> float:
    """Smallest gap g with P(gap <= g) > probability, at a chance of 1/(mean + 1) a use."""
    if not mean > 0:
        return mean
    stay = -math.log1p(1 / mean)  # log of the chance of no event
    return max(math.ceil(math.log1p(-probability) / stay) - 1.0, 0.0)


def _chart(
    value: FloatArray,
    centre: float,
    lower: FloatArray | float,
    upper: FloatArray | float,
    limits: str,
) -> ControlChart:
    """The result; one centre or limit for all points is repeated at each."""
    lines = (
        np.broadcast_to(np.asarray(line, dtype=np.float64), value.shape) for line in (centre, lower, upper)
    )
    middle, low, high = (read_only(np.array(line)) for line in lines)
    points = read_only(np.array(value))
    above, below = points > high * (1 + ROUNDING), points < low * (1 - ROUNDING)
    return ControlChart(points, middle, low, high, read_only(above), read_only(below), limits)
