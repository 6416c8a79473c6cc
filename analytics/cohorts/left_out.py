"""What an answer leaves out, and why: each complication once, for the first reason that fits."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from django.db.models import Case, Count, Q, QuerySet, Value, When

from analytics.answers import Reason
from analytics.cohorts.counting import in_scope
from analytics.cohorts.kept import Tables, added, keepable
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Complication

Reasons = dict[Reason, int]

_SHORT = Q(acts_counted=False, case__status__isnull=False) & ~Q(case__status="full")
_NOT_ALL_KNOWN = Q(acts_counted=False, actions_known__isnull=False) & ~Q(actions_known="all")
_ACTS = (
    When(_SHORT, then=Value(Reason.SHORT_RECORD)),
    When(_NOT_ALL_KNOWN, then=Value(Reason.ACTIONS_NOT_ALL_KNOWN)),
    When(acts_counted=False, then=Value(Reason.ACTIONS_NOT_RECORDED)),
)
_NO_CAUSE = When(cause__isnull=True, then=Value(Reason.ENDING_WITHOUT_CAUSE))


def _apart(reasons: Mapping[Reason, int]) -> Tables:
    return {"": [{"reason": str(reason), "number": number} for reason, number in reasons.items()]}


def _together(found: Sequence[Tables]) -> Reasons:
    numbers = {row["reason"]: row["number"] for row in added(found, ["reason"])}
    return {reason: numbers[reason] for reason in Reason if reason in numbers}


@keepable(_apart, _together)
def without_acts(scope: Scope, filters: Filters) -> Reasons:
    """Complications that are in no figure of techniques, by reason (R11)."""
    rows = Complication.objects.filter(filters.began_so(), counted=True)
    return _reasons(rows, scope, filters, Q(acts_counted=False), _ACTS)


def without_cause(scope: Scope, filters: Filters) -> Reasons:
    """Complications that are in no figure of endings, by reason (R10)."""
    rows = Complication.objects.filter(filters.began_so(), counted=True)
    apart = Q(acts_counted=False) | Q(cause__isnull=True)
    return _reasons(rows, scope, filters, apart, (*_ACTS, _NO_CAUSE))


def outside_curve(scope: Scope, filters: Filters) -> Reasons:
    """Complications that have no place in the curve, by reason (R10)."""
    rows = Complication.objects.filter(filters.began_so(), counted=True)
    rest = When(in_curve=False, then=Value(Reason.ACT_WITH_ANOTHER))
    return _reasons(rows, scope, filters, Q(in_curve=False), (*_ACTS, _NO_CAUSE, rest))


def _reasons(
    rows: QuerySet[Complication], scope: Scope, filters: Filters, apart: Q, whens: Sequence[When]
) -> Reasons:
    """The number of complications by the first reason that fits: a partly known date, then those of `whens`."""
    if inside := filters.inside():
        apart |= ~inside
        whens = (When(~inside, then=Value(Reason.DATE_PARTLY_KNOWN)), *whens)
    counted = (
        in_scope(rows.filter(filters.touching()).filter(apart), scope)
        .annotate(reason=Case(*whens))
        .values("reason")
        .annotate(number=Count("*"))
    )
    found = {Reason(row["reason"]): row["number"] for row in counted}
    return {reason: found[reason] for reason in Reason if reason in found}
