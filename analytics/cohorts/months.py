"""Events and uses of devices month by month: one statement each. It knows no rate, no limit and no chart (R12)."""

from __future__ import annotations

import datetime

from django.db.models import Case, Count, F, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce

from analytics.cohorts.counting import Table, in_order, in_scope
from analytics.cohorts.devices import REPORTED_WHOLE, in_a_month_reported_whole, of_class, recorded_uses
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Complication, DeviceUse, MonthlyReturn
from registry.terms import UNKNOWN


def events_by_day(scope: Scope, filters: Filters, model: str | None = None) -> Table:
    """Each event of a device that began in its procedure, first and secondary ones, by day; of one model, or of all.

    Rows of `device_model` and `device_class`, `site` and `case` by their codes, `month` (None where only the year is
    known), the days `earliest` and `latest`, `secondary`, `lot`, `situation`, `ending`, and `uses`: those recorded for
    the model at that site in that month, None without a number.
    """
    rows = Complication.objects.filter(filters.inside(), in_device_rate=True)
    if model is not None:
        rows = rows.filter(device_model__code=model)
    events = (
        in_scope(of_class(rows, Filters(device_class=filters.device_class)), scope)
        .annotate(
            secondary=Case(When(caused_by__isnull=True, then=Value(False)), default=Value(True)),
            uses=Subquery(recorded_uses().values("uses")),
        )
        .order_by("latest", "earliest", "case__code", "index")
        .values(
            "month",
            "earliest",
            "latest",
            "secondary",
            "situation",
            "ending",
            "uses",
            model=F("device_model__code"),
            kind=F("class_of_model"),
            of_site=F("site__code"),
            of_case=F("case__code"),
            lot=F("device_lot"),
        )
    )
    names = {"model": "device_model", "kind": "device_class", "of_site": "site", "of_case": "case"}
    return [{names.get(key, key): value for key, value in row.items()} for row in events]


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


def procedures_by_month(scope: Scope, filters: Filters) -> Table:
    """Procedures by `month` and in how many `sites`, where the return says that everything is reported."""
    returns = in_scope(MonthlyReturn.objects.filter(filters.months(), REPORTED_WHOLE), scope)
    counted = returns.values("month").annotate(of=Sum("procedures"), sites=Count("*"))
    return in_order(
        ({"month": row["month"], "procedures": row["of"], "sites": row["sites"]} for row in counted),
        ["month"],
    )


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
    return sorted(listed, key=lambda row: row["month"] or datetime.date.min)
