"""Rates of devices and of procedures, and how complete their denominators are (R12)."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping, Sequence

import numpy as np

from analytics import cohorts
from analytics.answers import (
    GARWOOD,
    OF_DEVICES,
    Answer,
    DeviceRate,
    Extent,
    ProcedureRate,
    Reason,
    SiteMonthInError,
)
from analytics.answers_devices import DevicePage, Drawn, GroupRate
from analytics.cohorts import DeviceCounts, Filters, Row, Table
from analytics.estimates import PER
from analytics.statistics.counts import garwood
from analytics.statistics.shrinkage import gamma_poisson
from analytics.summaries.making import left_out_of, limits_of
from registry.access import Scope


def extent_of_devices(scope: Scope, filters: Filters) -> Extent:
    """What the figures of devices rest on, with what is left out of the rates."""
    return Extent(**cohorts.extent_of_devices(scope, filters))


@cohorts.at_one_moment()
def devices(scope: Scope, filters: Filters) -> Answer[DeviceRate]:
    """Events per 1,000 units opened, by model (R12); PeriodRefused unless the period is of whole months."""
    return _answer(cohorts.devices(scope, filters))


@cohorts.at_one_moment()
def device_page(scope: Scope, filters: Filters) -> tuple[Answer[DeviceRate], DevicePage]:
    """The same with the kinds of complication, and with the rates drawn together."""
    counts = cohorts.devices(scope, filters, by_situation=True)
    answer = _answer(counts)
    kinds: dict[tuple[str | None, str], Counter[str]] = {}
    for row in counts.events:
        if row["first"]:
            found = kinds.setdefault((row["device_model"], row["device_class"]), Counter())
            found[row["situation"]] += row["first"]
    return answer, DevicePage(answer.rows, kinds, drawn_together(answer.rows))


def drawn_together(rows: Sequence[DeviceRate]) -> Drawn:
    """Rates of models drawn towards their common rate; those without a rate are in neither."""
    rated = [row for row in rows if row.device_model and row.rate_per_1000 is not None]
    fitted = gamma_poisson(
        np.array([row.events for row in rated], dtype=np.int64), np.array([row.uses for row in rated])
    )
    columns = (fitted.mean * PER, fitted.lower * PER, fitted.upper * PER)
    by_model = {
        row.device_model or "": (float(mean), float(lower), float(upper))
        for row, mean, lower, upper in zip(rated, *columns, strict=True)
    }
    common = fitted.alpha > 0
    return Drawn(
        by_model=by_model if common else {},
        groups=len(rated),
        prior=fitted.prior_mean * PER if common else None,
        shape=fitted.alpha if common and np.isfinite(fitted.alpha) else None,
        method=fitted.method,
    )


def by_class(rows: Sequence[DeviceRate]) -> tuple[GroupRate, ...]:
    """The rates of models put together by class, in the order of its code."""
    return _grouped(rows, lambda row: row.device_class)


def by_maker(rows: Sequence[DeviceRate], makers: Mapping[str, str]) -> tuple[GroupRate, ...]:
    """The same by maker, one whose name is not known first; `makers` by the code of the model."""
    return _grouped(rows, lambda row: makers.get(row.device_model or "") or None)


def _grouped(
    rows: Sequence[DeviceRate], group_of: Callable[[DeviceRate], str | None]
) -> tuple[GroupRate, ...]:
    groups: dict[str | None, Counter[str]] = {}
    for row in rows:
        groups.setdefault(group_of(row), Counter()).update(
            events=row.events,
            secondary_events=row.secondary_events,
            uses=row.uses,
            events_left_out=row.events_left_out,
            models=int(row.rate_per_1000 is not None),
        )
    listed = sorted(groups.items(), key=lambda item: item[0] or "")
    rates = _rates_of([(found["events"], found["uses"], found["secondary_events"]) for _, found in listed])
    return tuple(
        GroupRate(
            group=group,
            models=found["models"],
            events=found["events"],
            secondary_events=found["secondary_events"],
            uses=found["uses"],
            events_left_out=found["events_left_out"],
            rate_per_1000=rate,
            lower=lower,
            upper=upper,
        )
        for (group, found), (rate, lower, upper) in zip(listed, rates, strict=True)
    )


def _answer(counts: DeviceCounts) -> Answer[DeviceRate]:
    rates: dict[tuple[str | None, str], Counter[str]] = {}
    for row in (*counts.events, *counts.uses):
        # What only may lie in the period makes no row.
        if "uses" in row or row["first"] or row["secondary"]:
            _of_model(rates, row).update({key: row[key] for key in row.keys() & _COUNTED})
    for row in counts.in_error:
        found = _of_model(rates, row)
        found["uses"] -= row["uses"]
        found["in_error"] += row["events"]
    partly = {Reason.DATE_PARTLY_KNOWN: sum(row.get("partly_known", 0) for row in counts.events)}
    reasons = {reason: sum(found[key] for found in rates.values()) for key, reason in _REASONS.items()}
    return Answer(
        rows=_rates(rates),
        left_out=left_out_of({**partly, **reasons}, "events"),
        method=GARWOOD,
        cautions=OF_DEVICES,
        to_mend=_in_error(counts.in_error),
    )


def months_in_error(scope: Scope, filters: Filters) -> tuple[SiteMonthInError, ...]:
    """Site-months with fewer uses of a model than first events; until they are mended both stay out of the rate."""
    return _in_error(cohorts.months_in_error(scope, filters))


def _in_error(table: Table) -> tuple[SiteMonthInError, ...]:
    return tuple(
        SiteMonthInError(row["device_model"], row["site"], row["month"], row["uses"], row["events"])
        for row in table
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
    rates = _rates_of(
        [
            (first, counts["uses"], counts["secondary"])
            for (_, counts), first in zip(listed, events, strict=True)
        ]
    )
    return tuple(
        DeviceRate(
            device_model=model,
            device_class=device_class,
            events=first,
            secondary_events=counts["secondary"],
            uses=counts["uses"],
            events_left_out=out,
            rate_per_1000=rate,
            lower=lower,
            upper=upper,
        )
        for ((model, device_class), counts), first, out, (rate, lower, upper) in zip(
            listed, events, left_out, rates, strict=True
        )
    )


def _rates_of(
    counted: Sequence[tuple[int, int, int]],
) -> list[tuple[float | None, float | None, float | None]]:
    """Rate and limits of first events, uses and secondary events.

    Without first events, a rate beside secondary ones would read as if these were none (R12).
    """
    exposures = [0 if secondary and not first else uses for first, uses, secondary in counted]
    limits = limits_of(garwood, [first for first, _, _ in counted], exposures, PER)
    return [
        (first / exposure * PER if exposure else None, lower, upper)
        for (first, _, _), exposure, (lower, upper) in zip(counted, exposures, limits, strict=True)
    ]


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
