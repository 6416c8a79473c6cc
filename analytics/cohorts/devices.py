"""Events of device models, the units opened, and procedures: numerators and denominators (R12)."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from django.db.models import Case, Count, Exists, F, OuterRef, Q, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce

from analytics.cohorts.counting import Row, Table, extent_of, in_order, in_scope, number_of
from analytics.cohorts.kept import Tables, added, by, extent_together, keepable, one_row, one_table
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Complication, DeviceModel, DeviceUse, MonthlyReturn
from registry.terms import UNKNOWN, Reporting


class DeviceCounts(NamedTuple):
    """What a rate per use is made of, each row with `device_model` and `device_class`.

    `events`: all first and secondary events, the first that lack a model, a month or recorded uses, and those that may
    lie in the period and may not (R13); by `situation` too where it was asked for. `uses`: those recorded; `in_error`:
    the site-months with fewer uses than first events, with both numbers, `site` and `month`.
    """

    events: Table
    uses: Table
    in_error: Table


_CLASS_OF_MODEL = Case(
    When(device_model__isnull=True, then=F("device_class")),
    default=Coalesce("device_model__device_class", Value(UNKNOWN)),
)
"""The catalogue's, of a queued model that of its first case: `unknown` where no case has named one."""


REPORTED_WHOLE = Q(reporting__in=[Reporting.ALL_REPORTED, Reporting.NONE_HAPPENED], procedures__isnull=False)
"""Returns of site-months of which everything is reported (R12)."""


def in_a_month_reported_whole() -> Exists:
    """Whether the site-month of a complication has such a return."""
    return Exists(
        MonthlyReturn.objects.filter(REPORTED_WHOLE, site=OuterRef("site"), month=OuterRef("month"))
    )


def recorded_uses() -> QuerySet[DeviceUse]:
    """The uses recorded for the model of a complication at its site in its month, for a subquery."""
    return DeviceUse.objects.filter(
        site=OuterRef("site"), model=OuterRef("device_model"), month=OuterRef("month")
    )


def of_class(events: QuerySet[Complication], filters: Filters) -> QuerySet[Complication]:
    """Events with the class of their model, those of the class asked for."""
    events = events.annotate(class_of_model=Coalesce(_CLASS_OF_MODEL, Value(UNKNOWN)))
    return events.filter(class_of_model=filters.device_class) if filters.device_class else events


@keepable(one_row, extent_together)
def extent_of_devices(scope: Scope, filters: Filters) -> Row:
    """The same of complications whose device is in a figure of devices, left out ones included (R12)."""
    complications = Complication.objects.filter(filters.inside(), in_device_rate=True)
    return extent_of(of_class(complications, filters) if filters.device_class else complications, scope)


def _together(found: Sequence[Tables]) -> DeviceCounts:
    of_model = ["device_model", "device_class", "situation"]
    return DeviceCounts(
        added(found, of_model, "events"),
        added(found, of_model, "uses"),
        added(found, [*of_model, "site", "month"], "in_error"),
    )


@keepable(DeviceCounts._asdict, _together, ({}, {"by_situation": True}))
def devices(scope: Scope, filters: Filters, *, by_situation: bool = False) -> DeviceCounts:
    """Index devices of the complications that began in their procedure, and units opened, by model (R12)."""
    months, inside = filters.months(), filters.inside()
    keys, more_keys = ("model", "class_of_model"), ["situation"] if by_situation else []
    perhaps = Complication.objects.filter(filters.touching(), in_device_rate=True)
    complications = in_scope(of_class(perhaps, filters), scope).annotate(model=F("device_model__code"))
    uses = in_scope(DeviceUse.objects.filter(months), scope).annotate(
        class_of_model=Coalesce("model__device_class", Value(UNKNOWN))
    )
    if filters.device_class:
        uses = uses.filter(class_of_model=filters.device_class)
    first = Q(caused_by__isnull=True)
    counted = first & inside
    dated = counted & Q(device_model__isnull=False, month__isnull=False)
    recorded = recorded_uses()
    events = complications.values(*keys, *more_keys).annotate(
        first=number_of(counted),
        secondary=number_of(~first & inside),
        no_model=number_of(counted & Q(device_model__isnull=True)),
        no_month=number_of(counted & Q(device_model__isnull=False, month__isnull=True)),
        no_denominator=number_of(dated & ~Q(Exists(recorded))),
        **({"partly_known": number_of(first & ~inside)} if inside else {}),
    )
    opened = uses.values("model__code", "class_of_model").annotate(uses=Sum("uses"))
    return DeviceCounts(_by_model(events, *more_keys), _by_model(opened), months_in_error(scope, filters))


def months_in_error(scope: Scope, filters: Filters) -> Table:
    """Site-months with fewer uses of a model than first events, with both numbers (R12)."""
    dated = Q(caused_by__isnull=True, device_model__isnull=False, month__isnull=False)
    in_rate = Complication.objects.filter(filters.inside(), dated, in_device_rate=True)
    recorded = recorded_uses()
    keys = ("model", "class_of_model", "code", "month")
    # The uses are joined on after counting, so that they are looked up once for each site-month.
    found = (
        in_scope(of_class(in_rate, filters), scope)
        .annotate(model=F("device_model__code"), code=F("site__code"))
        .values(*keys, "device_model", "site")
        .annotate(events=Count("*"))
        .annotate(uses=Subquery(recorded.values("uses")))
        .filter(events__gt=F("uses"))
        .values(*keys, "uses", "events")
    )
    return _by_model(found, "site", "month")


def _by_model(rows: Iterable[Mapping[str, Any]], *more_keys: str) -> Table:
    """Rows under the names of the answer's columns; a few of these are names of the tables' own columns."""
    names = {
        "model": "device_model",
        "model__code": "device_model",
        "class_of_model": "device_class",
        "code": "site",
    }
    renamed = [{names.get(key, key): value for key, value in row.items()} for row in rows]
    return in_order(renamed, ["device_model", "device_class", *more_keys])


@keepable(one_table, by("site", "month"))
def months_with_uses(scope: Scope, filters: Filters) -> Table:
    """Each `site` and `month` of the period with a recorded number of uses, of whatever model."""
    uses = in_scope(DeviceUse.objects.filter(filters.months()), scope)
    recorded = uses.values_list("site__code", "month").distinct()
    return in_order(({"site": site, "month": month} for site, month in recorded), ["site", "month"])


@keepable(one_table, by("site", "month"))
def months_reported_whole(scope: Scope, filters: Filters) -> Table:
    """Each `site` and `month` of the period whose return says that all is reported or none happened (R12)."""
    returns = in_scope(MonthlyReturn.objects.filter(filters.months(), REPORTED_WHOLE), scope)
    whole = returns.values_list("site__code", "month")
    return in_order(({"site": site, "month": month} for site, month in whole), ["site", "month"])


class ModelNamed(NamedTuple):
    """What the catalogue says of a model; empty texts where it says nothing."""

    name: str
    maker: str
    device_class: str


def catalogue_of(codes: Collection[str]) -> dict[str, ModelNamed]:
    """What the catalogue says of these models, by their codes."""
    rows = DeviceModel.objects.filter(code__in=codes).values_list(
        "code", "name", "maker__name", "device_class"
    )
    return {code: ModelNamed(name, maker or "", kind) for code, name, maker, kind in rows}


class ProcedureCounts(NamedTuple):
    """Procedures and cases of the site-months whose return says that everything is reported, and the other cases."""

    procedures: int
    cases: int
    no_month: int
    no_return: int


def procedures(scope: Scope, filters: Filters) -> ProcedureCounts:
    """Procedures, and the cases in which a complication began, in site-months that are reported whole (R12)."""
    returns = in_scope(MonthlyReturn.objects.filter(filters.months(), REPORTED_WHOLE), scope)
    complications = in_scope(Complication.objects.filter(filters.inside(), in_device_rate=True), scope)
    returned = in_a_month_reported_whole()
    dated = Q(month__isnull=False)
    cases = complications.aggregate(
        cases=Count("case", distinct=True, filter=Q(returned)),
        no_month=Count("case", distinct=True, filter=~dated),
        no_return=Count("case", distinct=True, filter=dated & ~Q(returned)),
    )
    return ProcedureCounts(returns.aggregate(total=Sum("procedures", default=0))["total"], **cases)
