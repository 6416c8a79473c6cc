"""P4 and P5: the live counts of techniques through the ORM, beside the same statement written by hand."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django.db import connection

from analytics.cohorts import Filters, techniques
from registry.access import scope_of_command_line
from registry.ladder import RESULTS_OF_RESCUE
from registry.models import Site
from registry.partial_dates import span
from tests.bench.measuring import Measured, side_by_side

KEYS = ("technique", "situation_faced", "aim", "attempt_in_situation")
RESULTS = sorted(str(result) for result in RESULTS_OF_RESCUE)
KNOWN = "attempt_result <> 'unknown'"
RESOLVED = "attempt_result = 'resolved'"
STATEMENT = (
    f"SELECT {', '.join(KEYS)}, "
    + ", ".join(f"COUNT(*) FILTER (WHERE attempt_result = '{result}')" for result in RESULTS)
    + f", COUNT(*) FILTER (WHERE {KNOWN}), COUNT(*) FILTER (WHERE {RESOLVED} AND with_injury), "
    f"COUNT(*) FILTER (WHERE {RESOLVED} AND with_new_complication), "
    f"COUNT(DISTINCT complication_id) FILTER (WHERE {KNOWN}), "
    f"COUNT(DISTINCT complication_id) FILTER (WHERE {RESOLVED}), COUNT(DISTINCT case_id) FILTER (WHERE {KNOWN}) "
    "FROM registry_action WHERE ends_attempt AND acts_counted {where} GROUP BY " + ", ".join(KEYS)
)
COLUMNS = (
    *KEYS, *RESULTS, "attempts", "resolved_with_injury", "resolved_with_new_complication", "complications",
    "complications_resolved", "cases",
)  # fmt: skip


def by_hand(where: str, values: list[Any]) -> list[tuple[Any, ...]]:
    """The rows of the statement with a further condition."""
    with connection.cursor() as cursor:
        cursor.execute(STATEMENT.replace("{where}", where), values)
        return list(cursor.fetchall())


def _same(rows: list[dict[str, Any]], raw: list[tuple[Any, ...]]) -> bool:
    return sorted(tuple(row[name] for name in COLUMNS) for row in rows) == sorted(raw)


def counts(size: int) -> Iterator[Measured]:
    """The whole registry, then one site in the last twenty-four months."""
    whole = scope_of_command_line()
    assert _same(techniques(whole, Filters(), by_attempt=True), by_hand("", [])), "the counts differ"
    ratio, detail = side_by_side(
        lambda: techniques(whole, Filters(), by_attempt=True), lambda: by_hand("", []), rounds=15
    )
    target = 1.5 if size <= 10_000 else 1.2 if size <= 100_000 else 1.1
    yield Measured(
        "P4", connection.vendor, size, ratio, target, f"techniques by attempt, whole registry; {detail}"
    )

    site = Site.objects.order_by("code").first()
    assert site is not None
    scope, since = whole.narrowed([site.code]), span("2024-11")
    filters = Filters(since=since)
    where, values = "AND site_id = %s AND earliest >= %s", [site.pk, since.earliest]
    assert _same(techniques(scope, filters, by_attempt=True), by_hand(where, values)), "the counts differ"
    ratio, detail = side_by_side(
        lambda: techniques(scope, filters, by_attempt=True),
        lambda: by_hand(where, values),
        rounds=15,
        free=0.001,
    )
    yield Measured(
        "P5", connection.vendor, size, ratio, 1.3, f"techniques of one site, 24 months, after 1 ms; {detail}"
    )
