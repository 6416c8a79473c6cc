"""Options declined because the tool was not on the shelf, or not in a size that fits, and what followed them."""

from __future__ import annotations

from django.db.models import F, Q, QuerySet

from analytics.cohorts.counting import Table, in_scope
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Action, DeclinedOption

NOT_ON_SHELF, NOT_IN_SIZE = "not_on_shelf", "not_compatible_size"


def _options(scope: Scope, filters: Filters) -> QuerySet[DeclinedOption]:
    counted = Q(filters.inside(), filters.acted_so("considered_for"), acts_counted=True)
    return in_scope(DeclinedOption.objects.filter(counted, reason__in=(NOT_ON_SHELF, NOT_IN_SIZE)), scope)


def wanted(scope: Scope, filters: Filters) -> Table:
    """Each of these options, with its complication (`pk` and `cause`), case, site and month, the newest first."""
    rows = _options(scope, filters).values(
        "technique",
        "reason",
        "after_position",
        "later_tried",
        "complication",
        "month",
        faced=F("considered_for"),
        cause=F("complication__cause"),
        code=F("case__code"),
        site_name=F("site__name"),
    )
    return [{**row} for row in rows.order_by("-earliest", "code", "complication", "index")]


def followed(scope: Scope, filters: Filters) -> Table:
    """The acts of their complications that dealt with the device, in order: neither looks nor what prepares."""
    acts = Action.objects.filter(
        complication__in=_options(scope, filters).values("complication"),
        aim__in=("free", "retrieve", "secure", "leave", "hand_over"),
    )
    rows = acts.order_by("complication", "position").values("complication", "position", "technique")
    return [{**row} for row in rows]
