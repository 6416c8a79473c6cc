"""Rates of devices and of procedures, and how complete their denominators are (R12)."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Iterator, Sequence

from analytics import cohorts
from analytics.answers import (
    GARWOOD,
    OF_DEVICES,
    Answer,
    Denominators,
    DeviceRate,
    Extent,
    ProcedureRate,
    Reason,
    SiteMonthInError,
)
from analytics.cohorts import Filters, Row
from analytics.statistics.counts import garwood
from analytics.summaries.making import PER, left_out_of, limits_of
from registry.access import Scope


def extent_of_devices(scope: Scope, filters: Filters) -> Extent:
    """What the figures of devices rest on, with what is left out of the rates."""
    return Extent(**cohorts.extent_of_devices(scope, filters))


def denominators(scope: Scope, filters: Filters, events: Extent, sites: Sequence[str]) -> Denominators:
    """How complete the uses of the sites, by their codes, are.

    An open period reaches from the first to the last month of anything recorded.
    """
    recorded = {(row["site"], row["month"]) for row in cohorts.months_with_uses(scope, filters)}
    days = [day for day in (events.first, events.last) if day]
    days += [month for _, month in recorded]
    if not days:
        return Denominators(0, 0, ())
    first = filters.since.earliest if filters.since else min(days)
    last = filters.until.latest if filters.until else max(days)
    asked = [(site, month) for site in sites for month in _months(first, last)]
    missing = tuple(one for one in asked if one not in recorded)
    return Denominators(len(asked) - len(missing), len(asked), missing)


def _months(first: datetime.date, last: datetime.date) -> Iterator[datetime.date]:
    month = first.replace(day=1)
    while month <= last:
        yield month
        month = (month + datetime.timedelta(days=31)).replace(day=1)


@cohorts.at_one_moment()
def devices(scope: Scope, filters: Filters) -> Answer[DeviceRate]:
    """Events per 1,000 units opened, by model (R12); PeriodRefused unless the period is of whole months."""
    counts = cohorts.devices(scope, filters)
    rates: dict[tuple[str | None, str], Counter[str]] = {}
    for row in (*counts.events, *counts.uses):
        _of_model(rates, row).update({key: row[key] for key in row.keys() & _COUNTED})
    for row in counts.in_error:
        found = _of_model(rates, row)
        found["uses"] -= row["uses"]
        found["in_error"] += row["events"]
    reasons = {reason: sum(found[key] for found in rates.values()) for key, reason in _REASONS.items()}
    return Answer(
        rows=_rates(rates),
        left_out=left_out_of({**cohorts.perhaps_outside(scope, filters), **reasons}, "events"),
        method=GARWOOD,
        cautions=OF_DEVICES,
        to_mend=tuple(
            SiteMonthInError(row["device_model"], row["site"], row["month"], row["uses"], row["events"])
            for row in counts.in_error
        ),
    )


_REASONS = {
    "no_model": Reason.NO_MODEL,
    "no_month": Reason.NO_MONTH,
    "no_denominator": Reason.NO_DENOMINATOR,
    "in_error": Reason.SITE_MONTH_IN_ERROR,
}
_COUNTED = {"first", "secondary", "uses", *_REASONS}


def _of_model(rates: dict[tuple[str | None, str], Counter[str]], row: Row) -> Counter[str]:
    return rates.setdefault((row["device_model"], row["device_class"]), Counter())


def _rates(found: dict[tuple[str | None, str], Counter[str]]) -> tuple[DeviceRate, ...]:
    listed = sorted(found.items(), key=lambda item: (item[0][0] or "", item[0][1]))
    left_out = [sum(counts[key] for key in _REASONS) for _, counts in listed]
    events = [counts["first"] - out for (_, counts), out in zip(listed, left_out, strict=True)]
    # Without first events, a rate beside secondary ones would read as if these were none (R12).
    exposures = [
        0 if counts["secondary"] and not first else counts["uses"]
        for (_, counts), first in zip(listed, events, strict=True)
    ]
    limits = limits_of(garwood, events, exposures, PER)
    return tuple(
        DeviceRate(
            device_model=model,
            device_class=device_class,
            events=first,
            secondary_events=counts["secondary"],
            uses=counts["uses"],
            events_left_out=out,
            rate_per_1000=first / exposure * PER if exposure else None,
            lower=lower,
            upper=upper,
        )
        for ((model, device_class), counts), first, out, exposure, (lower, upper) in zip(
            listed, events, left_out, exposures, limits, strict=True
        )
    )


@cohorts.at_one_moment()
def procedure_rate(scope: Scope, filters: Filters) -> ProcedureRate:
    """Cases with a complication per 1,000 procedures (R12); PeriodRefused unless the period is of whole months."""
    counts = cohorts.procedures(scope, filters)
    [(lower, upper)] = limits_of(garwood, [counts.cases], [counts.procedures], PER)
    reasons = {Reason.NO_MONTH: counts.no_month, Reason.NO_RETURN: counts.no_return}
    return ProcedureRate(
        cases=counts.cases,
        procedures=counts.procedures,
        rate_per_1000=counts.cases / counts.procedures * PER if counts.procedures else None,
        lower=lower,
        upper=upper,
        left_out=left_out_of(reasons, "cases"),
    )
