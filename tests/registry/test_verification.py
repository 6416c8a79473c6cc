"""verify_history finds what was changed behind the registry's back, and names it."""

from __future__ import annotations

import uuid
from pathlib import Path
from unittest import mock

import pytest
from django.apps import apps
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from registry import guards
from registry.models import Case, DataKey, Head, JournalEntry, Look, Patient, Version
from registry.terms import CaseState
from tests.commands import command
from tests.registry.histories import (
    a_registry_with_a_past,
    behind_the_guards,
    in_a_thread,
    look,
    moved,
    set_back,
    the_case,
)

pytestmark = [pytest.mark.data, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def past() -> None:
    a_registry_with_a_past()


def entry(number: int) -> JournalEntry:
    return JournalEntry.objects.get(pk=number)


def last_entry(document_id: str) -> JournalEntry:
    return JournalEntry.objects.filter(case=the_case(document_id)).latest("pk")


def test_a_registry_nobody_has_touched_is_whole_and_its_head_is_printed(past: None) -> None:
    outcome = command("verify_history")
    assert (outcome.status, outcome.err) == (0, "")
    assert outcome.last == str(Head.objects.get())


def test_an_empty_registry_is_whole_without_any_key(settings) -> None:
    settings.WRAPPING_KEYS = settings.CHAIN_KEYS = settings.LOOKUP_KEY = ""
    assert command("verify_history").last == "0:"
    assert command("verify_history", "--witness", "0:").status == 0


def found(*words: str) -> None:
    outcome = command("verify_history")
    assert outcome.status == 1
    assert outcome.err.startswith("The history is broken: ")
    for word in words:
        assert word in outcome.err
    assert not outcome.out


def test_a_changed_version_is_found(past: None) -> None:
    first = Version.objects.get(case=the_case("S1"), number=1)
    text = first.text.replace('"site":"north"', '"site":"south"')
    behind_the_guards("UPDATE registry_version SET text = %s WHERE id = %s", text, first.pk)
    submitted = JournalEntry.objects.filter(case=first.case).earliest("pk")
    found(f"entry {submitted.pk} (case created {first.case.code})", "the text of version 1")


def test_a_version_with_its_digest_made_anew_is_found_by_the_chain(past: None) -> None:
    one = entry(5)
    text = one.text.replace('"sha256":"', '"sha256":"f')
    behind_the_guards("UPDATE registry_journalentry SET text = %s WHERE id = 5", text)
    found("entry 5", "its text, its mac or its place in the chain was changed")


@pytest.mark.parametrize(
    ("column", "value"), [("what", "case_erased"), ("at", "2020-01-01 00:00:00+00:00"), ("case_id", None)]
)
def test_a_changed_column_of_a_journal_line_is_found(past: None, column: str, value: object) -> None:
    behind_the_guards(f"UPDATE registry_journalentry SET {column} = %s WHERE id = 6", value)
    found("entry 6", "the column of its")


def test_a_removed_journal_line_is_found(past: None) -> None:
    behind_the_guards("DELETE FROM registry_journalentry WHERE id = 7")
    found("entry 7 is missing")


def test_a_tail_cut_off_is_found(past: None) -> None:
    last = Head.objects.get().number
    behind_the_guards("DELETE FROM registry_journalentry WHERE id = %s", last)
    behind_the_guards("DELETE FROM registry_version WHERE case_id = %s AND number = 3", the_case("S5").pk)
    found(f"entry {last} is missing", "ends before its head")


def test_two_lines_that_changed_places_are_found(past: None) -> None:
    fifth, sixth = entry(5), entry(6)
    for number, other in ((5, sixth), (6, fifth)):
        behind_the_guards(
            "UPDATE registry_journalentry SET at = %s, what = %s, case_id = %s, text = %s, mac = %s WHERE id = %s",
            other.at, other.what, other.case_id, other.text, other.mac, number,
        )  # fmt: skip
    found("entry 5", "its place in the chain")


def test_an_unreadable_line_is_found(past: None) -> None:
    behind_the_guards("UPDATE registry_journalentry SET text = 'x' WHERE id = 6")
    found("entry 6", "cannot be read")


def test_a_removed_version_is_found(past: None) -> None:
    case = the_case("S5")
    behind_the_guards("DELETE FROM registry_version WHERE case_id = %s AND number = 2", case.pk)
    found(case.code, "version 2 of the case is missing")


def test_a_version_that_no_entry_speaks_of_is_found(past: None) -> None:
    version = Version.objects.get(case=the_case("S1"), number=2)
    Version.objects.create(case=version.case, number=3, text=version.text)
    found("versions, but the journal speaks of")


def test_a_head_set_to_another_mac_is_found(past: None) -> None:
    behind_the_guards("UPDATE registry_head SET mac = %s", "0" * 64)
    found("the head of the chain")


def test_a_registry_id_that_was_changed_is_found(past: None) -> None:
    with guards.lifted():
        Head.objects.update(registry=uuid.uuid4())
    found("the registry's id")


ROW_EDITS = {
    "an act's result": (
        "UPDATE registry_action SET result = 'not_delivered' WHERE id = %s",
        "Action",
        "result is not_delivered",
    ),
    "a figure worked out from the ladder": (
        "UPDATE registry_action SET attempt_in_situation = 9 WHERE id = %s",
        "Action",
        "attempt_in_situation is 9",
    ),
    "a complication that no longer counts": (
        "UPDATE registry_complication SET in_device_rate = NOT in_device_rate WHERE id = %s",
        "Complication",
        "in_device_rate is",
    ),
    "an ending": (
        "UPDATE registry_complication SET ending = 'left_in_place' WHERE id = %s",
        "Complication",
        "ending is left_in_place",
    ),
    "a removed row": ("DELETE FROM registry_staffrole WHERE id = %s", "StaffRole", "is missing"),
    "a row twice": (
        'INSERT INTO registry_staffrole (case_id, "index", person_id, role, unknown, empty) '
        'SELECT case_id, "index", person_id, role, unknown, empty FROM registry_staffrole WHERE id = %s',
        "StaffRole",
        "is there twice",
    ),
    "a row more": (
        'INSERT INTO registry_staffrole (case_id, "index", person_id, role, unknown, empty) '
        "SELECT case_id, 40, person_id, role, unknown, empty FROM registry_staffrole WHERE id = %s",
        "StaffRole",
        "its last version has none",
    ),
    "an act hung on another complication": (
        "UPDATE registry_action SET position = 59, "
        "complication_id = (SELECT min(id) FROM registry_complication) WHERE id = %s",
        "Action",
        "its last version has none",
    ),
}


@pytest.mark.parametrize("what", ROW_EDITS)
def test_a_row_edited_past_the_program_is_found(past: None, what: str) -> None:
    statement, model, words = ROW_EDITS[what]
    row = apps.get_model("registry", model)._base_manager.filter(case=the_case("S2").pk).earliest("pk")
    with connection.cursor() as cursor:
        cursor.execute(statement, [row.pk])
        assert cursor.rowcount == 1
    found(last_entry("S2").what.replace("_", " "), the_case("S2").code, words)


@pytest.mark.parametrize(
    ("column", "value"), [("patient_age", 20), ("state", "withdrawn"), ("erased", True), ("version", 7)]
)
def test_a_changed_row_of_the_case_is_found(past: None, column: str, value: object) -> None:
    Case.objects.filter(document_id="S1").update(**{column: value})
    found(the_case("S1").code, column.removeprefix("patient_"))


def test_a_staff_code_that_was_renamed_is_found(past: None) -> None:
    with connection.cursor() as cursor:
        cursor.execute(
            "UPDATE registry_staff SET code = 'p-900' WHERE id = (SELECT min(id) FROM registry_staff)"
        )
    found("no longer knows")


def test_a_case_without_a_journal_line_is_found(past: None) -> None:
    case = the_case("S1")
    case.pk, case.code, case.document_id = None, "0000000AB", "S99"
    case._state.adding = True
    case.save()
    found("0000000AB", "the journal does not speak of it")


def test_a_changed_wrapped_key_is_found(past: None) -> None:
    one, other = (DataKey.objects.get(owner=the_case(name).code) for name in ("S1", "S2"))
    DataKey.objects.filter(pk=one.pk).update(wrapped=other.wrapped)
    found(the_case("S1").code, "its data key was changed")


def test_a_deleted_key_of_a_case_that_is_not_erased_is_found(past: None) -> None:
    DataKey.objects.filter(owner=the_case("S1").code).delete()
    found(the_case("S1").code, "its data key is gone")


def test_a_spare_key_that_does_not_open_is_found(past: None) -> None:
    one = DataKey.objects.get(owner=the_case("S1").code)
    DataKey.objects.create(owner="0000000AB", wrapping_key=one.wrapping_key, wrapped=one.wrapped)
    found("the data key of 0000000AB")


def test_swapped_patient_blobs_are_found(past: None) -> None:
    one, other = (Patient.objects.get(case=the_case(name)) for name in ("S1", "S2"))
    Patient.objects.filter(pk=one.pk).update(sealed=other.sealed, key=other.key)
    found(the_case("S1").code, "the sealed part in the patient row")


def test_a_changed_look_up_is_found(past: None) -> None:
    Patient.objects.filter(case=the_case("S1")).update(lookup="0" * 64)
    found(the_case("S1").code, "the look-up")


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE registry_look SET who = 'NOBODY001' WHERE id = (SELECT min(id) FROM registry_look)",
        "DELETE FROM registry_look WHERE id = (SELECT min(id) FROM registry_look)",
    ],
)
def test_a_changed_or_removed_look_is_found(past: None, statement: str) -> None:
    behind_the_guards(statement)
    found("entry", "the looks after number 0")


def test_a_look_that_is_not_sealed_yet_is_no_break(past: None) -> None:
    look(the_case("S1"))
    assert Look.objects.latest("pk").pk > Head.objects.get().seal
    assert command("verify_history").status == 0


def test_a_dropped_guard_is_found(past: None) -> None:
    name = guards.names()[0]
    on = f" ON {guards._table_of(name)}" if connection.vendor == "postgresql" else ""
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER {name}{on}")
    try:
        found(f"the guard {name}")
    finally:
        guards.install()


def test_a_disabled_guard_is_found(past: None) -> None:
    name = guards.names()[0]
    table = guards._table_of(name)
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(f"ALTER TABLE {table} DISABLE TRIGGER {name}")
        else:  # SQLite cannot switch one off, but let it do nothing
            cursor.execute(f"DROP TRIGGER {name}")
            cursor.execute(f"CREATE TRIGGER {name} BEFORE DELETE ON {table} WHEN 0 BEGIN SELECT 1; END")
    try:
        found(f"the guard {name}")
    finally:
        guards.install()


def test_an_earlier_head_is_accepted_as_witness(past: None) -> None:
    head = Head.objects.get()
    moved("S1", CaseState.LOCKED)
    assert command("verify_history", "--witness", str(head)).status == 0


def test_a_witness_of_another_mac_is_refused(past: None) -> None:
    assert "its mac is another" in command("verify_history", "--witness", "5:" + "0" * 64).err


def test_an_empty_chain_is_no_witness_of_a_longer_one(past: None) -> None:
    assert command("verify_history", "--witness", "0:").status == 1


@pytest.mark.parametrize("text", ["", "5", "5:", "0:" + "0" * 64, "x:" + "0" * 64, "5:" + "g" * 64])
def test_a_witness_in_another_form_is_bad_usage(text: str) -> None:
    assert command("verify_history", "--witness", text).status == 2


def test_a_registry_set_back_as_a_whole_is_found_by_a_later_head(past: None, tmp_path: Path) -> None:
    with set_back(tmp_path):
        moved("S1", CaseState.LOCKED)
        later = str(Head.objects.get())
    assert command("verify_history").status == 0
    outcome = command("verify_history", "--witness", later)
    assert outcome.status == 1
    assert "the registry was set back" in outcome.err


def test_a_chain_key_that_is_gone_is_named(past: None, settings) -> None:
    settings.CHAIN_KEYS = settings.CHAIN_KEYS.replace("test-chain", "newer")
    outcome = command("verify_history")
    assert outcome.status == 1
    assert "test-chain" in outcome.err


def test_a_migration_that_was_not_applied_is_a_sentence() -> None:
    with mock.patch.object(
        MigrationExecutor, "migration_plan", return_value=[("registry.0002_later", False)]
    ):
        outcome = command("verify_history")
    assert outcome.status == 1
    assert "registry.0002_later has not been applied" in outcome.err


def test_a_save_during_the_check_neither_waits_nor_disturbs_it(past: None) -> None:
    head = str(Head.objects.get())
    real = guards.missing

    def save_meanwhile() -> list[str]:
        answer = real()
        in_a_thread(lambda: moved("S1", CaseState.LOCKED))
        return answer

    with mock.patch.object(guards, "missing", save_meanwhile):
        assert command("verify_history").last == head
    assert str(Head.objects.get()) != head
