"""Attempts, situations met, and what was considered: the counts behind techniques (R1 to R9, R11)."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

from django.db.models import Count, F, Q

from analytics.cohorts.counting import Number, Row, Table, extent_of, in_order, in_scope, number_of
from analytics.cohorts.kept import by, extent_together, keepable, one_row, one_table
from analytics.filters import Filters
from registry.access import Scope
from registry.ladder import RESULTS_OF_RESCUE
from registry.models import Action, Complication, DeclinedOption
from registry.terms import CLOSED, Result

_KNOWN, _RESOLVED = ~Q(attempt_result=Result.UNKNOWN), Q(attempt_result=Result.RESOLVED)
# Some of the results have the name of a column, so they are asked for under another.
_OF_ATTEMPTS = {
    f"as_{result}": number_of(Q(attempt_result=result)) for result in sorted(RESULTS_OF_RESCUE)
} | {
    "attempts": number_of(_KNOWN),
    "resolved_with_injury": number_of(_RESOLVED & Q(with_injury=True)),
    "resolved_with_new_complication": number_of(_RESOLVED & Q(with_new_complication=True)),
    "complications": Number("complication", distinct=True, filter=_KNOWN),
    "complications_resolved": Number("complication", distinct=True, filter=_RESOLVED),
    "cases": Number("case", distinct=True, filter=_KNOWN),
}


@keepable(
    one_table,
    by("technique", "situation_faced", "aim", "attempt_in_situation"),
    ways=({"by_attempt": False}, {"by_attempt": True}),
)
def techniques(scope: Scope, filters: Filters, *, by_attempt: bool) -> Table:
    """Attempts by technique, situation faced and aim, with `by_attempt` also by their number in the situation."""
    keys = ["technique", "situation_faced", "aim", *(["attempt_in_situation"] if by_attempt else [])]
    attempts = Action.objects.filter(
        filters.inside(), filters.acted_so("situation_faced"), ends_attempt=True, acts_counted=True
    )
    names = [*keys, *(name.removeprefix("as_") for name in _OF_ATTEMPTS)]
    rows = in_scope(attempts, scope).values_list(*keys).annotate(**_OF_ATTEMPTS)
    return in_order([dict(zip(names, row, strict=True)) for row in rows], keys)


@keepable(one_table, by("situation"))
def situations(scope: Scope, filters: Filters) -> Table:
    """Complications that met each situation: that began with it, or in which something was done about it (R1)."""
    asked = replace(filters, situation=None)
    began = in_scope(Complication.objects.filter(asked.inside(), asked.failed_so(), acts_counted=True), scope)
    came_later = ~Q(situation_faced=F("complication__situation")) & ~Q(situation_faced=CLOSED)
    acts = in_scope(
        Action.objects.filter(asked.inside(), asked.acted_so("situation_faced"), acts_counted=True), scope
    )
    later = acts.filter(came_later, situation_faced__isnull=False)
    first = began.values_list("situation").annotate(number=Count("pk"))
    then = later.values_list("situation_faced").annotate(number=Count("complication", distinct=True))
    met: Counter[str] = Counter()
    for situation, number in first.union(then, all=True):
        met[situation] += number
    return in_order(({"situation": key, "complications": n} for key, n in met.items()), ["situation"])


@keepable(one_row, extent_together)
def extent(scope: Scope, filters: Filters) -> Row:
    """How many complications, cases, sites and first operators met the situation, from which day to which."""
    complications = Complication.objects.filter(filters.inside(), filters.failed_so(), acts_counted=True)
    if filters.situation:
        acts = Action.objects.filter(situation_faced=filters.situation, acts_counted=True)
        later = in_scope(acts, scope).values("complication")
        complications = complications.filter(Q(situation=filters.situation) | Q(pk__in=later))
    return extent_of(complications, scope)


def considered(scope: Scope, filters: Filters) -> Table:
    """Complications by technique tried or declined and by what it was for (R11)."""
    keys = ("technique", "considered_for")
    counted = Q(filters.inside(), filters.acted_so("considered_for"), acts_counted=True)
    complications = Count("complication", distinct=True)
    tried = in_scope(Action.objects.filter(counted), scope).values(*keys).annotate(tried=complications)
    refused = (
        in_scope(DeclinedOption.objects.filter(counted), scope)
        .values(*keys)
        .annotate(
            declined=complications,
            only_declined=Count("complication", distinct=True, filter=Q(also_tried=False)),
            tried_later=Count("complication", distinct=True, filter=Q(later_tried=True)),
        )
    )
    nothing = {"tried": 0, "declined": 0, "only_declined": 0, "tried_later": 0}
    together: dict[tuple[str | None, str | None], Row] = {}
    for row in (*tried, *refused):
        technique, situation = row.pop("technique"), row.pop("considered_for")
        key = {"technique": technique, "situation_faced": situation}
        together.setdefault((technique, situation), {**key, **nothing}).update(row)
    for row in together.values():
        row["considered"] = row["tried"] + row.pop("only_declined")
    return in_order(together.values(), ["technique", "situation_faced"])
