"""Thresholds of cumulative sums and how long they run until they signal; in theory, never from the record."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
from numpy.typing import ArrayLike

from analytics.statistics._inputs import FloatArray, amounts, fraction, one_amount, require_same_shape, row
from analytics.statistics.control.cusum import (
    BOUNDARY,
    least_reaching,
    log_likelihood_ratios,
    odds_ratio_of,
    risks,
)

WHOLE = 1e-5  # relative; a ratio of steps this near to a whole number was meant to be it
LONGEST_RUN = 1e9
SMALLEST_CHANCE = 1e-7
MOST_STATES = 500_000
MOST_BANDED = 50_000  # as above, where the steps are a fraction and the chain is solved as bands
FINEST_NUMERATOR = 300
LARGEST_DENOMINATOR = 30
FARTHEST_RATIO = 0.05  # how far the odds ratio may be moved, as a share of the one asked for
STATES = 800  # of the interpolated solution
LOST = 1e8  # a difference this much smaller than its terms keeps too few digits
OFTEN = 0.9  # chance of an event above which every run is short
STILL_RUNNING = 1e-15
ENDLESS_RUN = 1e12  # beyond it floats no longer tell a run length from no end


@dataclass(frozen=True, slots=True)
class CusumDesign:
    """A threshold and what it means; give `p0`, `odds_ratio` and `threshold` to `bernoulli_cusum`.

    `threshold`: h, in log-likelihood units. `in_control_arl`, `out_of_control_arl`: average number of uses
    until a signal, from a sum at 0, at `p0` and at `p1`. `odds_ratio`: the one used, which may be a little off
    the one asked for. `steps`: m, the step of an event and of a use without one, together, in units of the
    latter. `states`: threshold in units of which an event and a use without one together make m's numerator.
    `boundary`, `method`: in words, with what is approximate.
    """

    threshold: float
    p0: float
    p1: float
    odds_ratio: float
    in_control_arl: float
    out_of_control_arl: float
    steps: Fraction
    states: int
    boundary: str
    method: str


def cusum_threshold(p0: float, odds_ratio: float, in_control_arl: float) -> float:
    """The threshold of `cusum_design`, alone: a sum of `bernoulli_cusum` that reaches it signals (S >= h).

    In units of the log-likelihood ratio. Raises ValueError as `cusum_design` does.

    Source: Reynolds & Stoumbos, J Qual Technol 1999;31:87-108.

    Example: cusum_threshold(0.01, 2.0, 1000.0) gives 1.505385.
    """
    return cusum_design(p0, odds_ratio, in_control_arl).threshold


def cusum_design(p0: float, odds_ratio: float, in_control_arl: float) -> CusumDesign:
    """Smallest threshold of `bernoulli_cusum` that runs at least `in_control_arl` uses on average at `p0`.

    The odds ratio is moved, by 5 % at most, to the nearest one for which the ratio m of steps is whole: the sum
    is then a Markov chain on a lattice and the run lengths are exact. Where none is that near (at a high p0)
    the odds ratio stays and m is the nearest fraction, an approximation; `method` says which. Signal where
    S >= h; with S > h the same h would be one step of the lattice higher.

    Raises ValueError, naming the argument, for a p0 nearer than 0.0000001 to 0 or 1, an odds ratio outside 0.001
    to 1,000 or of 1, and an average run length outside (1, 1,000,000,000] or one that needs too many states.

    Source: Reynolds & Stoumbos, J Qual Technol 1999;31:87-108.

    Example: cusum_design(0.01, 2.0, 1000.0).in_control_arl gives 1010.064790.
    """
    risk, wanted = _chance(p0), one_amount("in_control_arl", in_control_arl)
    if not 1 < wanted <= LONGEST_RUN:
        raise ValueError(f"in_control_arl: must be above 1 and at most {LONGEST_RUN:,.0f}, not {wanted:g}")
    asked = odds_ratio_of(odds_ratio)
    steps, ratio = _nearest_lattice(risk, asked)
    if steps.denominator == 1:
        states = _smallest_on_lattice(risk, steps.numerator, wanted, ratio > 1)
    else:
        states = _smallest_on_bands(risk, steps, wanted, ratio > 1)
    if abs(_steps(risk, ratio) - steps) < WHOLE * steps:
        method = f"exact Markov chain; odds ratio asked for {asked:g}, used {ratio:.6f}"
    else:
        method = f"Markov chain with the ratio of steps taken as {steps}, an approximation"
    p1 = ratio * risk / (1 - risk + ratio * risk)
    return CusumDesign(
        threshold=states * abs(math.log(ratio)) / steps.numerator,
        p0=risk,
        p1=p1,
        odds_ratio=ratio,
        in_control_arl=_run(risk, steps, states, ratio > 1),
        out_of_control_arl=_run(p1, steps, states, ratio > 1),
        steps=steps,
        states=states,
        boundary=BOUNDARY,
        method=method,
    )


def average_run_length(p: float, p0: float, odds_ratio: float, threshold: float) -> float:
    """Average number of uses until `bernoulli_cusum` signals (S >= h) from 0, with a chance `p` of an event a use.

    Exact by Markov chain where the steps lie on a lattice of whole steps (see `cusum_design`); else the
    exact run length of the sum whose ratio of steps is the nearest fraction with a numerator up to 300, which
    is an approximation, near 1 %. p may be 0 or 1; infinite where the sum can never rise or beyond 1e12.

    Raises ValueError, naming the argument, for a p outside [0, 1], a p0 nearer than 0.0000001 to 0 or 1, an odds ratio
    outside 0.001 to 1,000 or of 1, and a threshold that is not above 0 or needs too many states.

    Source: Reynolds & Stoumbos, J Qual Technol 1999;31:87-108.

    Example: average_run_length(0.1, 0.1, 2.171214, 1.550574) gives 98.713013.
    """
    chance, risk = risks("p", p), _chance(p0)
    if chance.ndim:
        raise ValueError("p: must be one number")
    ratio, limit = odds_ratio_of(odds_ratio), one_amount("threshold", threshold)
    if (float(chance) if ratio > 1 else 1 - float(chance)) * ENDLESS_RUN < 1:
        return math.inf
    steps = _nearest_fraction(_steps(risk, ratio))
    states = math.ceil(limit / abs(math.log(ratio)) * steps.numerator * (1 - WHOLE))
    most = MOST_STATES if steps.denominator == 1 else MOST_BANDED
    if states > most:
        raise ValueError(f"threshold: needs {states:.3g} states, more than {most:,}")
    return _run(float(chance), steps, states, ratio > 1)


def risk_adjusted_average_run_length(
    expected: ArrayLike,
    odds_ratio: float,
    threshold: float,
    baseline_ratio: float = 1.0,
    shares: ArrayLike | None = None,
    true_ratio: float = 1.0,
    states: int = STATES,
) -> float:
    """Average number of uses until `risk_adjusted_cusum` signals from 0, with patients of these risks.

    `expected`: the risks that occur, one row; `shares`: how often each, in any unit, equally if None.
    `true_ratio`: the odds of an event are that many times those of its risk. Solved on `states` + 1 even
    points from 0 to the threshold, linear between them: with a mix of risks within about 0.5 %.

    Raises ValueError, naming the argument, for risks outside [0, 1], shares that are negative, all 0 or of
    another length, ratios outside 0.001 to 1,000 or equal to each other, a threshold that is not above 0 and
    states below 10 or above 4,000.

    Source: Steiner, Cook, Farewell & Treasure, Biostatistics 2000;1:441-452, sections 2 and 3.

    Example: risk_adjusted_average_run_length([0.01, 0.03, 0.1], 2.0, 2.5) gives 949.941080.
    """
    risk = row("expected", risks("expected", expected))
    weight = np.ones_like(risk) if shares is None else row("shares", amounts("shares", shares))
    require_same_shape(expected=risk, shares=weight)
    if not weight.sum() > 0:
        raise ValueError("shares: must not all be 0")
    if isinstance(states, bool) or not isinstance(states, int) or not 10 <= states <= 4000:
        raise ValueError(f"states: must be one whole number from 10 to 4,000, not {states!r}")
    ratio, limit = odds_ratio_of(odds_ratio, baseline_ratio), one_amount("threshold", threshold)
    true = one_amount("true_ratio", true_ratio)
    chance = true * risk / (1 - risk + true * risk)
    moves = np.concatenate(
        [log_likelihood_ratios(event, 1.0, risk, ratio, baseline_ratio) for event in (1.0, 0.0)]
    )
    weight = weight / weight.sum()
    chances = np.concatenate([weight * chance, weight * (1 - chance)])
    if not (chances[moves > 0] > 0).any():
        return math.inf
    return _interpolated_run(moves, chances, limit, states)


def _chance(p0: object) -> float:
    chance = fraction("p0", p0)
    if not SMALLEST_CHANCE <= chance <= 1 - SMALLEST_CHANCE:
        raise ValueError(f"p0: must be {SMALLEST_CHANCE:.7f} or more away from 0 and 1, not {chance:g}")
    return chance


def _steps(p0: float, ratio: float) -> float:
    """(Step of an event + step of none) over (step of none), which a lattice needs to be a whole number."""
    return math.log(ratio) / math.log1p((ratio - 1) * p0)


def _odds_ratio_on(lattice: int, p0: float, asked: float) -> float:
    """The odds ratio on the asked side of 1 whose ratio of steps is `lattice`, by halving."""
    low, high = (1.0 + 1e-9, max(asked, 2.0)) if asked > 1 else (0.0, 1.0 - 1e-9)
    while asked > 1 and _steps(p0, high) > lattice:
        high *= 2
    low = low or 1e-300
    for _halving in range(200):
        middle = (low + high) / 2
        if _steps(p0, middle) > lattice:
            low = middle
        else:
            high = middle
    return (low + high) / 2


def _nearest_lattice(p0: float, asked: float) -> tuple[Fraction, float]:
    """Ratio of steps and odds ratio: a whole one with an odds ratio nearby, else a fraction with the one asked."""
    steps = _steps(p0, asked)
    whole = round(steps)
    if whole >= 2 and (whole * p0 < 1 if asked > 1 else whole * p0 > 1):
        ratio = _odds_ratio_on(whole, p0, asked)
        if abs(ratio / asked - 1) <= FARTHEST_RATIO:
            return Fraction(whole), ratio
    return _nearest_fraction(steps), asked


def _nearest_fraction(steps: float) -> Fraction:
    """`steps`, or a fraction near it that keeps the chain small."""
    whole = round(steps)
    if whole >= 2 and abs(steps - whole) < WHOLE * steps:
        return Fraction(whole)
    finest = min(max(int(FINEST_NUMERATOR / steps), 1), LARGEST_DENOMINATOR)
    return max(Fraction(steps).limit_denominator(finest), Fraction(finest + 1, finest))


def _smallest_on_lattice(p0: float, lattice: int, wanted: float, upward: bool) -> int:
    for states, (run, _term) in enumerate(itertools.islice(_runs(p0, lattice, upward), MOST_STATES), 1):
        if run >= wanted:
            return states
    raise ValueError(f"in_control_arl: needs more than {MOST_STATES:,} states")


def _smallest_on_bands(p0: float, steps: Fraction, wanted: float, upward: bool) -> int:
    """By doubling, then halving: a higher threshold never shortens the run."""
    high = 1
    while _banded_run(p0, steps, high, upward) < wanted:
        high *= 2
        if high > MOST_BANDED:
            raise ValueError(f"in_control_arl: needs more than {MOST_BANDED:,} states")
    low = high // 2
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if _banded_run(p0, steps, middle, upward) < wanted else (low, middle)
    return high


def _run(p: float, steps: Fraction, states: int, upward: bool) -> float:
    if steps.denominator == 1 and steps.numerator >= 2:
        return _lattice_run(p, steps.numerator, states, upward)
    return _banded_run(p, steps, states, upward)


def _lattice_run(p: float, lattice: int, states: int, upward: bool) -> float:
    if upward and p > OFTEN:
        return _run_by_steps(p, lattice, states)
    if not upward and p == 1:
        return math.inf
    for run, term in itertools.islice(_runs(p, lattice, upward), states):
        if not term <= LOST * run:
            return _run_by_steps(p, lattice, states) if upward else math.inf
    return run if run < ENDLESS_RUN else math.inf


def _runs(p: float, lattice: int, upward: bool) -> Iterator[tuple[float, float]]:
    return _runs_of_rises(p, lattice) if upward else _runs_of_falls(p, lattice)


def _runs_of_rises(p: float, lattice: int) -> Iterator[tuple[float, float]]:
    """For 1, 2, ... states: average run length where an event rises by m - 1, and the size of its terms.

    In distances d below the threshold the run length L(d) is c B(d) - A(d): both follow from nearer
    distances by L(d) = 1 + (1 - p) L(d + 1) + p L(d - m + 1), 0 for d < 1, and do not depend on the number of
    states; the return to 0 at the far end gives c. One pass serves all thresholds.
    """
    rise = lattice - 1
    scale, offset = [0.0, 1.0], [0.0, 0.0]
    for states in itertools.count(1):
        near = max(states - rise, 0)
        b, a, b_near, a_near = scale[states], offset[states], scale[near], offset[near]
        signals = p * (b - b_near)
        term = b * (1 + p * (a - a_near)) / signals if signals > 0 else math.inf
        yield term - a, term
        scale.append((b - p * b_near) / (1 - p))
        offset.append((a + 1 - p * a_near) / (1 - p))


def _runs_of_falls(p: float, lattice: int) -> Iterator[tuple[float, float]]:
    """As `_runs_of_rises`, where an event falls by m - 1 and a use without one rises by 1."""
    fall = lattice - 1
    run = [0.0]
    for states in itertools.count(1):
        run.append((run[-1] + 1 - p * run[max(states - 1 - fall, 0)]) / (1 - p))
        yield run[-1], run[-1]


def _run_by_steps(p: float, lattice: int, states: int) -> float:
    """Average run length as the sum over uses of the chance to be without a signal; for runs that are short."""
    rise = lattice - 1
    chance = np.zeros(states)
    chance[0] = 1.0
    run = 0.0
    while (left := float(chance.sum())) > STILL_RUNNING:
        run += left
        after = np.zeros(states)
        after[:-1] = (1 - p) * chance[1:]
        after[0] += (1 - p) * chance[0]
        after[rise:] += p * chance[: max(states - rise, 0)]
        chance = after
    return run


def _banded_run(p: float, steps: Fraction, states: int, upward: bool) -> float:
    """Average run length on a lattice where an event moves by numerator - denominator, a use by denominator."""
    from scipy.linalg import solve_banded

    event, none = steps.numerator - steps.denominator, steps.denominator
    event, none = (event, -none) if upward else (-event, none)
    below, above = max(-event, -none), max(event, none)
    bands = np.zeros((below + above + 1, states))
    origin = np.arange(states)
    bands[above] = 1.0
    for move, chance in ((event, p), (none, 1 - p)):
        target = np.maximum(origin + move, 0)
        inside = target < states
        np.add.at(bands, (above + origin[inside] - target[inside], target[inside]), -chance)
    try:
        run = float(solve_banded((below, above), bands, np.ones(states))[0])
    except np.linalg.LinAlgError:  # signals too rare for floats
        return math.inf
    return run if 0 < run < ENDLESS_RUN else math.inf


def _interpolated_run(moves: FloatArray, chances: FloatArray, limit: float, states: int) -> float:
    """Average run length with moves of these chances, linear between even points; the last is just below h."""
    points = np.linspace(0.0, limit, states + 1)
    size = states + 1
    matrix = np.zeros(size * size)
    origin = np.arange(size)[:, None] * size
    for start in range(0, moves.size, 100):
        move, chance = moves[start : start + 100], chances[start : start + 100]
        reached = np.maximum(points[:, None] + move, 0.0)
        chance = np.where(reached < least_reaching(limit), chance, 0.0)
        place = np.minimum(reached / limit * states, states)
        below = np.minimum(np.floor(place), states - 1)
        cell = (origin + below).astype(np.int64).ravel()
        upper_part = (chance * (place - below)).ravel()
        matrix += np.bincount(cell, chance.ravel() - upper_part, size * size)
        matrix += np.bincount(cell + 1, upper_part, size * size)
    try:
        run = float(np.linalg.solve(np.eye(size) - matrix.reshape(size, size), np.ones(size))[0])
    except np.linalg.LinAlgError:  # signals too rare for floats
        return math.inf
    return run if 0 < run < ENDLESS_RUN else math.inf
