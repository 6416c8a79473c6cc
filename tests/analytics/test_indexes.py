"""What pages ask of somebody's sites is answered from indexes alone: the whole rows are wide and need not be read.

SQLite chooses its plan from the indexes, whatever the tables hold, so that it can be looked at while they are empty.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from typing import Any

import pytest
from django.db import connection

from analytics import cohorts
from analytics.filters import Filters
from registry.access import Scope
from registry.needs import needs_you
from registry.recording.sites import add_site, give_role
from registry.terms import Role

pytestmark = pytest.mark.django_db

SITES = Scope(frozenset({1, 2}))
EVERY = Filters()
ONE = Filters(situation="wire_stuck")
WIDE = ("registry_action ", "registry_complication ", "registry_staffrole ", "U0 ", "V0 ")


def plan_of(ask: Callable[[], Any]) -> list[str]:
    """How the database goes about each question that is asked meanwhile."""
    asked: list[tuple[str, Any]] = []

    def noted(execute: Callable[..., Any], sql: str, params: Any, many: bool, context: Any) -> Any:
        asked.append((sql, params))
        return execute(sql, params, many, context)

    with connection.execute_wrapper(noted):
        ask()
    lines = []
    with connection.cursor() as cursor:
        for sql, params in asked:
            cursor.execute(f"EXPLAIN QUERY PLAN {sql}", params)
            lines += [str(line[3]) for line in cursor.fetchall()]
    return lines


@pytest.mark.parametrize(
    "ask",
    [
        lambda: cohorts.extent(SITES, EVERY),
        lambda: cohorts.extent(SITES, ONE),
        lambda: cohorts.techniques(SITES, ONE, by_attempt=False),
        lambda: cohorts.techniques(SITES, ONE, by_attempt=True),
        lambda: cohorts.extent_of_devices(SITES, EVERY),
        lambda: cohorts.devices(SITES, EVERY).events,
    ],
    ids=["extent", "extent of one", "techniques", "by attempt", "extent of devices", "devices"],
)
def test_figures_of_somebodys_sites_are_counted_from_indexes_alone(ask: Callable[[], Any]) -> None:
    read = [line for line in plan_of(ask) if line.removeprefix("SEARCH ").startswith(WIDE)]
    of_uses = "sqlite_autoindex_registry_deviceuse"
    assert read
    assert [line for line in read if "COVERING INDEX" not in line and of_uses not in line] == []


def test_home_goes_by_the_day_that_is_due() -> None:
    director = give_role("d@north.example", add_site("north", "North", by=None), Role.LAB_DIRECTOR, by=None)
    plan = plan_of(lambda: needs_you(director, datetime.date(2026, 6, 30)))
    duties = [line for line in plan if "registry_duty " in line]
    assert duties
    assert all("duty_open_by_due" in line for line in duties)
