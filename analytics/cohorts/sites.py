"""Sites and first operators, each with its counts: procedures and cases (R12), complications and endings (R10)."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.db.models import Case, Count, Exists, F, Max, OuterRef, Q, QuerySet, Subquery, Sum, When

from analytics.cohorts.counting import Row, Table, in_order, in_scope, number_of
from analytics.cohorts.devices import REPORTED_WHOLE, in_a_month_reported_whole, of_class
from analytics.cohorts.kept import by, keepable, one_table
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Complication, Membership, MonthlyReturn, Site, Staff, StaffRole
from registry.terms import Cause

_NO_COUNTS = {
    "procedures": 0,
    "months": 0,
    "last": None,
    "cases": 0,
    "no_month": 0,
    "no_return": 0,
    "perhaps_outside": 0,
    "attempted": 0,
    "out_after_attempt": 0,
}


def sites(scope: Scope, filters: Filters) -> Table:
    """Every site of the scope with `pk`, `code`, `name`, whether it has `withdrawn`, and its counts.

    Withdrawn: nobody has a role there any more. Counted are procedures and the cases in which a complication began,
    in site-months that are reported whole; and the cases of no month, of other site-months, and those whose date may
    lie in the period and may not.
    """
    anybody = Membership.objects.filter(site=OuterRef("pk"))
    now = anybody.filter(active=True, person__is_active=True)
    found = Site.objects.annotate(
        withdrawn=Case(When(Exists(anybody) & ~Exists(now), then=True), default=False)
    )
    if scope.sites is not None:
        found = found.filter(pk__in=scope.sites)
    rows = {row["pk"]: {**row, **_NO_COUNTS} for row in found.values("pk", "code", "name", "withdrawn")}
    for counts in counts_of_sites(scope, filters):
        rows[counts["site"]].update({key: counts[key] for key in _NO_COUNTS})
    return in_order(rows.values(), ["name", "code"])


# A site has one row, whose last month is added to no other's.
@keepable(one_table, by("site", "last"))
def counts_of_sites(scope: Scope, filters: Filters) -> Table:
    """The counts of each `site` (its key) that has any: who has a role there, and its name, may change without them."""
    rows: dict[int, Row] = {}
    for counts in (_procedures(scope, filters), _cases(scope, filters), _endings(scope, filters)):
        for count in counts:
            rows.setdefault(count["site"], {"site": count["site"], **_NO_COUNTS}).update(count)
    return in_order(rows.values(), ["site"])


def _procedures(scope: Scope, filters: Filters) -> Iterable[Any]:
    returns = in_scope(MonthlyReturn.objects.filter(filters.months(), REPORTED_WHOLE), scope)
    return returns.values("site").annotate(
        procedures=Sum("procedures"), months=Count("pk"), last=Max("month")
    )


def _cases(scope: Scope, filters: Filters) -> Iterable[Any]:
    inside = filters.inside()
    complications = Complication.objects.filter(filters.touching(), in_device_rate=True)
    returned = in_a_month_reported_whole()
    dated = Q(month__isnull=False)
    outside = ~inside if inside else Q(pk__in=[])

    def number(condition: Q) -> Count:
        return Count("case", distinct=True, filter=condition)

    return (
        in_scope(of_class(complications, filters), scope)
        .values("site")
        .annotate(
            cases=number(inside & Q(returned)),
            no_month=number(inside & ~dated),
            no_return=number(inside & dated & ~Q(returned)),
            perhaps_outside=number(outside),
        )
    )


def _endings(scope: Scope, filters: Filters) -> Iterable[Any]:
    return in_scope(_ended(filters), scope).values("site").annotate(**_OUT)


def _ended(filters: Filters) -> QuerySet[Complication]:
    return Complication.objects.filter(filters.inside(), filters.began_so(), counted=True)


_ATTEMPTED = Q(acts_counted=True, cause__isnull=False, attempts__gt=0)
_OUT = {
    "attempted": number_of(_ATTEMPTED & ~Q(cause=Cause.CENSORED)),
    "out_after_attempt": number_of(_ATTEMPTED & Q(cause=Cause.OUT)),
}


def operators(scope: Scope, filters: Filters) -> Table:
    """First operators by `site` (its code) and staff `code`, with the account linked to it, and their counts.

    `person` is the account's key and `name` its name, None where there is none. A case that names nobody as first
    operator is in no row; of two, the first that is named counts.
    """
    found = {counts["operator"]: counts for counts in counts_of_operators(scope, filters)}
    staff = Staff.objects.filter(pk__in=list(found)).values(
        "pk", "code", "person", site_code=F("site__code"), name=F("person__name")
    )
    return in_order(
        [
            {
                **found[one["pk"]],
                "site": one["site_code"],
                "code": one["code"],
                "person": one["person"],
                "name": one["name"],
            }
            for one in staff
        ],
        ["site", "code"],
    )


@keepable(one_table, by("operator"))
def counts_of_operators(scope: Scope, filters: Filters) -> Table:
    """The counts of each first `operator`, the key of a staff code: codes are linked to accounts without them."""
    named = StaffRole.objects.filter(case=OuterRef("case"), role="first_operator", person__isnull=False)
    complications = in_scope(_ended(filters), scope).annotate(
        operator=Subquery(named.order_by("index").values("person")[:1])
    )
    counts = (
        complications.filter(operator__isnull=False)
        .values("operator")
        .annotate(complications=Count("pk"), cases=Count("case", distinct=True), **_OUT)
    )
    return in_order([{**count} for count in counts], ["operator"])


def names_of_sites(scope: Scope) -> dict[str, str]:
    """The names of the sites of a scope, by code."""
    found = Site.objects.all() if scope.sites is None else Site.objects.filter(pk__in=scope.sites)
    return dict(found.values_list("code", "name"))
