"""Device models used in acts of rescue, and how the attempts ended (R4 to R6); no rate of failure is made here."""

from __future__ import annotations

from django.db.models import Case, Count, F, OuterRef, Q, Subquery, Value, When
from django.db.models.functions import Coalesce

from analytics.cohorts.counting import Table, in_order, in_scope
from analytics.cohorts.kept import by, keepable, one_table
from analytics.filters import Filters
from registry.access import Scope
from registry.ladder import COUNTED_AIMS
from registry.models import Action, InvolvedDevice
from registry.terms import UNKNOWN, Result

_KEYS = ("device_model", "device_class", "aim", "situation_faced")


@keepable(one_table, by(*_KEYS), ways=({"by_situation": False}, {"by_situation": True}))
def rescue_tools(scope: Scope, filters: Filters, *, by_situation: bool) -> Table:
    """Attempts by the device model used in one of their tries and the aim, with `by_situation` also by the one faced.

    A model counts once in an attempt, whatever its part in it; two models in one attempt count it both. The attempt has
    the result of its last try. Devices whose model is not recorded are one row a class and key, without a model.
    """
    keys = ("model", "kind", "aim", *(["faced"] if by_situation else []))
    tries = Action.objects.filter(
        filters.inside(), filters.acted_so("situation_faced"), acts_counted=True, aim__in=COUNTED_AIMS
    )
    # Attempts of a complication follow one another, so a try belongs to the first one that ends with it or after it.
    ended = Action.objects.filter(
        complication=OuterRef("complication"), ends_attempt=True, position__gte=OuterRef("action__position")
    ).order_by("position")
    its_last = Q(action__ends_attempt=True)
    used = InvolvedDevice.objects.filter(action__in=in_scope(tries, scope)).annotate(
        model=F("device_model__code"),
        kind=Coalesce("device_model__device_class", "device_class", Value(UNKNOWN)),
        faced=F("action__situation_faced"),
        aim=F("action__aim"),
        # Most tries are the last of their attempt, and nothing is looked up for them.
        attempt=Case(When(its_last, then=F("action")), default=Subquery(ended.values("pk")[:1])),
        came_of_it=Case(
            When(its_last, then=F("action__attempt_result")),
            default=Subquery(ended.values("attempt_result")[:1]),
        ),
    )
    known, resolved = ~Q(came_of_it=Result.UNKNOWN), Q(came_of_it=Result.RESOLVED)
    counted = used.values(*keys).annotate(
        attempts=Count("attempt", distinct=True, filter=known),
        resolved=Count("attempt", distinct=True, filter=resolved),
        unknown=Count("attempt", distinct=True, filter=~known),
        complications=Count("complication", distinct=True, filter=known),
        cases=Count("case", distinct=True, filter=known),
    )
    names = {"model": "device_model", "kind": "device_class", "faced": "situation_faced"}
    rows = [{names.get(key, key): value for key, value in row.items()} for row in counted]
    return in_order(rows, _KEYS if by_situation else _KEYS[:-1])
