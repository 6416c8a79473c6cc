"""How often chance alone takes a cumulative sum over its threshold in so many uses; in theory, not from the record."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from analytics.statistics._inputs import FloatArray
from analytics.statistics.control.run_length import CusumDesign

FINEST_RISE = (
    50  # steps of a rise on the lattice: a finer one is run with so many, and scaled to its run length
)
SETTLED = 20  # expected events after which the crossings come at a steady pace
SIGNIFICANT = 2  # digits of the chance on the coarser lattice, so that one run serves many sums


def expected_crossings(design: CusumDesign, uses: int) -> float:
    """Crossings of the sum of `design` that are expected in `uses` uses at p0, from 0 and from 0 after each.

    Fewer than uses over run length: a sum at 0 takes events to rise. By Markov chain use after use, exact on a
    lattice of up to 50 steps a rise; a finer one is run with 50, which is right within 0.005 crossings. After 20
    expected events they come at the pace of the run length.

    Raises ValueError, naming the argument, for a design of a fall (an odds ratio below 1) and negative uses.

    Source: Brook & Evans, Biometrika 1972;59:539-549 (run lengths by Markov chain).

    Example: expected_crossings(cusum_design(0.01, 3.0, 1000.0), 500) gives 0.453381.
    """
    if design.odds_ratio < 1:
        raise ValueError(f"design: must watch a rise, not an odds ratio of {design.odds_ratio:g}")
    if uses < 0:
        raise ValueError(f"uses: must not be negative, not {uses}")
    rise, fall = design.steps.numerator - design.steps.denominator, design.steps.denominator
    wider, states, chance = 1.0, design.states, design.p0
    if fall == 1 and rise > FINEST_RISE:
        wider = design.steps.numerator / FINEST_RISE
        rise, states = FINEST_RISE, round(design.states / wider)
        chance = float(f"{design.p0 * wider:.{SIGNIFICANT}g}")
    by_step = _crossings_by_step(chance, rise, fall, states)
    last = by_step.size - 1
    half = last // 2
    pace = float(by_step[last] - by_step[half]) / (last - half)
    if not pace > 0:
        return 0.0
    at = uses * design.p0 / chance
    crossed = float(np.interp(at, np.arange(last + 1), by_step)) + pace * max(at - last, 0.0)
    return crossed / (pace * design.in_control_arl * design.p0 / chance)


@lru_cache(maxsize=256)
def _crossings_by_step(p: float, rise: int, fall: int, states: int) -> FloatArray:
    """Expected crossings after 0, 1, 2, ... steps of the lattice, up to 20 expected events."""
    chance = np.zeros(states)
    chance[0] = 1.0
    crossed = np.zeros(round(SETTLED / p) + 1)
    stays = max(states - rise, 0)
    for step in range(1, crossed.size):
        after = np.zeros(states)
        after[: max(states - fall, 0)] = (1 - p) * chance[fall:]
        after[0] += (1 - p) * chance[:fall].sum()
        after[rise:] += p * chance[:stays]
        crosses = p * chance[stays:].sum()
        after[0] += crosses
        crossed[step] = crossed[step - 1] + crosses
        chance = after
    return crossed
