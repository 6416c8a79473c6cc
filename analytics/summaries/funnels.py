"""Groups about their common share: limits of chance, how much more they differ, and who lies outside. No query."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from analytics.answers_sites import Funnel, Limits, Point
from analytics.statistics.control import Overdispersion, funnel_limits, funnel_p_values, overdispersion
from analytics.statistics.multiplicity import benjamini_hochberg

LEVELS = (0.95, 0.998)
_STEPS = 120


def funnel_of(groups: Sequence[tuple[str, int, int]]) -> Funnel | None:
    """The funnel of groups, each a name, events and size, in the order given.

    None where fewer than two have a size, or where the share of all is 0 or 1: there is then nothing to compare.
    """
    groups = [one for one in groups if one[2]]
    names = [name for name, _, _ in groups]
    events, sizes = (np.array([one[which] for one in groups], dtype=np.int64) for which in (1, 2))
    if len(groups) < 2 or not 0 < events.sum() < sizes.sum():
        return None
    target = float(events.sum() / sizes.sum())
    spread = overdispersion(events, sizes, target)
    p = benjamini_hochberg(funnel_p_values(events, sizes, target, spread))
    around = funnel_limits(target, sizes, LEVELS, spread)
    shares = events / sizes
    outside = (shares < around.lower) | (shares > around.upper)
    within = zip(around.lower.T.tolist(), around.upper.T.tolist(), strict=True)
    grid = np.unique(np.linspace(max(1, sizes.min() // 2), sizes.max() * 1.06 + 1, _STEPS).astype(np.int64))
    return Funnel(
        target=target,
        points=tuple(
            Point(
                name,
                int(x),
                int(n),
                tuple(zip(*pairs, strict=True)),
                float(adjusted),
                _widest(out),
                bool(high),
            )
            for name, x, n, pairs, adjusted, out, high in zip(
                names, events, sizes, within, p, outside.T, shares > target, strict=True
            )
        ),
        sizes=tuple(map(int, grid)),
        exact=_limits(target, grid, None),
        widened=_limits(target, grid, spread) if spread.phi > 1 else (),
        phi=spread.phi,
        p_of_spread=spread.p_value,
    )


def _widest(beyond: Sequence[bool]) -> float | None:
    return max((level for level, out in zip(LEVELS, beyond, strict=True) if out), default=None)


def _limits(target: float, grid: NDArray[np.int64], spread: Overdispersion | None) -> tuple[Limits, ...]:
    found = funnel_limits(target, grid, LEVELS, spread)
    return tuple(
        Limits(level, tuple(map(float, low)), tuple(map(float, high)))
        for level, low, high in zip(LEVELS, found.lower, found.upper, strict=True)
    )
