"""Attempts in one situation: how they share cases, how long they took and what followed on what (R4, R7, R9)."""

from __future__ import annotations

from django.db.models import Case, Count, F, OuterRef, Q, QuerySet, Subquery, Value, When
from django.db.models.functions import Coalesce

from analytics.cohorts.counting import Table, in_order, in_scope, number_of
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Action
from registry.terms import Result

_NAMES = ("attempt", "technique", "aim", "result", "minutes", "then", "became", "number")
_WENT_ON = Value("went_on")


def _attempts(scope: Scope, filters: Filters) -> QuerySet[Action]:
    wanted = Q(filters.inside(), filters.acted_so("situation_faced"), ends_attempt=True, acts_counted=True)
    return in_scope(Action.objects.filter(wanted), scope)


def shared_cases(scope: Scope, filters: Filters) -> Table:
    """The cases with several attempts of known result by one technique and aim: how many, how many of them resolved.

    A later procedure's attempts belong to the case where the complication began (R9).
    """
    known = _attempts(scope, filters).exclude(attempt_result=Result.UNKNOWN)
    began = Coalesce("complication__began_case", "case__document_id")
    rows = (
        known.annotate(began=began)
        .values("technique", "situation_faced", "aim", "site", "began")
        .annotate(n=Count("*"), resolved=number_of(Q(attempt_result=Result.RESOLVED)))
        .filter(n__gt=1)
    )
    return in_order(rows, ["technique", "situation_faced", "aim", "site", "began"])


def order(scope: Scope, filters: Filters) -> Table:
    """Attempts by their number, technique, aim, result and minutes and by what came next: a technique, or an ending.

    `then` is None where there was no next attempt in the situation, an empty text where its technique is not recorded;
    `became` is then the cause of the ending, None where that is unknown or other. `minutes` are None where none are
    recorded.
    """
    following = Action.objects.filter(
        complication=OuterRef("complication"),
        situation_faced=OuterRef("situation_faced"),
        ends_attempt=True,
        attempt_in_situation=OuterRef("attempt_in_situation") + 1,
    )
    then = Subquery(following.values_list(Coalesce("technique", Value("")))[:1])
    ending = Case(
        When(then__isnull=False, then=Value("")),
        When(complication__attempts__gt=F("attempt_in_complication"), then=_WENT_ON),
        default=F("complication__cause"),
    )
    rows = (
        _attempts(scope, filters)
        .annotate(then=then, became=ending)
        .values_list(
            "attempt_in_situation", "technique", "aim", "attempt_result", "attempt_minutes", "then", "became"
        )
        .annotate(number=Count("*"))
    )
    named = [dict(zip(_NAMES, row, strict=True)) for row in rows]
    return in_order(named, ["attempt", "technique", "aim", "result", "then", "became"])
