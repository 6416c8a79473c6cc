"""How complications ended, by what they began with and by attempt (R10)."""

from __future__ import annotations

from django.db.models import Count, Q

from analytics.answers import LEFT_APART
from analytics.cohorts.counting import Table, in_order, in_scope, number_of
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Complication
from registry.terms import Cause


def endings(scope: Scope, filters: Filters) -> Table:
    """Complications by their first situation, and by what became of them."""
    complications = in_scope(
        Complication.objects.filter(filters.inside(), filters.began_so(), counted=True), scope
    )
    ended = Q(acts_counted=True, cause__isnull=False)
    attempted = ended & Q(attempts__gt=0)
    rows = complications.values("situation").annotate(
        complications=number_of(Q(acts_counted=True)),
        **{str(cause): number_of(ended & Q(cause=cause)) for cause in Cause if cause != Cause.CENSORED},
        place_unknown=number_of(ended & Q(cause=Cause.LEFT, ending="lost_place_unknown")),
        transferred_open=number_of(ended & Q(cause=Cause.CENSORED)),
        left_out=number_of(Q(acts_counted=False) | Q(cause__isnull=True)),
        attempted=number_of(attempted & ~Q(cause=Cause.CENSORED)),
        out_after_attempt=number_of(attempted & Q(cause=Cause.OUT)),
    )
    return in_order(rows, ["situation"])


def curve(scope: Scope, filters: Filters) -> Table:
    """Complications of the curve by attempt (R10): how many left it after so many attempts by such a cause.

    Of those that were left, how many ended in each of the ways that are shown apart, under the code of the ending.
    """
    complications = in_scope(
        Complication.objects.filter(filters.inside(), filters.began_so(), in_curve=True), scope
    )
    apart = {ending: number_of(Q(cause=Cause.LEFT, ending=ending)) for ending in LEFT_APART}
    rows = complications.values("attempts", "cause").annotate(number=Count("*"), **apart)
    return in_order(rows, ["attempts", "cause"])
