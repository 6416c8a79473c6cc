"""Lots of devices: those in which first events came together, and those that a site has set aside.

How many of a lot were opened is not recorded, so nothing here is a rate.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from typing import Any

from django.db.models import Count, Exists, Max, OuterRef, Q, QuerySet, Value
from django.db.models.functions import Coalesce

from analytics.cohorts.counting import Row, Table, in_scope
from analytics.models import QuarantinedLot
from registry.access import Scope
from registry.models import Case, Complication, DeviceModel, InvolvedDevice, LesionContent, Site
from registry.terms import UNKNOWN

TWICE = 2
_KEYS = ("device_model__code", "device_model__name", "device_lot")
_NAMES = {
    "device_model__code": "device_model",
    "device_model__name": "name",
    "class_of_model": "device_class",
    "device_lot": "lot",
    "site__code": "site",
    "site__name": "site_name",
    "case__code": "case",
}


def lots_seen_twice(scope: Scope) -> Table:
    """Model and lot of two or more first events, the latest first: `events`, `cases`, `sites`, whether `set_aside`.

    Of the events that a rate may count (R12), whether or not uses are recorded; lots are compared as they are written.
    """
    aside = QuarantinedLot.objects.filter(
        device_model=OuterRef("device_model"), lot=OuterRef("device_lot"), ended_at=None
    )
    found = (
        in_scope(_first_events(), scope)
        .values("device_model", *_KEYS)
        .annotate(
            class_of_model=Coalesce("device_model__device_class", Value(UNKNOWN)),
            events=Count("*"),
            cases=Count("case", distinct=True),
            sites=Count("site", distinct=True),
            last=Max("latest"),
            set_aside=Exists(aside),
        )
        .filter(events__gte=TWICE)
        .order_by("-last", "device_model__code", "device_lot")
    )
    return [_renamed(row) for row in found]


def events_of_lots(scope: Scope, lots: Collection[tuple[str, str]]) -> Table:
    """The first events of these lots, each a model's code and a lot, the latest first, with `site`, days and `case`."""
    rows = in_scope(_first_events(), scope).filter(
        device_lot__in={lot for _, lot in lots}, device_model__code__in={model for model, _ in lots}
    )
    found = rows.order_by("-latest", "case__code", "index").values(
        *_KEYS, "month", "earliest", "latest", "site__code", "site__name", "case__code"
    )
    return [row for row in map(_renamed, found) if (row["device_model"], row["lot"]) in lots]


def lots_that_stand_out(scope: Scope, model: str) -> frozenset[str]:
    """The lots of a model of which two or more first events were seen, or which any site has set aside."""
    of_model = in_scope(_first_events(), scope).filter(device_model__code=model)
    twice = of_model.values("device_lot").annotate(events=Count("*")).filter(events__gte=TWICE)
    aside = QuarantinedLot.objects.filter(device_model__code=model, ended_at=None)
    found = twice.values_list("device_lot").union(aside.values_list("lot"))
    return frozenset(str(lot) for (lot,) in found)


def _renamed(row: Mapping[str, Any]) -> Row:
    """The row under the names of the answer's columns, without the key of its model."""
    return {_NAMES.get(key, key): value for key, value in row.items() if key != "device_model"}


def _first_events() -> QuerySet[Complication]:
    rows = Complication.objects.filter(
        in_device_rate=True, caused_by__isnull=True, device_model__isnull=False
    )
    return rows.filter(device_lot__isnull=False).exclude(device_lot=UNKNOWN)


def lots_set_aside() -> list[QuarantinedLot]:
    """What any site has set aside and not released, by site, model and lot."""
    return list(_with_all(QuarantinedLot.objects.filter(ended_at=None)))


def lots_aside_of(case: Case) -> list[QuarantinedLot]:
    """What any site has set aside and not released, of model and lot of a device of the case."""
    is_held = Q()
    for rows in (Complication, InvolvedDevice, LesionContent):
        is_held |= Q(
            Exists(
                rows.objects.filter(
                    case=case, device_model=OuterRef("device_model"), device_lot=OuterRef("lot")
                )
            )
        )
    return list(_with_all(QuarantinedLot.objects.filter(is_held, ended_at=None)))


def lots_released(sites: QuerySet[Site], most: int) -> list[QuarantinedLot]:
    """What these sites have released, the last first, at most so many."""
    ended = QuarantinedLot.objects.filter(site__in=sites, ended_at__isnull=False)
    return list(_with_all(ended).order_by("-ended_at", "-pk")[:most])


def lots_aside_at(sites: QuerySet[Site]) -> list[QuarantinedLot]:
    """What these sites have set aside and not released, the latest first."""
    return list(
        _with_all(QuarantinedLot.objects.filter(site__in=sites, ended_at=None)).order_by("-at", "-pk")
    )


def lot_with_code(code: str, sites: QuerySet[Site]) -> QuarantinedLot | None:
    """A lot set aside, now or once, by its public code, at one of these sites."""
    return _with_all(QuarantinedLot.objects.filter(code=code, site__in=sites)).first()


def model_with_code(code: str) -> DeviceModel | None:
    """A model of the catalogue, or one that a case has named."""
    return DeviceModel.objects.filter(code=code).first()


def _with_all(rows: QuerySet[QuarantinedLot]) -> QuerySet[QuarantinedLot]:
    return rows.select_related("site", "device_model", "by", "ended_by").order_by(
        "site__name", "device_model__code", "lot", "pk"
    )
