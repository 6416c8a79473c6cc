"""What stands in sentences beside the charts of a device over time: why this chart, half-years, the sum. No query."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from analytics import estimates
from analytics.answers import WORDS
from analytics.answers_months import DeviceEvent, MonthlyRecord, OverTime, ProceduresOverTime, Rule
from analytics.estimates import Estimate
from analytics.figures.months import day_of, known_day, on_or_in
from analytics.figures.words import Number, rate_in_words, run_in_words, years_in_words
from analytics.watching import (
    BASELINE_MONTHS,
    FEWEST_BASELINE_EVENTS,
    SAME_DAY,
    SHORT_BASELINE_MONTHS,
    Baseline,
    Watch,
)
from registry.drawings.phrases import counted, lowered, named, raised

TOLD_CROSSINGS = 5
"""Crossings that are told one by one, the last ones."""
_ASKS = "A sum that reaches its limit asks for a review of the cases behind it; it proves nothing and names no cause."


@dataclass(frozen=True, slots=True)
class HalfYear:
    """Six months, or what there is of them, with their rate; `rate` is None where none is printed."""

    period: str
    estimate: Estimate
    events: str
    uses: str
    rate: Number | None
    lower: Number | None
    upper: Number | None
    instead: str


@dataclass(frozen=True, slots=True)
class EventLine:
    """One event as the list of cases behind the figures shows it; `day` as it is in files, `when` as it is read."""

    day: str
    when: str
    case: str
    site: str
    situation: str
    ending: str
    lot: str
    model: str
    note: str


def half_years(found: OverTime) -> list[HalfYear]:
    """First events in uses of each half-year, with exact limits."""
    return [_half_year(*one) for one in found.half_years]


def _half_year(first: datetime.date, last: datetime.date, one: Estimate) -> HalfYear:
    start = f"{first:%b}" if first.year == last.year and first != last else f"{first:%b %Y}"
    period = f"{first:%B %Y}" if first == last else f"{start} to {last:%b %Y}"
    said = (period, one, f"{one.count:,}", f"{one.total:,}")
    drawn = one.with_limits
    if drawn is None:
        return HalfYear(*said, None, None, None, " ".join(map(str, one.cautions)))
    rate, lower, upper = map(rate_in_words, drawn)
    return HalfYear(*said, rate, lower, upper, "")


def why_this_chart(found: OverTime) -> str:
    """Which chart the months are read in, by what rule, how its limits are made, and what a false alarm means."""
    chart, baseline = found.by_month, found.baseline
    if baseline is None or chart.expected is None:
        return _no_baseline(found)
    months = found.asked.recorded
    mean = f"{sum(one.uses or 0 for one in months) / len(months):,.0f}"
    expected = (
        f"At the baseline of {_rate_of(baseline)} per 1,000 and about {mean} uses a month, "
        f"{_some(chart.expected)} first events are expected in a month"
    )
    if chart.rule == Rule.RATES:
        return (
            f"{expected}, enough for a chart of rates (u chart). Its limits are three standard deviations "
            "about the mean of the months shown, by the uses of each; a ring marks a month beyond them. "
            f"{_alarm(chart.false_alarm)}"
        )
    if chart.rule == Rule.SINGLE_MONTH:
        return (
            f"{expected}, fewer than 5, and limits drawn for larger numbers would flag single events. So "
            "the limit of each month is exact (Poisson): the smallest number of events that has a chance "
            "of at most 0.00135 at the baseline and the uses of that month; a ring marks a month that "
            f"reaches it. {_alarm(chart.false_alarm)}"
        )
    return (
        f"{expected}, fewer than 1 a year, so a month with none says next to nothing and no limit of a "
        "month is drawn. The uses between one first event and the next are shown instead (g chart), with "
        "geometric limits where there are 5 events. A gap beyond the limit is a long run without events; "
        "short gaps can cross no limit there, for which there is the sum."
    )


def crosses(found: OverTime) -> bool:
    """Whether the sum or a single month is beyond its limit."""
    beyond = any(limit is not None and limit.beyond for limit in found.by_month.limits)
    return beyond or bool(found.watch and found.watch.crossings)


def _some(expected: float) -> str:
    return f"{float(f'{expected:.2g}'):g}" if expected < 10 else f"{expected:,.0f}"


def _rate_of(baseline: Baseline) -> str:
    return str(rate_in_words(1000 * baseline.events / baseline.uses))


def _alarm(chance: float | None) -> str:
    if not chance:
        return ""
    return (
        "A false alarm is a month beyond its upper limit though nothing has changed: at what is expected, "
        f"about one month in {float(f'{1 / chance:.2g}'):,.0f}."
    )


def why_of_procedures(found: ProceduresOverTime) -> str:
    """The same of cases in procedures."""
    drawn = found.rate.with_limits
    if drawn is None:
        return ""
    rate, lower, upper = map(rate_in_words, drawn)
    limits = (
        "three standard deviations about the mean of these months (u chart)"
        if found.rule == Rule.RATES
        else "exact for each single month (Poisson) at the mean of these months, since fewer than 5 cases come a month"
    )
    undated = ""
    if found.undated:
        undated = f" {counted(found.undated, 'case', 'cases')} left out: known to the year only."
    return (
        f"{counted(found.cases, 'case', 'cases')} in {found.procedures:,} procedures, {rate} per 1,000 "
        f"({lower} to {upper}), in the months and sites whose return says that everything is reported or "
        f"that nothing happened; hollow marks are cases of other months. The limits are {limits}. "
        f"{_alarm(found.false_alarm)}{undated}"
    )


def _no_baseline(found: OverTime) -> str:
    of_class = (
        "" if found.of_class else " Neither the months here nor, for a model, those of its class hold that."
    )
    return (
        "No limit is drawn, since nothing says what is usual: a baseline is the first "
        f"{BASELINE_MONTHS} months of recorded uses ({SHORT_BASELINE_MONTHS} where fewer than "
        f"{BASELINE_MONTHS + SHORT_BASELINE_MONTHS} are recorded), with months left after them and at least "
        f"{FEWEST_BASELINE_EVENTS} first events in them.{of_class}"
    )


def sum_in_words(found: OverTime) -> list[tuple[str, str]]:
    """The running sum as sentences, each with what it is about; empty where nothing is watched."""
    watch = found.watch
    if watch is None:
        return []
    return [
        ("What is watched", _what(watch)),
        ("Where it stands", _stands(watch, found.whole.events)),
        ("Baseline", _baseline(watch)),
        ("Since then", _since(found, watch)),
        ("How long it runs", _how_long(watch)),
        ("How sure that is", _how_sure(watch)),
        ("After a crossing", _after(watch)),
    ]


def _what(watch: Watch) -> str:
    return (
        "The cumulative sum of first events per use (Bernoulli CUSUM), set to notice "
        f"{watch.odds_ratio:.2g} times the odds of the baseline. Uses are returned by month: {SAME_DAY}. "
        "It crosses where it is at or above its limit."
    )


def _stands(watch: Watch, events: Sequence[DeviceEvent]) -> str:
    now = f"At {watch.last_value:.2f} after {run_in_words(watch.uses)}, its limit is {watch.threshold:.2f}."
    if not watch.crossings:
        return f"{now} It has not crossed."
    days = "; ".join(
        f"{on_or_in(known_day(events[one.events[-1]]))}, at {one.value:.2f}, "
        f"{counted(len(one.events), 'event', 'events')} since it last stood at 0"
        for one in watch.crossings[-TOLD_CROSSINGS:]
    )
    number = len(watch.crossings)
    times = "once" if number == 1 else f"{number:,} times"
    lately = "lately " if number > TOLD_CROSSINGS else ""
    return f"{now} It crossed {times}: {lately}{days}. {_ASKS}"


def _baseline(watch: Watch) -> str:
    one = watch.baseline
    whose = (
        "all models of its class, since this model has too few for one of its own"
        if watch.of_class
        else "these months"
    )
    return (
        f"{_rate_of(one)} per 1,000: {counted(one.events, 'first event', 'first events')} in {one.uses:,} "
        f"uses, {one.first:%B %Y} to {one.last:%B %Y}, of {whose}. Exact 95 % limits "
        f"{rate_in_words(1000 * one.lower)} to {rate_in_words(1000 * one.upper)}. The sum begins after "
        "these months."
    )


def _since(found: OverTime, watch: Watch) -> str:
    months = [one for one in found.whole.recorded if one.month >= watch.since]
    events, uses = sum(len(one.events) for one in months), sum(one.uses or 0 for one in months)
    drawn = estimates.rate(events, uses, unit="uses").with_limits
    said = ""
    if drawn:
        rate, lower, upper = map(rate_in_words, drawn)
        said = f", {rate} per 1,000 ({lower} to {upper})"
    return f"{events:,} in {uses:,} uses{said}."


def _how_long(watch: Watch) -> str:
    return (
        f"If nothing has changed, one false alarm in about {run_in_words(watch.in_control_run)}: at the "
        f"pace of the last twelve recorded months, {years_in_words(watch.years(watch.in_control_run))}. If "
        f"the odds had become {watch.odds_ratio:.2g} times those of the baseline, it crosses after about "
        f"{run_in_words(watch.out_of_control_run)}, "
        f"{years_in_words(watch.years(watch.out_of_control_run))}, on average."
    )


def _how_sure(watch: Watch) -> str:
    return (
        f"The baseline is itself an estimate. Were it really {rate_in_words(1000 * watch.baseline.upper)}, "
        f"its upper limit, a false alarm would come about every {run_in_words(watch.run_at_upper)}, "
        f"{years_in_words(watch.years(watch.run_at_upper))}."
    )


def _after(watch: Watch) -> str:
    done = {0: "it has not done so yet", 1: "it has done so once"}
    number = len(watch.crossings)
    return f"The sum starts again at 0; {done.get(number, f'it has done so {number:,} times')}."


def event_lines(record: MonthlyRecord) -> list[EventLine]:
    """Every event, the latest first, with why one is in no rate."""
    events = [one for month in record.months for one in (*month.events, *month.left_out, *month.secondary)]
    listed = sorted((*events, *record.undated), key=lambda one: (one.latest, one.case), reverse=True)
    return [_event_line(one) for one in listed]


def _event_line(one: DeviceEvent) -> EventLine:
    if one.secondary:
        note = "secondary, in no rate"
    else:
        note = f"left out: {WORDS[one.left_out]}" if one.left_out else ""
    return EventLine(
        day=f"{one.latest:%Y}" if one.month is None else day_of(one.earliest, one.latest),
        when=known_day(one),
        case=one.case,
        site=one.site,
        situation=raised(named("situation", one.situation, "situation")),
        ending=lowered(named("ending", one.ending, "ending")),
        lot=one.lot or "",
        model=one.device_model or "",
        note=note,
    )
