"""Named questions: a cohort and its statistics make an answer. No query of its own."""

from __future__ import annotations

import datetime
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from analytics import cohorts
from analytics.answers import (
    GARWOOD,
    OF_DEVICES,
    OF_TECHNIQUES,
    WILSON,
    Answer,
    ConsideredRecord,
    Curve,
    Denominators,
    DeviceRate,
    EndingRecord,
    Extent,
    LeftOut,
    ProcedureRate,
    Reason,
    SiteMonthInError,
    SituationRecord,
    TechniqueRecord,
)
from analytics.cohorts import Filters, Reasons, Row, Table
from analytics.statistics.counts import garwood
from analytics.statistics.proportions import wilson
from analytics.statistics.sequences import cumulative_incidence
from registry.access import Scope
from registry.terms import Cause

PER = 1_000
Limits = tuple[float | None, float | None]


@cohorts.at_one_moment()
def techniques(scope: Scope, filters: Filters, *, by_attempt: bool = False) -> Answer[TechniqueRecord]:
    """How attempts ended, by technique, situation faced and aim (R2 to R9)."""
    table = cohorts.techniques(scope, filters, by_attempt=by_attempt)
    return _techniques(table, cohorts.without_acts(scope, filters))


def _techniques(table: Table, without_acts: Reasons) -> Answer[TechniqueRecord]:
    limits = _limits(wilson, [row["resolved"] for row in table], [row["attempts"] for row in table])
    unknown = {Reason.RESULT_UNKNOWN: sum(row["unknown"] for row in table)}
    return Answer(
        rows=tuple(
            TechniqueRecord(**{"attempt_in_situation": None, **row}, lower=lower, upper=upper)
            for row, (lower, upper) in zip(table, limits, strict=True)
        ),
        left_out=(*_left_out(without_acts, "complications"), *_left_out(unknown, "attempts")),
        method=WILSON,
        cautions=OF_TECHNIQUES,
    )


class Tried(NamedTuple):
    """What was tried and declined: attempts together, by their number in the situation, and complications in which a
    technique was declined.
    """

    attempts: Answer[TechniqueRecord]
    by_attempt: Answer[TechniqueRecord]
    declined: Mapping[str | None, int]


@cohorts.at_one_moment()
def tried(scope: Scope, filters: Filters) -> Tried:
    """The three answers of a page; what they leave out is asked once."""
    without_acts = cohorts.without_acts(scope, filters)
    return Tried(
        _techniques(cohorts.techniques(scope, filters, by_attempt=False), without_acts),
        _techniques(cohorts.techniques(scope, filters, by_attempt=True), without_acts),
        cohorts.declined(scope, filters),
    )


def situations(scope: Scope, filters: Filters) -> tuple[SituationRecord, ...]:
    """The situations that have records, each with its complications; the one asked about does not narrow them."""
    return tuple(SituationRecord(**row) for row in cohorts.situations(scope, filters))


def left_out_of_techniques(scope: Scope, filters: Filters) -> tuple[LeftOut, ...]:
    """Complications that are in no figure of techniques, and why (R11)."""
    return _left_out(cohorts.without_acts(scope, filters), "complications")


def extent(scope: Scope, filters: Filters) -> Extent:
    """What the figures of techniques rest on."""
    return Extent(**cohorts.extent(scope, filters))


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
def endings(scope: Scope, filters: Filters) -> Answer[EndingRecord]:
    """How complications ended, by the situation they began with (R10)."""
    table = cohorts.endings(scope, filters)
    limits = _limits(wilson, [row["out_after_attempt"] for row in table], [row["attempted"] for row in table])
    return Answer(
        rows=tuple(
            EndingRecord(**row, lower=lower, upper=upper)
            for row, (lower, upper) in zip(table, limits, strict=True)
        ),
        left_out=_left_out(cohorts.without_cause(scope, filters), "complications"),
        method=WILSON,
        cautions=("observational",),
    )


@cohorts.at_one_moment()
def considered(scope: Scope, filters: Filters) -> Answer[ConsideredRecord]:
    """What was tried and what was declined, by technique and what it was for (R11)."""
    return Answer(
        rows=tuple(ConsideredRecord(**row) for row in cohorts.considered(scope, filters)),
        left_out=_left_out(cohorts.without_acts(scope, filters), "complications"),
        cautions=("observational",),
    )


@cohorts.at_one_moment()
def curve(scope: Scope, filters: Filters) -> Curve:
    """What had become of complications by the n-th attempt (R10)."""
    table = cohorts.curve(scope, filters)
    numbers = [row["number"] for row in table]
    causes = [None if row["cause"] == Cause.CENSORED else row["cause"] for row in table]
    return Curve(
        incidence=cumulative_incidence(
            np.repeat(np.array([row["attempts"] for row in table], dtype=np.int64), numbers),
            np.repeat(np.array(causes, dtype=object), numbers),
        ),
        left_out=_left_out(cohorts.outside_curve(scope, filters), "complications"),
    )


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
        left_out=_left_out({**cohorts.perhaps_outside(scope, filters), **reasons}, "events"),
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
    limits = _limits(garwood, events, exposures, PER)
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
    [(lower, upper)] = _limits(garwood, [counts.cases], [counts.procedures], PER)
    reasons = {Reason.NO_MONTH: counts.no_month, Reason.NO_RETURN: counts.no_return}
    return ProcedureRate(
        cases=counts.cases,
        procedures=counts.procedures,
        rate_per_1000=counts.cases / counts.procedures * PER if counts.procedures else None,
        lower=lower,
        upper=upper,
        left_out=_left_out(reasons, "cases"),
    )


def _limits(
    method: Callable[..., tuple[NDArray[np.float64], NDArray[np.float64]]],
    counted: Sequence[int],
    of: Sequence[int],
    per: int = 1,
) -> list[Limits]:
    """Lower and upper limit of each row, times `per`; None where there is nothing to divide by."""
    lower, upper = method(np.array(counted, dtype=np.int64), np.array(of, dtype=np.int64))
    return [
        (float(low) * per, float(high) * per) if total else (None, None)
        for low, high, total in zip(lower, upper, of, strict=True)
    ]


def _left_out(reasons: Reasons, of: str) -> tuple[LeftOut, ...]:
    return tuple(LeftOut(reason, count, of) for reason, count in reasons.items() if count)
