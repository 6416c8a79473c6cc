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
EVERYTHING = Scope(None)
EVERY = Filters()
ONE = Filters(situation="wire_stuck")
WIDE = ("registry_action ", "registry_complication ", "registry_staffrole ", "U0 ", "V0 ",
        "registry_declinedoption ", "registry_deviceuse ")  # fmt: skip


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
        lambda: cohorts.lots_seen_twice(EVERYTHING),
        lambda: cohorts.options(SITES, ONE),
        lambda: cohorts.months_with_uses(SITES, EVERY),
        lambda: cohorts.months_of_beginning(["north"]),
    ],
    ids=["extent", "extent of one", "techniques", "by attempt", "extent of devices", "devices", "lots", "options",
         "months with uses", "beginning"],
)  # fmt: skip
def test_figures_of_somebodys_sites_are_counted_from_indexes_alone(ask: Callable[[], Any]) -> None:
    read = [line for line in plan_of(ask) if line.removeprefix("SEARCH ").startswith(WIDE)]
    narrow = ("sqlite_autoindex_registry_deviceuse", "analytics_quarantinedlot")
    assert read
    assert [line for line in read if not any(name in line for name in ("COVERING INDEX", *narrow))] == []


@pytest.mark.parametrize(
    ("ask", "of"),
    [
        (lambda: cohorts.order(SITES, ONE), "action_ends_attempt (complication_id=?)"),
        (lambda: cohorts.order(SITES, ONE), "action_attempts (situation_faced=?)"),
        (
            lambda: cohorts.rescue_tools(SITES, EVERY, by_situation=False),
            "action_ends_attempt (complication_id=?",
        ),
    ],
    ids=["next attempt", "attempts", "attempt of a try"],
)
def test_attempts_that_follow_are_found_without_reading_whole_acts(ask: Callable[[], Any], of: str) -> None:
    assert any(f"COVERING INDEX {of}" in line for line in plan_of(ask))


def test_home_goes_by_the_day_that_is_due() -> None:
    director = give_role("d@north.example", add_site("north", "North", by=None), Role.LAB_DIRECTOR, by=None)
    plan = plan_of(lambda: needs_you(director, datetime.date(2026, 6, 30)))
    duties = [line for line in plan if "registry_duty " in line]
    assert duties
    assert all("duty_open_by_due" in line for line in duties)
