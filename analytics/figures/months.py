"""A device over time as pictures with their tables: events by month, uses between events, the running sum. No query."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass

from analytics.answers_months import (
    DeviceEvent,
    Mark,
    Month,
    MonthLimit,
    MonthlyRecord,
    OverTime,
    ProceduresOverTime,
    Rule,
)
from analytics.charts import cusum, gaps, months
from analytics.charts.figure import Cell, Figure
from analytics.charts.marks import shortened
from analytics.figures.words import day_in_words, run_in_words, years_in_words
from analytics.watching import Watch
from registry.drawings.phrases import counted

EVENTS_BY_MONTH = "events-by-month"
USES_BETWEEN_EVENTS = "uses-between-events"
RUNNING_SUM = "running-sum"
CASES_BY_MONTH = "cases-by-month"
IN_THOUSANDS = 100_000
"""Numbers under months from which on they stand as thousands."""
MOST_BEYOND = 12
"""Months beyond a limit that a description names; of more it tells the number."""


def events_by_month(
    found: OverTime, marks: Sequence[Mark], subject: str, lots: Collection[str] = ()
) -> Figure | None:
    """One mark an event in its month, with the limits of the months; None where nothing is recorded.

    `lots` are those that stand out: seen twice, or set aside.
    """
    record = found.asked
    if not record.months:
        return None
    pairs = list(zip(record.months, found.by_month.limits, strict=True))
    columns = [_column(month, limit, found.by_month.rule, lots) for month, limit in pairs]
    size, content = months.by_month(
        columns,
        _letters(marks),
        counted="First events",
        said=_said(found.by_month.limits, "uses"),
        below=_said_below(found.by_month.limits),
        under="Uses opened",
    )
    return Figure(
        name=EVENTS_BY_MONTH,
        title=f"{subject}: first events, month by month",
        description=_description(found, sum(len(one.ringed) for one in columns)),
        size=size,
        content=content,
        columns=(
            "month",
            "uses",
            "first events",
            "expected",
            "limit",
            "limit below",
            "beyond",
            "left out",
            "secondary",
            "of a lot seen twice or set aside",
        ),
        rows=tuple(
            (*_row(month, limit), len(column.ringed))
            for (month, limit), column in zip(pairs, columns, strict=True)
        ),
        method="u_chart" if found.by_month.rule != Rule.USES_BETWEEN else "g_chart",
    )


def _column(month: Month, limit: MonthLimit | None, rule: Rule, lots: Collection[str]) -> months.Column:
    drawn = (*month.events, *month.left_out)
    return months.Column(
        month=month.month,
        events=len(month.events),
        left_out=len(month.left_out),
        under=_under(month.uses),
        silent=month.uses is None,
        upper=limit.upper if limit else None,
        lower=limit.lower if limit else None,
        centre=limit.expected if limit and rule == Rule.RATES else None,
        beyond=bool(limit and limit.beyond),
        ringed=frozenset(place for place, event in enumerate(drawn, start=1) if event.lot in lots),
    )


def _under(number: int | None) -> str:
    """What stands under a month: a dash without a number."""
    return "–" if number is None else shortened(number, IN_THOUSANDS)


def _letters(marks: Sequence[Mark]) -> list[months.Letter]:
    return [months.Letter(mark.letter, mark.day) for mark in marks]


def _said(found: Sequence[MonthLimit | None], of: str) -> str:
    limits = sorted({limit.upper for limit in found if limit})
    if not limits:
        return ""
    name = "upper limit" if _said_below(found) else "limit"
    if len(limits) == 1:
        return f"{name} for a single month: {limits[0]:,} or more"
    return f"{name} for a single month, by its {of}: {limits[0]:,} to {limits[-1]:,}"


def _said_below(found: Sequence[MonthLimit | None]) -> tuple[str, ...]:
    """The lower limit in two lines; empty where no month has one above 0, since fewer than none there are not."""
    limits = sorted({limit.lower for limit in found if limit and limit.lower})
    if not limits:
        return ()
    span = f"{limits[0]:,}" if len(limits) == 1 else f"{limits[0]:,} to {limits[-1]:,}"
    return ("lower limit:", f"{span} or fewer")


def _description(found: OverTime, ringed: int) -> str:
    record = found.asked
    first, last = record.months[0].month, record.months[-1].month
    silent = len(record.months) - len(record.recorded)
    beyond = [
        one.month
        for one, limit in zip(record.months, found.by_month.limits, strict=True)
        if limit and limit.beyond
    ]
    return " ".join(
        (
            f"{counted(len(record.events), 'first event', 'first events')} in {record.uses:,} uses,",
            f"{first:%B %Y} to {last:%B %Y}.",
            *([f"{counted(silent, 'month has', 'months have')} no number of uses."] if silent else []),
            *([f"{ringed:,} of a lot seen twice or set aside."] if ringed else []),
            *([f"Beyond the limit: {_named(beyond)}."] if beyond else []),
        )
    )


def _named(beyond: Sequence[datetime.date]) -> str:
    return (
        ", ".join(f"{one:%B %Y}" for one in beyond) if len(beyond) <= MOST_BEYOND else f"{len(beyond)} months"
    )


def _row(month: Month, limit: MonthLimit | None) -> tuple[Cell, ...]:
    return (
        f"{month.month:%Y-%m}",
        month.uses,
        len(month.events),
        limit.expected if limit else None,
        limit.upper if limit else None,
        limit.lower if limit else None,
        ("yes" if limit.beyond else "no") if limit else None,
        len(month.left_out),
        len(month.secondary),
    )


def uses_between_events(found: OverTime, subject: str) -> Figure | None:
    """The uses between events, where that is the chart that the numbers allow; None where it is another."""
    between = found.by_month.gaps
    if between is None or not between.uses:
        return None
    ends = found.asked.events[1:]
    size, content = gaps.uses_between(
        between.uses, [f"{one.latest:%b %Y}" for one in ends], between.centre, between.upper
    )
    return Figure(
        name=USES_BETWEEN_EVENTS,
        title=f"{subject}: uses between one first event and the next",
        description=f"{counted(len(between.uses), 'gap', 'gaps')}; {between.since:,} uses since the last first event.",
        size=size,
        content=content,
        columns=("event that ends the gap", "uses between", "longest by chance"),
        rows=tuple(
            (day_of(one.earliest, one.latest), uses, between.upper)
            for one, uses in zip(ends, between.uses, strict=True)
        ),
        method="g_chart",
    )


@dataclass(frozen=True, slots=True)
class Told:
    """How the events of a sum are told: `day` in the table, `when` where one crossed, the number of its use or not."""

    day: Callable[[DeviceEvent], str]
    when: Callable[[DeviceEvent], str]
    uses: bool = True


OF_OWN_CASES = Told(
    day=lambda event: day_of(event.earliest, event.latest),
    when=lambda event: on_or_in(known_day(event)),
)


def running_sum(found: OverTime, marks: Sequence[Mark], subject: str) -> Figure | None:
    """The sum use by use over all watched months, None where nothing is watched."""
    if found.watch is None:
        return None
    return sum_of(found.watch, found.whole, marks, subject, RUNNING_SUM, OF_OWN_CASES)


def sum_of(
    watch: Watch, record: MonthlyRecord, marks: Sequence[Mark], subject: str, name: str, told: Told
) -> Figure:
    """A sum as a picture, with a table of the sum just before and just after each event."""
    events = record.events
    months_watched = [one.month for one in record.months if one.month >= watch.since]
    turns = [(point.at, point.value) for point in watch.path]
    at_events = [(point.at, point.value) for point in watch.path if point.event is not None]
    begun = {one.events[0] for one in watch.crossings}
    starts = {point.event: point.at for point in watch.path if point.event in begun}
    crossings = [
        cusum.Crossed(
            one.at, one.value, starts[one.events[0]], f"crossed {told.when(events[one.events[-1]])}"
        )
        for one in watch.crossings
    ]
    years = years_in_words(watch.years(watch.in_control_run))
    said = f"chance alone: about once in {years}"
    size, content = cusum.running_sum(
        months_watched, turns, at_events, watch.threshold, crossings, _letters(marks), said=said
    )
    crossed = "; ".join(one.said for one in crossings[-cusum.MOST_SAID :]) or "not crossed"
    if len(crossings) > cusum.MOST_SAID:
        crossed = f"crossed {len(crossings):,} times, lately: {crossed}"
    return Figure(
        name=name,
        title=f"{subject}: the sum use by use, up at each first event, down a little at each use without one",
        description=(
            f"Over {run_in_words(watch.uses)} from {watch.since:%B %Y}, limit {watch.threshold:.2f}, {crossed}; "
            f"now {watch.last_value:.2f}."
        ),
        size=size,
        content=content,
        columns=(
            "day",
            *(("use",) if told.uses else ()),
            "the sum before",
            "the sum after",
            "limit",
            "crossed",
        ),
        rows=tuple(_steps(watch, events, told)),
        method="bernoulli_cusum",
    )


def _steps(watch: Watch, events: Sequence[DeviceEvent], told: Told) -> Iterator[tuple[Cell, ...]]:
    crossed = {one.index for one in watch.crossings}
    before = 0.0
    for point in watch.path:
        if point.event is not None:
            answer = "yes, starts again at 0" if point.use in crossed else "no"
            use = (point.use,) if told.uses else ()
            day = told.day(events[point.event])
            yield (day, *use, before, point.value, watch.threshold, answer)
        before = point.value


def cases_by_month(found: ProceduresOverTime, marks: Sequence[Mark]) -> Figure | None:
    """Cases with a complication in the procedures of each month, None where no procedures are recorded."""
    if not found.procedures:
        return None
    pairs = list(zip(found.months, found.limits, strict=True))
    columns = [
        months.Column(
            month=one.month,
            events=one.cases,
            left_out=one.left_out,
            under=_under(one.procedures),
            silent=one.procedures is None,
            upper=limit.upper if limit else None,
            lower=limit.lower if limit else None,
            centre=limit.expected if limit and found.rule == Rule.RATES else None,
            beyond=bool(limit and limit.beyond),
        )
        for one, limit in pairs
    ]
    size, content = months.by_month(
        columns,
        _letters(marks),
        counted="Cases",
        said=_said(found.limits, "procedures"),
        below=_said_below(found.limits),
        under="Procedures",
    )
    return Figure(
        name=CASES_BY_MONTH,
        title="All procedures: cases with a device complication, month by month",
        description=f"{counted(found.cases, 'case', 'cases')} in {found.procedures:,} procedures.",
        size=size,
        content=content,
        columns=(
            "month",
            "procedures",
            "cases",
            "per 1,000",
            "expected",
            "limit",
            "limit below",
            "beyond",
            "left out",
        ),
        rows=tuple(
            (
                f"{one.month:%Y-%m}",
                one.procedures,
                one.cases,
                1000 * one.cases / one.procedures if one.procedures else None,
                limit.expected if limit else None,
                limit.upper if limit else None,
                limit.lower if limit else None,
                ("yes" if limit.beyond else "no") if limit else None,
                one.left_out,
            )
            for one, limit in pairs
        ),
        method="u_chart",
    )


def known_day(event: DeviceEvent, *, exactly: bool = True) -> str:
    """`11 February 2026`; the month where the day is not known or not to be told `exactly`, or the year."""
    if event.month is None:
        return f"{event.latest:%Y}"
    if exactly and event.earliest == event.latest:
        return day_in_words(event.latest)
    return f"{event.latest:%B %Y}"


def on_or_in(said: str) -> str:
    """`on 11 February 2026`, `in February 2026`."""
    return f"{'on' if said[0].isdigit() and ' ' in said else 'in'} {said}"


def day_of(earliest: datetime.date, latest: datetime.date) -> str:
    """A day, or its month where the day is not known."""
    return latest.isoformat() if earliest == latest else f"{latest:%Y-%m}"
