"""Erasing a patient: the keys are gone, from the disk too; what is counted stays, and the history stays whole."""

from __future__ import annotations

import json
import os
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest
from django.db import connection
from django.db.models import F

from registry.access import data_key, opened_document, registry_id, scope_of_command_line
from registry.canonical import read
from registry.models import Case, DataKey, Draft, Head, JournalEntry, Patient, Person, Site, Version
from registry.recording import erasure, overwriting
from registry.recording.cases import BY_COMMAND, amend_case, set_state, submit_case
from registry.recording.change import NotSaved
from registry.recording.exports import export_lines
from registry.recording.sites import add_site
from registry.sealing import NotOpened, lookup, new_data_key, seal
from registry.terms import CaseState
from registry.versions import version_text
from tests.builders import changed
from tests.commands import Outcome, command, jsonl
from tests.registry.histories import a_patient, in_a_thread, moved, the_case

pytestmark = [pytest.mark.data, pytest.mark.django_db(transaction=True)]


@pytest.fixture(autouse=True)
def list_of_erasures(settings, tmp_path: Path) -> Path:
    settings.ERASURES_FILE = str(tmp_path / "list" / "erasures.jsonl")
    return Path(settings.ERASURES_FILE)


@pytest.fixture
def patients() -> None:
    """One patient with two cases at north, one of the same reference at harbour, two other patients."""
    for code in ("north", "harbour"):
        add_site(code, code.title(), by=None)
    submit_case(a_patient("A-1", "NM 10"), by=None)
    submit_case(a_patient("A-2", "nm10"), by=None)
    submit_case(a_patient("B-1", "NM 11"), by=None)
    submit_case(a_patient("C-1", None), by=None)
    submit_case(a_patient("H-1", "NM 10", site="harbour"), by=None)


def a_draft(code: str, reference: str | None, case: Case | None = None) -> Draft:
    site = Site.objects.get(code="north")
    wrapped, key = new_data_key(code)
    DataKey.objects.create(
        id=wrapped.id, owner=code, wrapping_key=wrapped.wrapping_key, wrapped=wrapped.wrapped
    )
    return Draft.objects.create(
        code=code,
        site=site,
        person=Person.objects.get_or_create(email="writer@example.org", defaults={"code": "WRITER001"})[0],
        case=case,
        key=wrapped.id,
        sealed=seal({"/narrative": "Half a sentence"}, key, registry_id(), code, "draft"),
        lookup=lookup("north", reference) if reference else None,
    )


def erase(document_id: str) -> Outcome:
    return command("erase_patient", "--site", "north", "--id", document_id)


def test_every_case_of_the_same_reference_at_the_site_is_erased_and_no_other(patients: None) -> None:
    outcome = erase("A-1")
    assert (outcome.status, outcome.out.splitlines()[0]) == (0, "erased at north: A-1, A-2")
    assert set(Case.objects.filter(erased=True).values_list("document_id", flat=True)) == {"A-1", "A-2"}
    assert command("verify_history").status == 0


def test_what_still_holds_the_keys_is_said(patients: None) -> None:
    out = erase("A-1").out
    assert "Still holding the keys: every backup" in out
    assert ("write-ahead log archive" in out) == (connection.vendor == "postgresql")


def test_a_case_without_a_reference_is_erased_alone(patients: None) -> None:
    submit_case(a_patient("C-2", None), by=None)
    erase("C-1")
    assert list(Case.objects.filter(erased=True).values_list("document_id", flat=True)) == ["C-1"]


def test_old_versions_stay_verifiable_and_can_no_longer_be_read(patients: None) -> None:
    case = the_case("A-1")
    amend_case(case, a_patient("A-1", "NM 10", status="short"), version=1, reason="short", by=None)
    erase("A-1")
    case = the_case("A-1")
    assert [version_text(version.text).sealed is None for version in case.versions.order_by("number")] == [
        False, False, True,
    ]  # fmt: skip
    assert not DataKey.objects.filter(owner=case.code).exists()
    first = version_text(case.versions.get(number=1).text)
    with pytest.raises(NotOpened):
        data_key(first.key)
    assert command("verify_history").status == 0


def test_neither_blob_nor_look_up_is_left_in_the_patient_row(patients: None) -> None:
    erase("A-1")
    patient = Patient.objects.get(case=the_case("A-1"))
    assert (patient.key, patient.sealed, patient.lookup) == (None, None, None)


def test_the_journal_says_which_cases_were_erased_and_nothing_of_the_patient(patients: None) -> None:
    erase("A-1")
    entries = JournalEntry.objects.filter(what="case_erased").order_by("pk")
    assert [read(entry.text)["case"] for entry in entries] == [the_case("A-1").code, the_case("A-2").code]
    assert not any("NM" in entry.text or "Of A" in entry.text for entry in entries)


def test_drafts_of_the_patient_and_of_the_case_are_deleted_whole(patients: None) -> None:
    a_draft("DRAFT0001", "nm 10")
    a_draft("DRAFT0002", "NM 99", case=the_case("A-2"))
    other = a_draft("DRAFT0003", "NM 11")
    assert "A-1, A-2, and 2 drafts" in erase("A-1").out
    assert list(Draft.objects.values_list("code", flat=True)) == [other.code]
    assert not DataKey.objects.filter(owner__in=["DRAFT0001", "DRAFT0002"]).exists()
    assert DataKey.objects.filter(owner="DRAFT0003").exists()
    assert command("verify_history").status == 0


def test_a_draft_that_borrows_the_key_of_another_patients_case_does_not_take_it_along(patients: None) -> None:
    draft = a_draft("DRAFT0001", "NM 10")
    other = the_case("B-1")
    Draft.objects.filter(pk=draft.pk).update(key=Patient.objects.get(case=other).key)
    erase("A-1")
    assert opened_document(other)["narrative"] == "Of B-1."


def test_a_second_erasure_says_so_and_changes_nothing(patients: None) -> None:
    erase("A-1")
    head = str(Head.objects.get())
    outcome = erase("A-2")
    assert (outcome.status, outcome.out.splitlines()[0]) == (0, "the case A-2 of north is erased already")
    assert str(Head.objects.get()) == head


@pytest.mark.parametrize(("site", "id"), [("south", "A-1"), ("north", "A-9"), ("harbour", "A-1")])
def test_a_case_that_is_not_there_is_a_sentence(patients: None, site: str, id: str) -> None:
    outcome = command("erase_patient", "--site", site, "--id", id)
    assert outcome.status == 1
    assert (id if site != "south" else site) in outcome.err


@pytest.mark.parametrize("state", [CaseState.LOCKED, CaseState.WITHDRAWN])
def test_locked_and_withdrawn_cases_are_erased_and_stay_what_they_were(
    patients: None, state: CaseState
) -> None:
    moved("A-1", state)
    assert erase("A-1").status == 0
    case = the_case("A-1")
    assert (case.state, case.erased) == (state, True)
    assert command("verify_history").status == 0


def test_the_state_of_an_erased_case_can_be_changed_without_any_key(patients: None, settings) -> None:
    erase("A-1")
    settings.WRAPPING_KEYS = settings.WRAPPING_KEYS.replace("test-wrapping", "another")
    case = the_case("A-1")
    set_state(case, CaseState.LOCKED, version=case.version, reason="done", by=None, source=BY_COMMAND)
    assert (the_case("A-1").state, the_case("A-1").erased) == (CaseState.LOCKED, True)


def test_an_erased_case_cannot_be_amended(patients: None) -> None:
    erase("A-1")
    with pytest.raises(NotSaved, match="erased"):
        amend_case(the_case("A-1"), a_patient("A-1", "NM 10"), version=2, reason="back", by=None)


def test_what_was_counted_is_counted_after_the_erasure(patients: None) -> None:
    def attempts() -> list[tuple[object, ...]]:
        rows = connection.cursor()
        rows.execute(
            "SELECT technique, attempt_result, attempt_in_situation, acts_counted FROM registry_action ORDER BY 1, 2, 3"
        )
        return rows.fetchall()

    before = attempts()
    erase("A-1")
    assert attempts() == before


def erased_export(document_id: str) -> dict:
    lines = [read(line) for line in export_lines(scope_of_command_line())]
    return next(line for line in lines if line["id"] == document_id)


def with_notes_that_rules_demand() -> dict:
    document = a_patient("N-1", "NM 20")
    document["complications"][0]["situation"] = "other"
    document["complications"][0]["note"] = "situation: the wire tied itself into a bow"
    document["complications"][0]["mechanisms"] = ["calcium"]
    document["complications"][0]["device"] |= {"serial": "S 1", "udi": "(01)09506000117843(21)S1"}
    document["lesions"] = [{"ref": "L1", "calcification": "other", "note": "like an eggshell"}]
    document["patient"] |= {"sex": "other"}
    return document


def test_the_export_of_an_erased_case_has_only_the_notes_that_rules_demand(patients: None) -> None:
    submit_case(with_notes_that_rules_demand(), by=None)
    erase("N-1")
    document = erased_export("N-1")
    assert document["complications"][0]["note"] == "situation: erased"
    assert document["lesions"][0]["note"] == "erased"
    assert "local_reference" not in document["patient"]
    assert not {"narrative", "note"} & document.keys()
    assert not {"serial", "udi", "gtin"} & document["complications"][0]["device"].keys()


def test_the_export_of_an_erased_case_is_unchanged_when_imported_and_anything_else_is_refused(
    patients: None, tmp_path: Path
) -> None:
    submit_case(with_notes_that_rules_demand(), by=None)
    erase("N-1")
    exported = erased_export("N-1")
    assert command("import_cases", jsonl(tmp_path / "same.jsonl", [exported])).last == (
        "created 0, unchanged 1, amended 0"
    )
    for document in (with_notes_that_rules_demand(), changed(exported, "narrative", "back")):
        for options in ((), ("--amend", "back again")):
            outcome = command("import_cases", jsonl(tmp_path / "other.jsonl", [document]), *options)
            assert outcome.status == 1
            assert "is erased" in outcome.err


def test_the_list_of_erasures_names_codes_and_nobody(patients: None, list_of_erasures: Path) -> None:
    a_draft("DRAFT0001", "NM 10")
    erase("A-1")
    (line,) = list_of_erasures.read_text(encoding="utf-8").splitlines()
    listed = json.loads(line)
    assert listed["registry"] == registry_id()
    assert listed["site"] == "north"
    assert set(listed["cases"]) == {the_case("A-1").code, the_case("A-2").code}
    assert listed["drafts"] == ["DRAFT0001"]
    assert listed["at"].endswith("+00:00")
    assert "NM" not in line
    assert list_of_erasures.stat().st_mode & 0o077 == 0


def test_nothing_is_erased_where_the_list_cannot_be_written(patients: None, settings, tmp_path: Path) -> None:
    (tmp_path / "a file").write_text("", encoding="utf-8")
    settings.ERASURES_FILE = str(tmp_path / "a file" / "erasures.jsonl")
    outcome = erase("A-1")
    assert outcome.status == 1
    assert "nothing was erased" in outcome.err
    assert not Case.objects.filter(erased=True).exists()


def test_nothing_is_listed_or_erased_where_nothing_can_be_entered(
    patients: None, settings, list_of_erasures: Path
) -> None:
    settings.CHAIN_KEYS = ""
    outcome = erase("A-1")
    assert (outcome.status, "CHAIN_KEYS" in outcome.err) == (1, True)
    assert not list_of_erasures.exists()
    assert not Case.objects.filter(erased=True).exists()


def test_a_key_that_was_put_back_is_found(patients: None) -> None:
    key = DataKey.objects.get(owner=the_case("A-1").code)
    erase("A-1")
    key.save(force_insert=True)
    outcome = command("verify_history")
    assert outcome.status == 1
    assert f"{the_case('A-1').code}): the case is erased, but a data key of it is there" in outcome.err


def test_a_look_up_that_was_put_back_is_found(patients: None) -> None:
    erase("A-1")
    Patient.objects.filter(case=the_case("A-1")).update(lookup=lookup("north", "NM 10"))
    outcome = command("verify_history")
    assert outcome.status == 1
    assert "something sealed is left of it" in outcome.err


def test_a_draft_that_lost_its_key_is_found(patients: None) -> None:
    a_draft("DRAFT0001", "NM 11")
    assert command("verify_history").status == 0
    DataKey.objects.filter(owner="DRAFT0001").delete()
    outcome = command("verify_history")
    assert (outcome.status, "the draft DRAFT0001 has lost its data key" in outcome.err) == (1, True)


def files_of_the_keys() -> list[Path]:
    """Where the disk holds the table of keys: SQLite's file and its log; PostgreSQL's file of that table alone."""
    if connection.vendor == "sqlite":
        database = Path(str(connection.settings_dict["NAME"]))
        return [database, database.with_name(database.name + "-wal")]
    with connection.cursor() as cursor:
        cursor.execute("CHECKPOINT")
        cursor.execute("SELECT current_setting('data_directory'), pg_relation_filepath('registry_datakey')")
        folder, path = cursor.fetchone()
    return [Path(folder) / path]


def on_the_disk(wrapped: str, files: list[Path]) -> bool:
    return any(wrapped.encode() in file.read_bytes() for file in files if file.exists())


def test_the_wrapped_keys_are_no_longer_on_the_disk(patients: None) -> None:
    erased = [DataKey.objects.get(owner=the_case(name).code).wrapped for name in ("A-1", "A-2")]
    kept = DataKey.objects.get(owner=the_case("B-1").code).wrapped
    before = files_of_the_keys()
    assert all(on_the_disk(wrapped, before) for wrapped in [*erased, kept])
    assert erase("A-1").status == 0
    after = files_of_the_keys()
    assert on_the_disk(kept, after)
    assert not any(on_the_disk(wrapped, [*before, *after]) for wrapped in erased)


@contextmanager
def a_reader() -> Iterator[None]:
    """Somebody reads the registry and has not finished."""
    with connection.cursor() as cursor:
        cursor.execute("BEGIN" if connection.vendor == "sqlite" else "BEGIN ISOLATION LEVEL REPEATABLE READ")
        cursor.execute("SELECT count(*) FROM registry_datakey")
        cursor.fetchone()
        yield
        cursor.execute("ROLLBACK")


@contextmanager
def a_transaction_in_another_database() -> Iterator[None]:
    """Somebody writes to a database beside the registry's, on the same server."""
    other = connection.copy()
    other.settings_dict = {**other.settings_dict, "NAME": "postgres"}
    with other.cursor() as cursor:
        cursor.execute("BEGIN")
        cursor.execute("SELECT pg_current_xact_id()")
        yield
        cursor.execute("ROLLBACK")
    other.close()


HOLDERS = [a_reader, *([a_transaction_in_another_database] if os.environ.get("TEST_DATABASE_URL") else [])]


@pytest.mark.parametrize("holder", HOLDERS)
def test_who_holds_it_up_leaves_the_erasure_unfinished_on_the_disk_until_it_is_run_again(
    patients: None, monkeypatch: pytest.MonkeyPatch, holder: Callable[[], AbstractContextManager[None]]
) -> None:
    wrapped = DataKey.objects.get(owner=the_case("A-1").code).wrapped
    with monkeypatch.context() as impatient, holder():
        impatient.setattr(overwriting, "TRIES", 2)
        impatient.setattr(overwriting, "PAUSE", 0.1)
        outcome = in_a_thread(lambda: erase("A-1"))
    assert outcome.status == 1
    assert "The erasure is done, but not on the disk" in outcome.err
    assert the_case("A-1").erased
    again = erase("A-1")
    assert (again.status, again.out.splitlines()[0]) == (0, "the case A-1 of north is erased already")
    assert not on_the_disk(wrapped, files_of_the_keys())


def test_a_case_that_was_saved_meanwhile_is_refused_by_name_and_nothing_is_erased(
    patients: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    def save_first(**_: object) -> None:
        in_a_thread(lambda: moved("A-2", CaseState.LOCKED))

    monkeypatch.setattr(erasure, "list_erasure", save_first)
    outcome = erase("A-1")
    assert outcome.status == 1
    assert "A-2" in outcome.err
    assert not Case.objects.filter(erased=True).exists()
    assert Version.objects.filter(number=F("case__version")).count() == 5
