"""What was tried and what was declined in one situation, and why, in one statement (R11)."""

from __future__ import annotations

from typing import Any

from django.db.models import CharField, Count, F, Q, Value
from django.db.models.functions import Coalesce

from analytics.cohorts.counting import Table, in_scope
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Action, DeclinedOption

_COMPLICATIONS = Count("complication", distinct=True)


def options(scope: Scope, filters: Filters) -> Table:
    """Complications by technique: `what` is `tried`, `declined`, `only_declined`, `tried_later` or `reason`.

    With `reason` its code, an empty text where it is not recorded; else `reason` is None.
    """
    counted = Q(filters.inside(), filters.acted_so("considered_for"), acts_counted=True)
    declined = in_scope(DeclinedOption.objects.filter(counted), scope)
    parts = [
        _part("tried", in_scope(Action.objects.filter(counted), scope)),
        _part("declined", declined),
        _part("only_declined", declined.filter(also_tried=False)),
        _part("tried_later", declined.filter(later_tried=True)),
        _part("reason", declined, Coalesce(F("reason"), Value(""))),
    ]
    names = ("what", "technique", "why", "complications")
    found = parts[0].union(*parts[1:], all=True)
    return [dict(zip(names, row, strict=True)) for row in sorted(found, key=lambda row: str(row[:3]))]


def _part(what: str, rows: Any, why: Any = None) -> Any:
    reason = Value(None, output_field=CharField()) if why is None else why
    named = rows.annotate(what=Value(what), why=reason)
    return named.values_list("what", "technique", "why").annotate(number=_COMPLICATIONS).order_by()
