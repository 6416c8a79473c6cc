"""The last twelve months of a model against all before them, where it has too few events for a baseline. No query.

An exact comparison that allows for how little the earlier months say; looked at at the end of each month with an event.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from analytics.answers_months import Month, MonthlyRecord
from analytics.answers_signals import Crossed, Drawn, SignalRule, drawn
from analytics.watching import BASELINE_MONTHS, FEWEST_BASELINE_EVENTS, YEARS_WITHOUT_CHANGE

LAST_MONTHS = 12
FEWEST = 3
"""Fewer events than these are no few."""
MOST_LOOKS = YEARS_WITHOUT_CHANGE * 12 * FEWEST_BASELINE_EVENTS / BASELINE_MONTHS
"""Only a month with an event is looked at, and a model with 5 events in 24 months has a baseline: so there are 62.5
looks in 25 years at most."""
TAIL = 1 / MOST_LOOKS
"""Of each look: so that all looks together cross at most once in 25 years by chance, as the other charts do."""
SPREADS = 1_000
"""Random spreads of the events of a model over its uses, for the false alarms to be expected."""

Counted = tuple[int, int]
"""Events in uses."""
Whole = NDArray[np.int64]


class _Beyond(NamedTuple):
    """Month `which` crosses in some rows: those compared begin at `start`, those before them end at `end`."""

    which: int
    rows: Whole
    start: Whole
    end: Whole


def last_months(model: str, kind: str, record: MonthlyRecord) -> Iterator[Drawn]:
    """The chart of a model, if there are more than twelve months with uses.

    Given how many events there were in all, those of the last months are binomial by the uses. After a signal the
    months after it are compared, twelve at most, with those before the ones that gave it.

    Source: the conditional test of Przyborowski & Wilenski, Biometrika 1940;31:313-323, one-sided.
    """
    months = [one for one in record.recorded if one.uses]
    if len(months) <= LAST_MONTHS:
        return
    uses = tuple(one.uses or 0 for one in months)
    events = np.array([[len(one.events) for one in months]])
    crossings = tuple(
        _crossed(months, int(one.start[0]), int(one.end[0]), one.which) for one in _beyond(events, uses)
    )
    by_chance = false_alarms(int(events.sum()), uses)
    yield drawn(SignalRule.LAST_MONTHS, model, kind, record, crossings, by_chance)


def _crossed(months: Sequence[Month], start: int, end: int, which: int) -> Crossed:
    compared = months[start : which + 1]
    before, last = counted(months[:end]), counted(compared)
    behind = tuple(event for one in compared for event in one.events)
    expected = before[0] / before[1] * last[1]
    return Crossed(behind[-1], behind, last[0], fewest_beyond(before, last[1]), expected, last[1], before)


def before_and_last(record: MonthlyRecord) -> tuple[Counted, Counted]:
    """Events in uses of all months before the last twelve, and of the last twelve."""
    months = [one for one in record.recorded if one.uses]
    return counted(months[:-LAST_MONTHS]), counted(months[-LAST_MONTHS:])


def counted(months: Iterable[Month]) -> Counted:
    """Events in uses of some months."""
    listed = list(months)
    return sum(len(one.events) for one in listed), sum(one.uses or 0 for one in listed)


def fewest_beyond(before: Counted, uses: int) -> int:
    """The smallest number of events in `uses` that is beyond chance after those `before`."""
    number, share = FEWEST, uses / (uses + before[1])
    while special.bdtrc(number - 1, before[0] + number, share) > TAIL:
        number += 1
    return number


def _beyond(events: Whole, uses: Sequence[int]) -> Iterator[_Beyond]:
    """Where rows of events by month cross, month after month; `uses` are the same of every row."""
    seen = np.hstack([np.zeros((len(events), 1), np.int64), events.cumsum(axis=1)])
    opened = np.concatenate([[0], np.cumsum(uses)])
    every = np.arange(len(events))
    free, usual = np.zeros_like(every), np.full_like(every, len(uses))
    for which in range(LAST_MONTHS, len(uses)):
        start = np.maximum(free, which + 1 - LAST_MONTHS)
        end = np.minimum(start, usual)
        last, before = seen[:, which + 1] - seen[every, start], seen[every, end]
        rows = np.flatnonzero((events[:, which] > 0) & (end >= LAST_MONTHS) & (last >= FEWEST))
        watched = opened[which + 1] - opened[start[rows]]
        share = watched / (watched + opened[end[rows]])
        rows = rows[special.bdtrc(last[rows] - 1, before[rows] + last[rows], share) <= TAIL]
        if rows.size:
            yield _Beyond(which, rows, start[rows], end[rows])
            free[rows], usual[rows] = which + 1, end[rows]


@lru_cache(maxsize=4096)
def false_alarms(events: int, uses: tuple[int, ...]) -> float:
    """How many crossings chance alone gives of a model with so many events in all.

    The mean over random spreads of its events over its uses, the same ones each time: it asks for no rate, and holds
    for any that has not changed.
    """
    if events < FEWEST:
        return 0.0
    shares = np.array(uses) / sum(uses)
    spreads = np.random.default_rng(events).multinomial(events, shares, SPREADS)
    return sum(one.rows.size for one in _beyond(spreads, uses)) / SPREADS
