"""Taking a new wrapping key into use: every data key is wrapped anew, and the old one can be taken away."""

from __future__ import annotations

import base64

import pytest

from registry.access import opened_document
from registry.canonical import read
from registry.models import Case, DataKey, JournalEntry
from registry.recording import rewrapping
from registry.recording.cases import submit_case
from registry.recording.sites import add_site
from tests.commands import command
from tests.registry.histories import a_patient, the_case

pytestmark = [pytest.mark.data, pytest.mark.django_db(transaction=True)]

NEW = "newer:" + base64.b64encode(b"n" * 32).decode()


@pytest.fixture
def five_cases() -> None:
    add_site("north", "North", by=None)
    for number in range(5):
        submit_case(a_patient(f"N-{number}", f"NM {number}"), by=None)


def test_every_key_is_wrapped_anew_and_the_old_wrapping_key_can_go(five_cases: None, settings) -> None:
    settings.WRAPPING_KEYS = f"{NEW},{settings.WRAPPING_KEYS}"
    outcome = command("rotate_keys")
    assert (outcome.status, outcome.last) == (0, "5 keys wrapped anew")
    settings.WRAPPING_KEYS = NEW
    assert [
        opened_document(case)["narrative"] for case in Case.objects.select_related("site").order_by("pk")
    ] == [f"Of N-{number}." for number in range(5)]
    assert command("verify_history").status == 0


def test_the_journal_has_counts_and_the_ids_of_both_keys(five_cases: None, settings) -> None:
    settings.WRAPPING_KEYS = f"{NEW},{settings.WRAPPING_KEYS}"
    command("rotate_keys")
    entry = JournalEntry.objects.latest("pk")
    assert entry.what == "keys_rotated"
    assert read(entry.text)["particulars"] == {"from": {"test-wrapping": 5}, "keys": 5, "to": "newer"}


def test_nothing_is_left_to_do_the_second_time(five_cases: None, settings) -> None:
    settings.WRAPPING_KEYS = f"{NEW},{settings.WRAPPING_KEYS}"
    command("rotate_keys")
    entries = JournalEntry.objects.count()
    assert command("rotate_keys").last == "0 keys wrapped anew"
    assert JournalEntry.objects.count() == entries


def test_many_keys_are_wrapped_in_several_changes(
    five_cases: None, settings, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(rewrapping, "BATCH", 2)
    settings.WRAPPING_KEYS = f"{NEW},{settings.WRAPPING_KEYS}"
    assert command("rotate_keys").last == "5 keys wrapped anew"
    entries = JournalEntry.objects.filter(what="keys_rotated").order_by("pk")
    assert [read(entry.text)["particulars"]["keys"] for entry in entries] == [2, 2, 1]


def test_an_old_key_that_is_not_at_hand_is_named_and_nothing_is_changed(five_cases: None, settings) -> None:
    settings.WRAPPING_KEYS = NEW
    outcome = command("rotate_keys")
    assert outcome.status == 1
    assert "test-wrapping" in outcome.err
    assert not DataKey.objects.filter(wrapping_key="newer").exists()


def test_a_key_that_does_not_open_is_named(five_cases: None, settings) -> None:
    code = the_case("N-1").code
    DataKey.objects.filter(owner=code).update(wrapped=DataKey.objects.get(owner=the_case("N-2").code).wrapped)
    settings.WRAPPING_KEYS = f"{NEW},{settings.WRAPPING_KEYS}"
    outcome = command("rotate_keys")
    assert outcome.status == 1
    assert code in outcome.err
