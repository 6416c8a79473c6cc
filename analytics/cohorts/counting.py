"""How a cohort is counted: at one moment, within a scope, by the database, its rows in order. Asks nothing itself."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, TypeVar

from django.db import connection
from django.db.models import Count, Max, Min, Model, Q, QuerySet, Subquery, Value

from registry.access import Scope
from registry.models import Complication, StaffRole
from registry.recording.snapshot import snapshot

Row = dict[str, Any]
Table = list[Row]
"""Rows sorted by their keys: an empty key first, texts by code point, numbers as numbers."""

_looking: ContextVar[bool] = ContextVar("looking", default=False)


@contextmanager
def at_one_moment() -> Iterator[None]:
    """All queries inside see the same record, whatever is saved meanwhile: else parts might not add up.

    Inside another such moment, or a transaction of the caller's, that one stands.
    """
    if _looking.get() or connection.in_atomic_block:
        yield
        return
    began = _looking.set(True)
    try:
        with snapshot():
            yield
    finally:
        _looking.reset(began)


AnyModel = TypeVar("AnyModel", bound=Model)


def in_scope(rows: QuerySet[AnyModel], scope: Scope) -> QuerySet[AnyModel]:
    """Rows of the scope's sites; a scope without a list is the whole registry."""
    return rows if scope.sites is None else rows.filter(site__in=scope.sites)


def in_order(rows: Iterable[Any], keys: Sequence[str]) -> Table:
    """Rows by their keys."""
    return sorted(rows, key=lambda row: [(row[key] is not None, row[key]) for key in keys])


def by_value(rows: Iterable[Row], key: str) -> dict[Any, Table]:
    """Rows by what stands under a key, in their order."""
    found: dict[Any, Table] = {}
    for row in rows:
        found.setdefault(row[key], []).append(row)
    return found


class Number(Count):
    """A count as the database gives it, a whole number already: Django would convert each one once more."""

    def get_db_converters(self, connection: Any) -> list[Any]:
        return []


def number_of(condition: Q) -> Count:
    """How many rows meet a condition."""
    # Of a constant: counting a column would read it, and Django has no filter on COUNT(*).
    return Number(Value(1), filter=condition)


def extent_of(complications: QuerySet[Complication], scope: Scope) -> Row:
    """How many complications, cases, sites and first operators these are, from which day to which."""
    complications = in_scope(complications, scope)
    operators = StaffRole.objects.filter(role="first_operator", case__in=complications.values("case"))
    number = operators.values("role").annotate(number=Count("person", distinct=True)).values("number")
    counts = complications.aggregate(
        complications=Count("pk"),
        cases=Count("case", distinct=True),
        sites=Count("site", distinct=True),
        # One value for all rows, so that the largest of it is it.
        operators=Max(Subquery(number)),
        first=Min("earliest"),
        last=Max("latest"),
    )
    return {**counts, "operators": counts["operators"] or 0}
