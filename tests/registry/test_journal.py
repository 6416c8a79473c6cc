"""The journal: every change is entered once, in order, by codes only, chained to the entry before it."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from registry.canonical import read, write
from registry.journal import COMMAND_LINE, EVENTS, Event, moment, seal_of
from registry.models import Head, JournalEntry, Look, Version
from registry.recording.cases import amend_case, submit_case
from registry.recording.change import Change, NotSaved, recorded
from registry.recording.sites import add_site, give_role
from registry.sealing import chain_mac, digest
from registry.terms import CaseState, Role
from tests.builders import changed
from tests.commands import command
from tests.registry.histories import a_patient, look, moved, the_case

pytestmark = [pytest.mark.data, pytest.mark.django_db]

ROOT = Path(__file__).parents[2]


@pytest.fixture
def a_life() -> None:
    """A case submitted, amended for a typed reason, locked, unlocked, withdrawn and brought back."""
    add_site("north", "North", by=None)
    submit_case(a_patient("N-1", "NM 1"), by=None)
    other = changed(a_patient("N-1", "NM 1"), "patient.age", 70)
    amend_case(the_case("N-1"), other, version=1, reason="Read the NM 1 chart", by=None)
    for state in (CaseState.LOCKED, CaseState.SUBMITTED, CaseState.WITHDRAWN, CaseState.SUBMITTED):
        moved("N-1", state)


def entries() -> list[JournalEntry]:
    return list(JournalEntry.objects.order_by("pk"))


def test_entries_are_numbered_without_gaps_and_the_head_is_the_last(a_life: None) -> None:
    assert [entry.pk for entry in entries()] == list(range(1, 8))
    assert str(Head.objects.get()) == f"7:{entries()[-1].mac}"


def test_each_step_of_a_life_is_one_entry_with_its_version_and_the_state_after(a_life: None) -> None:
    told = [
        (members["what"], members["version"], members["state"])
        for entry in entries()[1:]
        if (members := read(entry.text))
    ]
    assert told == [
        ("case_created", 1, "submitted"),
        ("case_amended", 2, "submitted"),
        ("case_locked", 3, "locked"),
        ("case_unlocked", 4, "submitted"),
        ("case_withdrawn", 5, "withdrawn"),
        ("case_brought_back", 6, "submitted"),
    ]  # fmt: skip


def test_an_entry_vouches_for_the_text_of_its_version(a_life: None) -> None:
    for version in Version.objects.all():
        entry = next(entry for entry in entries() if read(entry.text)["version"] == version.number)
        assert read(entry.text)["sha256"] == digest(version.text)


def test_an_entry_is_canonical_text_of_what_stands_in_its_columns(a_life: None) -> None:
    for entry in entries():
        members = read(entry.text)
        assert entry.text == write(members)
        assert (members["number"], members["what"]) == (entry.pk, entry.what)
        assert members["at"] == moment(entry.at)
        assert members["case"] == (entry.case.code if entry.case else None)
        assert members["key"] == "test-chain"


def test_each_mac_is_made_from_the_one_before(a_life: None) -> None:
    before = ""
    for entry in entries():
        assert entry.mac == chain_mac("test-chain", before, entry.pk, entry.text)
        before = entry.mac


def test_times_run_in_the_order_of_the_numbers(a_life: None) -> None:
    times = [entry.at for entry in entries()]
    assert times == sorted(times)


def test_neither_a_reference_nor_a_typed_word_is_in_the_journal(a_life: None) -> None:
    everything = "".join(entry.text for entry in entries())
    assert not [word for word in ("NM 1", "chart", "as agreed", "Of N-1", "N-1") if word in everything]


def test_people_are_named_by_code(a_life: None) -> None:
    writer = give_role("writer@example.org", the_case("N-1").site, Role.OPERATOR, by=None)
    submit_case(a_patient("N-2", None), by=writer)
    last = entries()[-1]
    assert read(last.text)["who"] == writer.code
    assert read(entries()[0].text)["who"] == COMMAND_LINE
    assert not [entry for entry in entries() if "example.org" in entry.text]


def test_an_amendment_that_changes_nothing_leaves_no_trace(a_life: None) -> None:
    same = changed(a_patient("N-1", "NM 1"), "patient.age", 70)
    before = len(entries())
    amend_case(the_case("N-1"), same, version=6, reason="again", by=None)
    assert len(entries()) == before


def test_a_change_that_fails_leaves_neither_entry_nor_number(a_life: None) -> None:
    before = str(Head.objects.get())

    def fail(change: Change) -> None:
        change.enter(Event("site_added"))
        raise NotSaved("no")

    with pytest.raises(NotSaved):
        recorded(fail, who=COMMAND_LINE)
    assert (str(Head.objects.get()), len(entries())) == (before, 7)


def test_an_event_that_is_not_registered_is_refused(a_life: None) -> None:
    with pytest.raises(ValueError, match="case_beautified"):
        recorded(lambda change: change.enter(Event("case_beautified")), who=COMMAND_LINE)


def test_every_registered_event_is_written_somewhere() -> None:
    code = "".join(
        path.read_text(encoding="utf-8")
        for app in ("registry", "analytics", "casebook", "deploy", "fixtures")
        for path in (ROOT / app).rglob("*.py")
        if path.name != "journal.py"
    )
    assert [event for event in EVENTS if not re.search(rf'"{event}"', code)] == []


def test_the_first_entry_after_a_look_seals_it_and_the_next_does_not(a_life: None) -> None:
    look(the_case("N-1"))
    look(the_case("N-1"))
    moved("N-1", CaseState.LOCKED)
    moved("N-1", CaseState.SUBMITTED)
    sealing, after = (read(entry.text)["looks"] for entry in entries()[-2:])
    looks = Look.objects.order_by("pk")
    assert sealing == seal_of(looks)
    assert (sealing["count"], sealing["last"]) == (2, looks[1].pk)
    assert after is None
    assert Head.objects.get().seal == looks[1].pk


def test_an_export_is_entered_with_its_sites_and_the_number_of_cases(a_life: None, tmp_path: Path) -> None:
    command("export_cases", "--out", tmp_path / "out.jsonl")
    last = read(entries()[-1].text)
    assert (last["what"], last["particulars"]) == ("cases_exported", {"cases": 1, "sites": ["north"]})
    assert last["version"] is None
