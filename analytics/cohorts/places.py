"""Where complications lay, and what is known of their lesions."""

from __future__ import annotations

from django.db.models import Case, Count, Exists, OuterRef, Q, QuerySet, Subquery, Value, When

from analytics.cohorts.counting import Table, in_order, in_scope, number_of
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Complication, Lesion, LesionContent
from registry.vocabulary import word_list


def _began(filters: Filters, scope: Scope) -> QuerySet[Complication]:
    return in_scope(Complication.objects.filter(filters.touching(), filters.began_so(), counted=True), scope)


def _of_lesion(column: str) -> Subquery:
    lesions = Lesion.objects.filter(case=OuterRef("case"), ref=OuterRef("lesion"))
    return Subquery(lesions.values(column)[:1])


def _inside(filters: Filters) -> Count:
    return number_of(filters.inside()) if filters.inside() else Count("*")


def places(scope: Scope, filters: Filters) -> Table:
    """Complications by their `segments` and `places`, lists as they are recorded, empty where there are none.

    A complication without a place of its own lies where its lesion does. `perhaps_outside` are those whose date may
    lie in the period and may not.
    """
    own = Q(segments__isnull=False) | Q(places__isnull=False)
    rows = (
        _began(filters, scope)
        .annotate(
            in_segments=Case(When(own, then="segments"), default=_of_lesion("segments")),
            in_places=Case(When(own, then="places"), default=_of_lesion("places")),
        )
        .values_list("in_segments", "in_places")
        .annotate(inside=_inside(filters), whole=Count("*"))
    )
    return [
        {
            "segments": segments or [],
            "places": beyond or [],
            "complications": inside,
            "perhaps_outside": whole - inside,
        }
        for segments, beyond, inside, whole in rows
    ]


def cases_of_places(scope: Scope, filters: Filters) -> int:
    """The cases of these complications."""
    found = _began(filters, scope).filter(filters.inside()).aggregate(cases=Count("case", distinct=True))
    return int(found["cases"])


def lesions(scope: Scope, filters: Filters) -> Table:
    """Complications by `situation`, whether they have a lesion, and how calcified it is.

    Of each, in how many the lesion holds what (`with_` and its code), holds `something`, or was recorded as empty
    (`nothing`).
    """
    there = Lesion.objects.filter(case=OuterRef("case"), ref=OuterRef("lesion"))
    with_lesion = Q(lesion__isnull=False)
    held = LesionContent.objects.filter(
        lesion__case=OuterRef("case"), lesion__ref=OuterRef("lesion"), what__isnull=False
    )
    counts = {
        f"with_{code}": number_of(with_lesion & Q(Exists(held.filter(what=code))))
        for code in word_list("lesion_content").codes
    }
    rows = (
        _began(filters, scope)
        .filter(filters.inside())
        .annotate(
            has_lesion=Case(When(with_lesion & Exists(there), then=Value(True)), default=Value(False)),
            how_calcified=_of_lesion("calcification"),
        )
        .values("situation", "has_lesion", "how_calcified")
        .annotate(
            complications=Count("*"),
            nothing=number_of(with_lesion & Q(Exists(there.filter(empty__contains='"contents"')))),
            something=number_of(with_lesion & Q(Exists(held))),
            **counts,
        )
    )
    return in_order(rows, ["situation", "has_lesion", "how_calcified"])
