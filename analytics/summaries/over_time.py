"""Which chart the months of a device are read in, with its limits, and the sum use by use. No query of its own."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterable, Iterator

from analytics import cohorts, estimates
from analytics.answers_months import (
    ByMonth,
    Gaps,
    Month,
    MonthLimit,
    MonthlyRecord,
    OverTime,
    ProceduresOverTime,
    Rule,
)
from analytics.cohorts import Filters
from analytics.estimates import Estimate
from analytics.statistics.control import g_chart, u_chart
from analytics.statistics.control.charts import ROUNDING
from analytics.summaries.months import (
    class_baseline,
    months_of_use,
    procedure_months,
    watch_of,
    whole_and_asked,
)
from analytics.watching import Baseline, baseline_of, chance_of_at_least, limit_of_a_month, uses_between
from registry.access import Scope

FEWEST_A_MONTH = 5
FEWEST_A_YEAR = 1
FEWEST_GAPS = 4
MONTHS_OF_HALF_A_YEAR = 6


@cohorts.at_one_moment()
def over_time(
    scope: Scope, filters: Filters, model: str | None = None, device_class: str | None = None
) -> OverTime:
    """Months with limits, half-years and the sum, of a model or, without one, of the class of `filters`, or of all.

    A model that has too few events for a baseline of its own takes that of its class, `device_class`. PeriodRefused
    unless the period is of whole months.
    """
    whole, asked = whole_and_asked(scope, filters, model)
    own = baseline_of(months_of_use(whole))
    baseline = own
    if own is None and model is not None and device_class is not None and whole.uses:
        baseline = class_baseline(scope, filters, device_class)
    return OverTime(
        whole=whole,
        asked=asked,
        baseline=baseline,
        of_class=own is None and baseline is not None,
        by_month=by_month(asked, baseline),
        watch=watch_of(whole, baseline),
        half_years=tuple((part[0].month, part[-1].month, _rate(part)) for part in _half_years(asked)),
    )


def _half_years(record: MonthlyRecord) -> Iterator[tuple[Month, ...]]:
    for start in range(0, len(record.months), MONTHS_OF_HALF_A_YEAR):
        yield record.months[start : start + MONTHS_OF_HALF_A_YEAR]


def _rate(months: tuple[Month, ...]) -> Estimate:
    events, uses = sum(len(one.events) for one in months), sum(one.uses or 0 for one in months)
    return estimates.rate(events, uses, unit="uses", secondary=sum(len(one.secondary) for one in months))


def by_month(record: MonthlyRecord, baseline: Baseline | None) -> ByMonth:
    """Limits by how many events a month is expected to hold at the baseline.

    From 5 a month on those of a chart of rates, about the mean of the months themselves; from 1 a year on the exact
    one of each single month; for rarer events a chart of uses between events, which needs 5 of them.
    """
    none = (None,) * len(record.months)
    if baseline is None or not record.recorded:
        return ByMonth(Rule.NO_BASELINE, None, none, None, None)
    rate = baseline.events / baseline.uses
    expected = rate * record.uses / len(record.recorded)
    if expected * 12 < FEWEST_A_YEAR:
        return ByMonth(Rule.USES_BETWEEN, expected, none, None, _gaps(record))
    months = _counted(record)
    if expected >= FEWEST_A_MONTH:
        rule, limits = Rule.RATES, _of_rates(months)
    else:
        rule, limits = Rule.SINGLE_MONTH, _of_single_months(months, rate)
    placed = tuple(limits.get(one.month) for one in record.months)
    return ByMonth(rule, expected, placed, _false_alarm(limits.values()), None)


Counted = dict[datetime.date, tuple[int, int]]
"""Events and what they are counted in, of months that have both."""


def _counted(record: MonthlyRecord) -> Counted:
    return {month.month: (len(month.events), month.uses) for month in record.recorded if month.uses}


def _of_single_months(months: Counted, rate: float) -> dict[datetime.date, MonthLimit]:
    limits: dict[datetime.date, MonthLimit] = {}
    for month, (events, uses) in months.items():
        upper = limit_of_a_month(rate * uses)
        limits[month] = MonthLimit(rate * uses, upper, None, events >= upper)
    return limits


def _of_rates(months: Counted) -> dict[datetime.date, MonthLimit]:
    """A month's counts beyond the limits of its rate: above the upper one, below the lower one."""
    chart = u_chart([events for events, _ in months.values()], [uses for _, uses in months.values()])
    limits: dict[datetime.date, MonthLimit] = {}
    for (month, (_, uses)), centre, low, high, beyond in zip(
        months.items(), chart.centre, chart.lower, chart.upper, chart.out, strict=True
    ):
        upper = math.floor(high * uses * (1 + ROUNDING)) + 1
        lower = math.ceil(low * uses * (1 - ROUNDING)) - 1
        limits[month] = MonthLimit(float(centre * uses), upper, lower if lower >= 0 else None, bool(beyond))
    return limits


def _false_alarm(limits: Iterable[MonthLimit]) -> float | None:
    chances = [chance_of_at_least(one.upper, one.expected) for one in limits]
    return sum(chances) / len(chances) if chances else None


def _gaps(record: MonthlyRecord) -> Gaps:
    uses, since = uses_between(months_of_use(record))
    if len(uses) < FEWEST_GAPS:
        return Gaps(tuple(uses), None, None, since)
    chart = g_chart(uses, "probability")
    return Gaps(tuple(uses), float(chart.centre[0]), float(chart.upper[0]), since)


def over_time_of_procedures(scope: Scope, filters: Filters) -> ProceduresOverTime:
    """Cases with a complication by month in the procedures reported whole, with limits about their own mean.

    From 5 cases a month on average those of a chart of rates, else the exact one of each single month.
    """
    months, undated = procedure_months(scope, filters)
    counted: Counted = {one.month: (one.cases, one.procedures) for one in months if one.procedures}
    cases, procedures = (sum(pair[which] for pair in counted.values()) for which in (0, 1))
    if cases >= FEWEST_A_MONTH * max(len(counted), 1):
        rule, limits = Rule.RATES, _of_rates(counted)
    else:
        rule = Rule.SINGLE_MONTH
        limits = _of_single_months(counted, cases / procedures) if procedures else {}
    return ProceduresOverTime(
        months=months,
        undated=undated,
        rule=rule,
        limits=tuple(limits.get(one.month) for one in months),
        false_alarm=_false_alarm(limits.values()),
        rate=estimates.rate(cases, procedures, unit="procedures"),
    )
