"""Where complications lay, and what is known of their lesions."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from django.db.models import Case, Count, IntegerField, OuterRef, Q, QuerySet, Subquery, Sum, Value, When
from django.db.models.functions import Coalesce, Concat

from analytics.cohorts.counting import Row, Table, in_order, in_scope, number_of
from analytics.cohorts.kept import Tables, added, keepable, numbers_together, one_number, one_table
from analytics.filters import Filters
from registry.access import Scope
from registry.models import Complication, Lesion, LesionContent
from registry.models.columns import ListField
from registry.vocabulary import word_list


def _began(filters: Filters, scope: Scope) -> QuerySet[Complication]:
    return in_scope(Complication.objects.filter(filters.touching(), filters.began_so(), counted=True), scope)


def _of_lesion(column: str) -> Subquery:
    lesions = Lesion.objects.filter(case=OuterRef("case"), ref=OuterRef("lesion"))
    return Subquery(lesions.values(column)[:1])


def _inside(filters: Filters) -> Count:
    return number_of(filters.inside()) if filters.inside() else Count("*")


def _by(*keys: str) -> Callable[[Sequence[Tables]], Table]:
    """Puts a table with these keys together, some of which are lists."""

    def together(found: Sequence[Tables]) -> Table:
        tables = [{"": [_hashable(row) for row in tables.get("", [])]} for tables in found]
        return added(tables, keys)

    return together


def _hashable(row: Row) -> Row:
    return {key: tuple(value) if isinstance(value, list) else value for key, value in row.items()}


_OF_PLACES = ("segments", "places")
_OF_LESIONS = ("situation", "has_lesion", "calcification", "empty", "contents")


@keepable(one_table, _by(*_OF_PLACES))
def places(scope: Scope, filters: Filters) -> Table:
    """Complications by their `segments` and `places`, lists as they are recorded, empty where there are none.

    A complication without a place of its own lies where its lesion does. `perhaps_outside` are those whose date may
    lie in the period and may not.
    """
    none = Value([], output_field=ListField())
    own = Q(segments__isnull=False) | Q(places__isnull=False)
    rows = (
        _began(filters, scope)
        .annotate(
            in_segments=Coalesce(Case(When(own, then="segments"), default=_of_lesion("segments")), none),
            in_places=Coalesce(Case(When(own, then="places"), default=_of_lesion("places")), none),
        )
        .values_list("in_segments", "in_places")
        .annotate(inside=_inside(filters), whole=Count("*"))
    )
    found = [
        {
            "segments": tuple(segments),
            "places": tuple(beyond),
            "complications": inside,
            "perhaps_outside": whole - inside,
        }
        for segments, beyond, inside, whole in rows
    ]
    return in_order(found, _OF_PLACES)


@keepable(one_number, numbers_together)
def cases_of_places(scope: Scope, filters: Filters) -> int:
    """The cases of these complications."""
    found = _began(filters, scope).filter(filters.inside()).aggregate(cases=Count("case", distinct=True))
    return int(found["cases"])


@keepable(one_table, _by(*_OF_LESIONS))
def lesions(scope: Scope, filters: Filters) -> Table:
    """Complications by `situation` and by what is said of their lesion: `has_lesion`, `calcification`, `contents`.

    `contents` are codes, each once; `empty` says that the lesion was recorded as holding nothing.
    """
    # Of each complication one look at its lesion and one at what that holds: its contents as one number, a bit each.
    codes = word_list("lesion_content").codes
    bits = [When(what=code, then=Value(2**which)) for which, code in enumerate(codes)]
    held = (
        LesionContent.objects.filter(lesion__case=OuterRef("case"), lesion__ref=OuterRef("lesion"))
        .order_by()
        .values("case")
        .annotate(bits=Sum(Case(*bits, default=Value(0), output_field=IntegerField()), distinct=True))
    )
    there = Lesion.objects.filter(case=OuterRef("case"), ref=OuterRef("lesion")).annotate(
        said=Concat(
            Case(When(empty__contains='"contents"', then=Value(_EMPTY)), default=Value(_NOT_EMPTY)),
            Coalesce("calcification", Value("")),
        )
    )
    rows = (
        _began(filters, scope)
        .filter(filters.inside())
        .annotate(of_lesion=Subquery(there.values("said")[:1]), held=Subquery(held.values("bits")))
        .values_list("situation", "of_lesion", "held")
        .annotate(complications=Count("*"))
    )
    found = [
        {
            "situation": situation,
            "has_lesion": said is not None,
            "calcification": said[1:] or None if said else None,
            "empty": bool(said) and said[0] == _EMPTY,
            "contents": tuple(code for which, code in enumerate(codes) if (bits_held or 0) >> which & 1),
            "complications": number,
        }
        for situation, said, bits_held, number in rows
    ]
    return in_order(found, _OF_LESIONS)


_EMPTY, _NOT_EMPTY = "+", "-"
