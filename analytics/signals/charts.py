"""The charts that are watched, each with where it crossed: sums, single months, close events, lots. No query."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from functools import lru_cache

import numpy as np
from scipy import special

from analytics import summaries
from analytics.answers_months import DeviceEvent, Month, MonthlyRecord
from analytics.answers_signals import BETWEEN, Crossed, Drawn, SignalRule, drawn
from analytics.signals.last_months import last_months
from analytics.statistics.control import events_within
from analytics.summaries.months import in_a_row, in_turn
from analytics.watching import (
    BASELINE_MONTHS,
    YEARS_WITHOUT_CHANGE,
    Baseline,
    Watch,
    baseline_of,
    events_at,
    limit_of_a_month,
)
from registry.terms import UNKNOWN

FEWEST_IN_A_MONTH = 2
"""One event alone is no month beyond its limit, however rare it is."""
CLOSE = 3
RARE_A_YEAR = 1.0
"""Fewer expected events a year than this, and the rule of events close together watches a model too."""
ONCE = 1 - math.exp(-1)
"""The chance of one alarm or more where one is expected."""
TWICE = 2

Records = Mapping[str, tuple[str, MonthlyRecord]]
"""The class and the months of each model by its code."""


def charts_of(records: Records) -> Iterator[Drawn]:
    """Sums, single months and events close together, of models and then of classes."""
    of_class: dict[str, list[MonthlyRecord]] = {}
    for kind, record in records.values():
        if kind != UNKNOWN:
            of_class.setdefault(kind, []).append(record)
    together = {kind: merged(found) for kind, found in of_class.items()}
    usual = {kind: baseline_of(summaries.months_of_use(record)) for kind, record in together.items()}
    for model, (kind, record) in records.items():
        yield from charts_of_a_model(model, kind, record, usual.get(kind))
    for kind, record in together.items():
        if len(of_class[kind]) > 1:
            yield from _of_class(kind, record)


def chart_of_a_class(kind: str, records: Sequence[MonthlyRecord]) -> Iterator[Drawn]:
    """The sum of all models of a class; one model alone is no class."""
    if len(records) > 1:
        yield from _of_class(kind, merged(records))


def _of_class(kind: str, record: MonthlyRecord) -> Iterator[Drawn]:
    watch = summaries.watch_of(record)
    if watch is not None:
        yield _sum(SignalRule.CLASS_SUM, kind, kind, record, watch)


def charts_of_a_model(
    model: str, kind: str, record: MonthlyRecord, of_class: Baseline | None
) -> Iterator[Drawn]:
    """Of one model; `of_class` is the baseline of its class, for one that has none of its own."""
    watch = summaries.watch_of(record, of_class)
    if watch is None:
        yield from last_months(model, kind, record)
        return
    yield _sum(SignalRule.MODEL_SUM, model, kind, record, watch)
    yield _single_months(model, kind, record, watch)
    if 12 * _rate(watch) * record.uses / len(record.recorded) < RARE_A_YEAR:
        yield from _close_together(model, kind, record, watch)


def _rate(watch: Watch) -> float:
    return watch.baseline.events / watch.baseline.uses


def merged(records: Sequence[MonthlyRecord]) -> MonthlyRecord:
    """The months of several models together, in a row; a month is silent where it is for all of them."""
    months: dict[datetime.date, list[Month]] = {}
    for record in records:
        for month in record.months:
            months.setdefault(month.month, []).append(month)
    return MonthlyRecord(
        months=tuple(_together(month, months.get(month, [])) for month in in_a_row(months)),
        undated=tuple(event for record in records for event in record.undated),
        left_out=(),
        to_mend=tuple(one for record in records for one in record.to_mend),
    )


def _together(month: datetime.date, parts: Sequence[Month]) -> Month:
    known = [one.uses for one in parts if one.uses is not None]
    first, others, secondary = (
        _by_day(event for one in parts for event in of(one))
        for of in (lambda one: one.events, lambda one: one.left_out, lambda one: one.secondary)
    )
    records = sum(one.records for one in parts)
    turns = tuple(event for _, event in in_turn(month, first))
    return Month(month, sum(known) if known else None, records, turns, others, secondary)


def _by_day(events: Iterable[DeviceEvent]) -> tuple[DeviceEvent, ...]:
    return tuple(sorted(events, key=lambda event: (event.latest, event.case)))


def _sum(rule: SignalRule, subject: str, kind: str, record: MonthlyRecord, watch: Watch) -> Drawn:
    events = record.events
    crossings = [
        Crossed(
            events[one.events[-1]], tuple(events[number] for number in one.events), one.value, watch.threshold
        )
        for one in watch.crossings
    ]
    return drawn(rule, subject, kind, record, crossings, watch.false_alarms, watch)


def limits_of_months(record: MonthlyRecord, watch: Watch) -> dict[datetime.date, tuple[float, int]]:
    """What is expected in each watched month with uses, and the number of events that is beyond chance."""
    rate = _rate(watch)
    return {
        one.month: (rate * one.uses, max(limit_of_a_month(rate * one.uses), FEWEST_IN_A_MONTH))
        for one in record.recorded
        if one.uses and one.month >= watch.since
    }


def _single_months(model: str, kind: str, record: MonthlyRecord, watch: Watch) -> Drawn:
    limits = limits_of_months(record, watch)
    crossings = []
    for month in record.recorded:
        expected, limit = limits.get(month.month, (0.0, math.inf))
        if len(month.events) >= limit:
            last = month.events[int(limit) - 1]
            crossings.append(Crossed(last, month.events, len(month.events), limit, expected))
    watched = [one for one in record.recorded if one.month in limits]
    uses = np.array([one.uses for one in watched])
    fewer = np.array([limits[one.month][1] - 1 for one in watched])
    chance = float(special.bdtrc(np.minimum(fewer, uses), uses, _rate(watch)).sum())
    return drawn(SignalRule.SINGLE_MONTH, model, kind, record, crossings, chance, watch)


def _close_together(model: str, kind: str, record: MonthlyRecord, watch: Watch) -> Iterator[Drawn]:
    first = record.recorded[:BASELINE_MONTHS]
    pace = sum(one.uses or 0 for one in first) * 12 / len(first)
    width = widest(watch.p0, round(pace * YEARS_WITHOUT_CHANGE))
    if width is None:
        return
    at: list[int] = []
    before = 0
    for month in summaries.months_of_use(record):
        if month.month >= watch.since:
            at += [before + use for use in events_at(*month)]
            before += month.uses
    events = [event for one in record.recorded if one.month >= watch.since for event in one.events]
    found = events_within(at, before, CLOSE, width, watch.p0)
    crossings = [
        Crossed(
            events[last],
            tuple(events[last - CLOSE + 1 : last + 1]),
            CLOSE,
            CLOSE,
            within=at[last] - at[last - CLOSE + 1] + 1,
        )
        for last in map(int, found.alarms)
    ]
    yield drawn(SignalRule.CLOSE_TOGETHER, model, kind, record, crossings, found.expected, watch)


@lru_cache(maxsize=4096)
def widest(p0: float, uses: int) -> int | None:
    """The most uses within which three events are a signal, so that chance alone gives one in about `uses`; or None."""
    low, high = CLOSE - 1, uses
    while low < high:
        middle = (low + high + 1) // 2
        if events_within([], uses, CLOSE, middle, p0).false_alarm <= ONCE:
            low = middle
        else:
            high = middle - 1
    return low if low >= CLOSE else None


def lots_of(records: Records) -> Iterator[Drawn]:
    """Lots of two first events or more, those that no rate may count included; each from the second on crosses."""
    for model, (kind, record) in records.items():
        by_lot: dict[str, list[DeviceEvent]] = {}
        months = [event for one in record.months for event in (*one.events, *one.left_out)]
        for event in _by_day([*months, *(one for one in record.undated if not one.secondary)]):
            if event.lot is not None:
                by_lot.setdefault(event.lot, []).append(event)
        for lot, events in by_lot.items():
            if len(events) >= TWICE:
                crossings = tuple(
                    Crossed(event, tuple(events[:number]), number, TWICE)
                    for number, event in enumerate(events, start=1)
                    if number >= TWICE
                )
                yield drawn(SignalRule.ONE_LOT, f"{model}{BETWEEN}{lot}", kind, record, crossings)
