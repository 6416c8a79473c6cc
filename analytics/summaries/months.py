"""Events and uses of devices by month, and the sum over them use by use (R12). No query of its own, nothing causal."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

from analytics import cohorts
from analytics.answers import LeftOut, Reason, SiteMonthInError
from analytics.answers_months import DeviceEvent, Month, MonthlyRecord, ProcedureMonth, event_among_many
from analytics.cohorts import EventOfDay, Filters, Row, Table
from analytics.summaries.making import each_month, left_out_of
from analytics.watching import Baseline, MonthOfUse, Watch, baseline_of, spread_over_month, watch
from registry.access import Scope
from registry.partial_dates import Span


def months_of(scope: Scope, filters: Filters, model: str | None = None) -> MonthlyRecord:
    """Uses, first events, secondary ones and those left out, month by month, of one model, a class, or all.

    PeriodRefused unless the period is of whole months.
    """
    return whole_and_asked(scope, filters, model)[1]


@cohorts.at_one_moment()
def whole_and_asked(
    scope: Scope, filters: Filters, model: str | None = None
) -> tuple[MonthlyRecord, MonthlyRecord]:
    """All months up to the end of the period, from which a baseline is taken, and those of the period alone."""
    filters.months()
    always = replace(filters, since=None, until=None)
    record = _of_one(scope, always, model) if model is not None else _of_many(scope, always)
    whole = record(replace(filters, since=None))
    return whole, (record(filters) if filters.since else whole)


InAPeriod = Callable[[Filters], MonthlyRecord]
"""The record of a period, of what was asked for without one."""


def _of_one(scope: Scope, always: Filters, model: str) -> InAPeriod:
    events, uses = cohorts.events_by_day(scope, always, model), cohorts.uses_by_month(scope, always, model)
    return lambda filters: _record(events, uses, filters)


def _of_many(scope: Scope, always: Filters) -> InAPeriod:
    """Of all models together, whose events are counted day by day and not told one by one."""
    events, uses = cohorts.events_of_days(scope, always), cohorts.uses_of_months(scope, always)
    return lambda filters: _record_of_many(*events, uses, filters)


@cohorts.at_one_moment()
def months_by_model(scope: Scope, filters: Filters) -> dict[str, tuple[str, MonthlyRecord]]:
    """The class and the months of every model, by its code; two queries for all of them."""
    filters.months()
    always = replace(filters, since=None, until=None)
    events, uses = cohorts.events_by_day(scope, always), cohorts.uses_by_month(scope, always)
    found: dict[str, tuple[str, list[EventOfDay], Table]] = {}
    for event in events:
        if event.device_model is not None:
            found.setdefault(event.device_model, (event.device_class, [], []))[1].append(event)
    for row in uses:
        found.setdefault(row["device_model"], (row["device_class"], [], []))[2].append(row)
    return {
        model: (kind, _record(of_events, of_uses, filters))
        for model, (kind, of_events, of_uses) in found.items()
    }


def watch_of(record: MonthlyRecord, class_baseline: Baseline | None = None) -> Watch | None:
    """The sum over the recorded months; its numbers of events are places in `record.events`."""
    return watch(months_of_use(record), class_baseline)


def class_baseline(scope: Scope, filters: Filters, device_class: str) -> Baseline | None:
    """The baseline of all models of a class, for a model that has too few events for one of its own."""
    whole = months_of(scope, Filters(until=filters.until, device_class=device_class))
    return baseline_of(months_of_use(whole))


def months_of_use(record: MonthlyRecord) -> list[MonthOfUse]:
    """The recorded months as the sum takes them, their events in the same order."""
    return [
        MonthOfUse(one.month, one.uses or 0, tuple(day for day, _ in in_turn(one.month, one.events)))
        for one in record.recorded
    ]


def in_turn(month: datetime.date, events: Iterable[DeviceEvent]) -> list[tuple[datetime.date, DeviceEvent]]:
    """Events of a month by the day on which each is taken to have been; those without one are spread over it.

    Put in turn once more they stay as they are.
    """
    known: list[tuple[datetime.date, DeviceEvent]] = []
    without_day: list[DeviceEvent] = []
    for event in events:
        if event.earliest == event.latest:
            known.append((event.latest, event))
        else:
            without_day.append(event)
    spread = zip(spread_over_month(month, len(without_day)), without_day, strict=True)
    return sorted((*known, *spread), key=lambda one: one[0])


def _record(events: Sequence[EventOfDay], uses: Table, filters: Filters) -> MonthlyRecord:
    """One record of rows that were asked for without a period."""
    inside, perhaps = events, 0
    if filters.since or filters.until:
        inside = [row for row in events if _within(row.earliest, row.latest, filters)]
        perhaps = sum(
            row.caused_by is None
            and _touches(row.earliest, row.latest, filters)
            and not _within(row.earliest, row.latest, filters)
            for row in events
        )
    wrong = _in_error(inside)
    return _laid_out([_event(row, wrong) for row in inside], perhaps, uses, wrong, filters)


_WHY: Mapping[str, Reason | None] = {
    "in_rate": None,
    "in_error": Reason.SITE_MONTH_IN_ERROR,
    "no_model": Reason.NO_MODEL,
    "no_month": Reason.NO_MONTH,
    "no_denominator": Reason.NO_DENOMINATOR,
}


def _record_of_many(days: Table, in_error: Table, uses: Table, filters: Filters) -> MonthlyRecord:
    """The same of numbers of events by day."""
    events: list[DeviceEvent] = []
    perhaps = 0
    for row in days:
        first = {reason: row[name] for name, reason in _WHY.items() if row[name]}
        if _within(row["earliest"], row["latest"], filters):
            day = Span(row["earliest"], row["latest"])
            for reason, number in first.items():
                events += [event_among_many(day, left_out=reason)] * number
            events += [event_among_many(day, secondary=True)] * row["secondary"]
        elif _touches(row["earliest"], row["latest"], filters):
            perhaps += sum(first.values())
    wrong = {
        (row["device_model"], row["site"], row["month"]): (row["uses"], row["events"])
        for row in in_error
        if _within(row["month"], row["month"], filters)
    }
    return _laid_out(events, perhaps, uses, wrong, filters)


def _laid_out(
    events: Iterable[DeviceEvent],
    perhaps: int,
    uses: Table,
    wrong: Mapping[SiteMonth, tuple[int, int]],
    filters: Filters,
) -> MonthlyRecord:
    months: dict[datetime.date | None, list[DeviceEvent]] = {}
    reasons: Counter[Reason] = Counter()
    for event in events:
        months.setdefault(event.month, []).append(event)
        if event.left_out is not None:
            reasons[event.left_out] += 1
    undated = tuple(months.pop(None, ()))
    dated = {month: found for month, found in months.items() if month is not None}
    opened, records = _uses(uses, wrong, filters)
    return MonthlyRecord(
        months=tuple(
            _month(month, dated.get(month, []), opened, records) for month in in_a_row({*dated, *records})
        ),
        undated=undated,
        left_out=_left_out(perhaps, reasons),
        to_mend=tuple(
            SiteMonthInError(model, site, month, number, count)
            for (model, site, month), (number, count) in sorted(wrong.items())
        ),
    )


SiteMonth = tuple[str, str, datetime.date]


def _in_error(rows: Iterable[EventOfDay]) -> dict[SiteMonth, tuple[int, int]]:
    """Site-months of a model with fewer uses than first events: both numbers."""
    events: Counter[SiteMonth] = Counter()
    uses: dict[SiteMonth, int] = {}
    for row in rows:
        if row.uses is not None and row.caused_by is None and row.device_model and row.month:
            key = (row.device_model, row.site, row.month)
            events[key] += 1
            uses[key] = row.uses
    return {key: (uses[key], number) for key, number in events.items() if number > uses[key]}


def _event(row: EventOfDay, wrong: Mapping[SiteMonth, object]) -> DeviceEvent:
    reason: Reason | None = None
    if row.caused_by is not None:
        reason = None
    elif row.device_model is None:
        reason = Reason.NO_MODEL
    elif row.month is None:
        reason = Reason.NO_MONTH
    elif row.uses is None:
        reason = Reason.NO_DENOMINATOR
    elif wrong and (row.device_model, row.site, row.month) in wrong:
        reason = Reason.SITE_MONTH_IN_ERROR
    return DeviceEvent(
        case=row.case,
        site=row.site,
        device_model=row.device_model,
        month=row.month,
        earliest=row.earliest,
        latest=row.latest,
        secondary=row.caused_by is not None,
        situation=row.situation,
        ending=row.ending,
        lot=row.lot,
        left_out=reason,
    )


def _uses(
    rows: Iterable[Row], wrong: Mapping[SiteMonth, tuple[int, int]], filters: Filters
) -> tuple[Counter[datetime.date], Counter[datetime.date]]:
    """Uses of each month, and how many numbers they are the sum of; without those in error."""
    opened: Counter[datetime.date] = Counter()
    records: Counter[datetime.date] = Counter()
    for row in rows:
        if _within(row["month"], row["month"], filters):
            opened[row["month"]] += row["uses"]
            records[row["month"]] += row["sites"]
    for (_, _, month), (number, _) in wrong.items():
        opened[month] -= number
        records[month] -= 1
    return opened, records


def _month(
    month: datetime.date,
    events: Iterable[DeviceEvent],
    opened: Mapping[datetime.date, int],
    records: Mapping[datetime.date, int],
) -> Month:
    listed = sorted(events, key=lambda event: event.latest)
    first = [event for event in listed if not event.secondary]
    return Month(
        month=month,
        uses=opened[month] if records[month] else None,
        records=records[month],
        events=tuple(event for _, event in in_turn(month, (one for one in first if one.left_out is None))),
        left_out=tuple(event for event in first if event.left_out is not None),
        secondary=tuple(event for event in listed if event.secondary),
    )


def _left_out(perhaps: int, reasons: Mapping[Reason, int]) -> tuple[LeftOut, ...]:
    counted = {Reason.DATE_PARTLY_KNOWN: perhaps, **reasons}
    return left_out_of({reason: counted[reason] for reason in Reason if reason in counted}, "events")


def _within(earliest: datetime.date, latest: datetime.date, filters: Filters) -> bool:
    after = filters.since is None or earliest >= filters.since.earliest
    return after and (filters.until is None or latest <= filters.until.latest)


def _touches(earliest: datetime.date, latest: datetime.date, filters: Filters) -> bool:
    after = filters.since is None or latest >= filters.since.earliest
    return after and (filters.until is None or earliest <= filters.until.latest)


def in_a_row(months: Iterable[datetime.date]) -> Iterator[datetime.date]:
    """Every month from the first to the last."""
    found = list(months)
    return each_month(min(found), max(found)) if found else iter(())


@cohorts.at_one_moment()
def procedure_months(scope: Scope, filters: Filters) -> tuple[tuple[ProcedureMonth, ...], int]:
    """Procedures and the cases with a complication by month, where the return says that all is reported (R12).

    Beside them how many cases are known to the year only.
    """
    procedures = {row["month"]: row["procedures"] for row in cohorts.procedures_by_month(scope, filters)}
    cases = {row["month"]: row for row in cohorts.cases_by_month(scope, filters)}
    undated = cases.pop(None, {"others": 0})["others"]
    months = tuple(
        ProcedureMonth(
            month,
            procedures.get(month),
            cases[month]["cases"] if month in cases else 0,
            cases[month]["others"] if month in cases else 0,
        )
        for month in in_a_row({*procedures, *cases})
    )
    return months, undated
