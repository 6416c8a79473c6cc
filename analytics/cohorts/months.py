"""Events and uses of devices month by month: one statement each. It knows no rate, no limit and no chart (R12)."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import NamedTuple

from django.db.models import Count, Exists, Q, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from analytics.cohorts.counting import Row, Table, in_order, in_scope, number_of
from analytics.cohorts.devices import (
    REPORTED_WHOLE,
    in_a_month_reported_whole,
    months_in_error,
    of_class,
    recorded_uses,
)
from analytics.cohorts.kept import Tables, added, by, keepable, one_table
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Complication, DeviceUse, MonthlyReturn
from registry.terms import UNKNOWN

ROWS_AT_ONCE = 2_000


class EventOfDay(NamedTuple):
    """One event of a device by day: codes of its model, class, site and case, and what is known of it.

    `month` is None where only the year is known; `caused_by` names the complication that a secondary one came of;
    `uses` are those recorded for the model at that site in that month, None without a number.
    """

    device_model: str | None
    device_class: str
    site: str
    case: str
    month: datetime.date | None
    earliest: datetime.date
    latest: datetime.date
    caused_by: str | None
    situation: str
    ending: str
    lot: str | None
    uses: int | None


def events_by_day(scope: Scope, filters: Filters, model: str | None = None) -> list[EventOfDay]:
    """Each event of a device that began in its procedure, first and secondary ones, by day; of one model, or of all."""
    rows = Complication.objects.filter(filters.inside(), in_device_rate=True)
    if model is not None:
        rows = rows.filter(device_model__code=model)
    events = (
        in_scope(of_class(rows, Filters(device_class=filters.device_class)), scope)
        .order_by("latest", "earliest", "case__code", "index")
        .values_list(
            *("device_model__code", "class_of_model", "site__code", "case__code"),
            *("month", "earliest", "latest", "caused_by", "situation", "ending", "device_lot"),
            Subquery(recorded_uses().values("uses")),
        )
    )
    # One for each of all events of a registry, so they are neither rows by name nor objects of the record.
    return list(map(EventOfDay._make, events.iterator(chunk_size=ROWS_AT_ONCE)))


def uses_by_month(scope: Scope, filters: Filters, model: str | None = None) -> Table:
    """Units opened by `device_model`, `device_class` and `month`, and in how many `sites`; of one model, or of all.

    A month that no site recorded has no row: it is not a zero. Uses of site-months in error are among them.
    """
    rows = DeviceUse.objects.filter(filters.months())
    if model is not None:
        rows = rows.filter(model__code=model)
    rows = rows.annotate(kind=Coalesce("model__device_class", Value(UNKNOWN)))
    if filters.device_class:
        rows = rows.filter(kind=filters.device_class)
    counted = (
        in_scope(rows, scope)
        .values("model__code", "kind", "month")
        .annotate(uses=Sum("uses"), sites=Count("*"))
    )
    listed = (
        {
            "device_model": row["model__code"],
            "device_class": row["kind"],
            "month": row["month"],
            "uses": row["uses"],
            "sites": row["sites"],
        }
        for row in counted
    )
    return in_order(listed, ["device_model", "device_class", "month"])


class EventsOfDays(NamedTuple):
    """How many events all models together had each day, `earliest` to `latest`.

    `days`: first events `in_rate`, those with `no_model`, `no_month` or `no_denominator`, those `in_error` (of a
    site-month with fewer uses of the model than first events), and `secondary` ones. `in_error`: these site-months.
    """

    days: Table
    in_error: Table


DAYS = ("earliest", "latest")


def _days_together(found: Sequence[Tables]) -> EventsOfDays:
    return EventsOfDays(
        added(found, DAYS, "days"),
        added(found, ["device_model", "device_class", "site", "month"], "in_error"),
    )


@keepable(EventsOfDays._asdict, _days_together)
def events_of_days(scope: Scope, filters: Filters) -> EventsOfDays:
    """Events of all models together by day: of those that `events_by_day` tells one by one."""
    rows = of_class(Complication.objects.filter(filters.inside(), in_device_rate=True), filters)
    first = Q(caused_by__isnull=True)
    of_model = first & Q(device_model__isnull=False)
    dated = of_model & Q(month__isnull=False)
    recorded = Exists(recorded_uses())
    counted = (
        in_scope(rows, scope)
        .values(*DAYS)
        .annotate(
            in_rate=number_of(dated & Q(recorded)),
            in_error=Value(0),
            no_model=number_of(first & Q(device_model__isnull=True)),
            no_month=number_of(of_model & Q(month__isnull=True)),
            no_denominator=number_of(dated & ~Q(recorded)),
            secondary=number_of(~first),
        )
    )
    found: dict[tuple[datetime.date, datetime.date], Row] = {
        (row["earliest"], row["latest"]): {**row} for row in counted
    }
    in_error = months_in_error(scope, filters)
    for day in _days_in_error(in_scope(rows.filter(first), scope), in_error):
        found[day]["in_rate"] -= 1
        found[day]["in_error"] += 1
    return EventsOfDays(in_order(found.values(), DAYS), in_error)


def _days_in_error(
    first: QuerySet[Complication], in_error: Table
) -> list[tuple[datetime.date, datetime.date]]:
    """The days of the first events of these site-months of models, once for each event."""
    wrong = {(row["device_model"], row["site"], row["month"]) for row in in_error}
    if not wrong:
        return []
    models, sites, months = (set(names) for names in zip(*wrong, strict=True))
    perhaps = first.filter(device_model__code__in=models, site__code__in=sites, month__in=months)
    rows = perhaps.order_by().values_list("device_model__code", "site__code", "month", *DAYS)
    return [(earliest, latest) for *of, earliest, latest in rows if tuple(of) in wrong]


@keepable(one_table, by("month"))
def uses_of_months(scope: Scope, filters: Filters) -> Table:
    """Units of all models together opened in each `month`, and how many numbers of a model at a site, `sites`."""
    rows = DeviceUse.objects.filter(filters.months())
    if filters.device_class:
        rows = rows.annotate(kind=Coalesce("model__device_class", Value(UNKNOWN)))
        rows = rows.filter(kind=filters.device_class)
    counted = in_scope(rows, scope).order_by("month").values("month")
    return [{**row} for row in counted.annotate(uses=Sum("uses"), sites=Count("*"))]


@keepable(one_table, by("month"))
def procedures_by_month(scope: Scope, filters: Filters) -> Table:
    """Procedures by `month` and in how many `sites`, where the return says that everything is reported."""
    returns = in_scope(MonthlyReturn.objects.filter(filters.months(), REPORTED_WHOLE), scope)
    counted = returns.values("month").annotate(of=Sum("procedures"), sites=Count("*"))
    return in_order(
        ({"month": row["month"], "procedures": row["of"], "sites": row["sites"]} for row in counted),
        ["month"],
    )


@keepable(one_table, by("month"))
def cases_by_month(scope: Scope, filters: Filters) -> Table:
    """Cases in which a complication began, by `month`: `cases` in site-months reported whole, and the `others`.

    Those of which only the year is known stand first, with None.
    """
    rows: QuerySet[Complication] = in_scope(
        Complication.objects.filter(filters.inside(), in_device_rate=True), scope
    )
    returned = in_a_month_reported_whole()
    counted = rows.values("month").annotate(
        cases=Count("case", distinct=True, filter=returned),
        others=Count("case", distinct=True, filter=~returned),
    )
    listed = ({"month": row["month"], "cases": row["cases"], "others": row["others"]} for row in counted)
    return in_order(listed, ["month"])
