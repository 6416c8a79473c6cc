"""The last twelve months of a model against all before them, where it has too few events for a baseline. No query.

An exact comparison that allows for how little the earlier months say; looked at at the end of each month with an event.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from scipy import special

from analytics.answers_months import Month, MonthlyRecord
from analytics.answers_signals import Chart, Crossed, SignalRule

LAST_MONTHS = 12
FEWEST = 3
"""Fewer events than these are no few."""
TAIL = 0.016
"""Of each look, which only a month with an event brings: at most 2.5 a year, 62.5 in 25 years, where there is too
little for a baseline (fewer than 5 events in 24 months). The simulation in tests/soak compares it with what comes."""

Counted = tuple[int, int]
"""Events in uses."""


def last_months(model: str, kind: str, record: MonthlyRecord) -> Iterator[Chart]:
    """The chart of a model, if there are more than twelve months with uses.

    Given how many events there were in all, those of the last months are binomial by the uses. After a signal the
    months after it are compared, twelve at most, with those before the ones that gave it.

    Source: the conditional test of Przyborowski & Wilenski, Biometrika 1940;31:313-323, one-sided.
    """
    months = [one for one in record.recorded if one.uses]
    crossings: list[Crossed] = []
    false_alarms = 0.0
    free, usual = 0, len(months)
    for which in range(LAST_MONTHS, len(months)):
        start = max(which + 1 - LAST_MONTHS, free)
        before, last = counted(months[: min(start, usual)]), counted(months[start : which + 1])
        if not months[which].events or min(start, usual) < LAST_MONTHS:
            continue
        false_alarms += chance_of_crossing(before, last)
        limit = fewest_beyond(before, last[1])
        if limit is not None and last[0] >= limit:
            behind = tuple(event for one in months[start : which + 1] for event in one.events)
            crossings.append(
                Crossed(behind[-1], behind, last[0], limit, _expected(before, last), last[1], before)
            )
            free, usual = which + 1, min(start, usual)
    if len(months) > LAST_MONTHS:
        yield Chart(SignalRule.LAST_MONTHS, model, "", kind, record, tuple(crossings), false_alarms)


def before_and_last(record: MonthlyRecord) -> tuple[Counted, Counted]:
    """Events in uses of all months before the last twelve, and of the last twelve."""
    months = [one for one in record.recorded if one.uses]
    return counted(months[:-LAST_MONTHS]), counted(months[-LAST_MONTHS:])


def counted(months: Iterable[Month]) -> Counted:
    """Events in uses of some months."""
    listed = list(months)
    return sum(len(one.events) for one in listed), sum(one.uses or 0 for one in listed)


def fewest_beyond(before: Counted, uses: int) -> int | None:
    """The smallest number of events in `uses` that is beyond chance after those `before`; None where none is."""
    events, share = before[0], uses / (uses + before[1])
    for number in range(FEWEST, uses + 1):
        if special.bdtrc(number - 1, events + number, share) <= TAIL:
            return number
    return None


def chance_of_crossing(before: Counted, last: Counted) -> float:
    """The chance that a look at so many events in all crosses, nothing having changed; one is in the last month."""
    total, share = before[0] + last[0], last[1] / (last[1] + before[1])
    for number in range(FEWEST, total + 1):
        if special.bdtrc(number - 1, total, share) <= TAIL:
            return float(special.bdtrc(number - 2, total - 1, share))
    return 0.0


def _expected(before: Counted, last: Counted) -> float:
    return before[0] / before[1] * last[1]
