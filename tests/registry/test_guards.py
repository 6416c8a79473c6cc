"""The database itself refuses to change what is append-only, whoever asks it."""

from __future__ import annotations

import pytest
from django.core.management import call_command
from django.db import DatabaseError, connection, transaction

from registry import guards
from registry.models import Head, JournalEntry, Version
from registry.recording.cases import submit_case
from registry.recording.sites import add_site
from tests.commands import command
from tests.registry.histories import a_patient, look, the_case

pytestmark = pytest.mark.data

APPEND_ONLY = ("registry_version", "registry_journalentry", "registry_look")


@pytest.fixture
def a_case_that_was_looked_at(db: None) -> None:
    add_site("north", "North", by=None)
    submit_case(a_patient("N-1", "NM 1"), by=None)
    look(the_case("N-1"))
    connection.check_constraints()  # PostgreSQL would refuse TRUNCATE for these alone


def refused(statement: str) -> None:
    with pytest.raises(DatabaseError) as caught, transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    assert any(words in str(caught.value) for words in ("append-only", "the head moves only forward", "head"))


def refusals_of(table: str) -> list[str]:
    """Every way in which this engine changes, removes or replaces rows."""
    ways = [f"UPDATE {table} SET id = id", f"UPDATE {table} SET id = id + 100", f"DELETE FROM {table}"]
    if connection.vendor == "sqlite":
        every = f"SELECT * FROM {table}"
        return [
            *ways,
            f"INSERT OR REPLACE INTO {table} {every}",
            f"REPLACE INTO {table} {every}",
            f"UPDATE OR REPLACE {table} SET id = id",
            f"UPDATE OR IGNORE {table} SET id = id",
            f"INSERT INTO {table} {every} WHERE true ON CONFLICT DO UPDATE SET id = excluded.id",
        ]
    return [
        *ways,
        f"TRUNCATE {table}",
        f"TRUNCATE {table} CASCADE",
        f"INSERT INTO {table} SELECT * FROM {table} ON CONFLICT (id) DO UPDATE SET id = excluded.id",
    ]


@pytest.mark.parametrize("table", [*APPEND_ONLY, "registry_head"])
def test_rows_are_never_changed_removed_or_replaced(a_case_that_was_looked_at: None, table: str) -> None:
    for statement in refusals_of(table):
        refused(statement)


def test_a_version_is_not_replaced_through_its_number_either(a_case_that_was_looked_at: None) -> None:
    verb = "INSERT OR REPLACE" if connection.vendor == "sqlite" else "INSERT"
    conflict = (
        "" if connection.vendor == "sqlite" else "ON CONFLICT (case_id, number) DO UPDATE SET text = 'x'"
    )
    refused(
        f"{verb} INTO registry_version (id, case_id, number, text) "
        f"SELECT id + 50, case_id, number, 'x' FROM registry_version WHERE true {conflict}"
    )
    assert Version.objects.get().text != "x"


def test_emptying_the_cases_does_not_take_their_versions_along(a_case_that_was_looked_at: None) -> None:
    statement = (
        "DELETE FROM registry_case" if connection.vendor == "sqlite" else "TRUNCATE registry_case CASCADE"
    )
    with pytest.raises(DatabaseError), transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute(statement)
        connection.check_constraints()
    assert Version.objects.count() == 1


@pytest.mark.parametrize(
    "change",
    ["number = number - 1", "number = number", "seal = seal - 1, number = number + 1", "mac = '0'"],
)
def test_the_head_moves_only_forward(a_case_that_was_looked_at: None, change: str) -> None:
    submit_case(a_patient("N-2", "NM 2"), by=None)
    refused(f"UPDATE registry_head SET {change}")


def test_the_registrys_id_is_never_changed(a_case_that_was_looked_at: None) -> None:
    other = "'00000000-0000-4000-8000-000000000000'"
    refused(f"UPDATE registry_head SET number = number + 1, registry = {other}")


def test_there_is_one_head(a_case_that_was_looked_at: None) -> None:
    with pytest.raises(DatabaseError), transaction.atomic():
        Head.objects.create(id=2)
    assert Head.objects.count() == 1


@pytest.mark.django_db
def test_a_session_that_passes_over_triggers_meets_the_guards_all_the_same() -> None:
    """PostgreSQL's `session_replication_role` switches ordinary triggers off; SQLite's pragma fires too few."""
    add_site("north", "North", by=None)
    connection.check_constraints()
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET LOCAL session_replication_role = replica")
        else:
            cursor.execute("PRAGMA recursive_triggers = OFF")
    for statement in refusals_of("registry_journalentry"):
        refused(statement)


@pytest.mark.django_db
def test_all_guards_are_in_place_and_named_for_the_table_they_guard() -> None:
    assert guards.missing() == []
    assert all(
        any(name.startswith(table) for name in guards.names()) for table in (*APPEND_ONLY, "registry_head")
    )


@pytest.mark.django_db
def test_a_guard_that_was_loosened_counts_as_missing() -> None:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "CREATE OR REPLACE FUNCTION registry_refuse_change() RETURNS trigger LANGUAGE plpgsql AS "
                "$$ BEGIN RETURN NEW; END; $$"
            )
        else:
            cursor.execute("DROP TRIGGER registry_look_no_update")
            cursor.execute(
                "CREATE TRIGGER registry_look_no_update BEFORE UPDATE ON registry_look WHEN NEW.id = 0 "
                "BEGIN SELECT RAISE(ABORT, 'this table is append-only'); END"
            )
    assert "registry_look_no_update" in guards.missing() or "registry_look_no_change" in guards.missing()


@pytest.mark.django_db
def test_lifted_guards_are_back_even_after_a_failure() -> None:
    with pytest.raises(ZeroDivisionError), transaction.atomic(), guards.lifted():
        raise ZeroDivisionError
    assert guards.missing() == []


@pytest.mark.django_db(transaction=True)
def test_lifted_guards_are_back_after_a_failure_outside_a_transaction() -> None:
    with pytest.raises(ZeroDivisionError), guards.lifted():
        assert guards.missing() == guards.names()
        raise ZeroDivisionError
    assert guards.missing() == []


@pytest.mark.django_db(transaction=True)
def test_migrate_puts_back_guards_that_a_change_of_a_table_has_dropped() -> None:
    (constraint,) = Version._meta.constraints
    with connection.schema_editor() as editor:
        editor.remove_constraint(Version, constraint)
        editor.add_constraint(Version, constraint)
    assert (guards.missing() != []) == (connection.vendor == "sqlite")
    call_command("migrate", verbosity=0)
    assert guards.missing() == []


@pytest.mark.django_db(transaction=True)
def test_flush_between_tests_leaves_an_empty_registry_with_its_guards_and_a_new_head() -> None:
    add_site("north", "North", by=None)
    before = Head.objects.get()
    call_command("flush", interactive=False, verbosity=0, inhibit_post_migrate=True)
    after = Head.objects.get()
    assert (after.number, after.mac, JournalEntry.objects.count()) == (0, "", 0)
    assert after.registry != before.registry
    assert guards.missing() == []


@pytest.mark.django_db
def test_flush_refuses_outside_tests(settings) -> None:
    settings.TESTING = False
    add_site("north", "North", by=None)
    outcome = command("flush", "--no-input")
    assert outcome.status == 1
    assert "append-only" in outcome.err
    assert JournalEntry.objects.count() == 1
