"""One transaction for a change: nothing lost, nothing halved, whoever else is saving at the same moment."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any

import pytest
from django.db import DataError, IntegrityError, OperationalError, connection

from registry.access import opened_document
from registry.journal import COMMAND_LINE, Event
from registry.models import Case, Head, JournalEntry, Look, Site, Staff, Version
from registry.recording.cases import amend_case, submit_case
from registry.recording.change import Change, NotSaved, recorded
from registry.recording.sites import add_site
from registry.terms import CaseState
from tests.builders import changed
from tests.commands import command
from tests.registry.histories import a_patient, in_a_thread, in_threads, look, moved, the_case

pytestmark = [pytest.mark.data, pytest.mark.django_db(transaction=True)]


@pytest.fixture
def north() -> Site:
    return add_site("north", "North", by=None)


def refusals(answers: list[Any]) -> list[str]:
    """What was refused; anything that failed otherwise fails the test."""
    assert not [
        answer for answer in answers if isinstance(answer, Exception) and not isinstance(answer, NotSaved)
    ]
    return [str(answer) for answer in answers if isinstance(answer, NotSaved)]


def test_of_two_who_amend_the_same_version_one_is_refused_by_name(north: Site) -> None:
    submit_case(a_patient("N-1", "NM 1"), by=None)
    case = the_case("N-1")
    works = [
        partial(
            amend_case,
            case,
            changed(a_patient("N-1", "NM 1"), "patient.age", age),
            version=1,
            reason="age",
            by=None,
        )
        for age in (60, 80)
    ]
    (refused,) = refusals(in_threads(*works))
    assert "N-1" in refused
    assert "changed by somebody else meanwhile" in refused
    assert the_case("N-1").version == 2
    document: Any = opened_document(the_case("N-1"))
    assert document["patient"]["age"] == the_case("N-1").patient_age
    assert command("verify_history").status == 0


def test_of_two_who_submit_the_same_id_one_is_refused_and_leaves_nothing(north: Site) -> None:
    works = [partial(submit_case, a_patient("N-1", f"NM {number}"), by=None) for number in range(2)]
    assert len(refusals(in_threads(*works))) == 1
    assert (Case.objects.count(), Version.objects.count()) == (1, 1)
    assert command("verify_history").status == 0


def test_twenty_who_save_at_the_same_moment_all_come_through_and_the_chain_is_whole(north: Site) -> None:
    works = [partial(submit_case, a_patient(f"N-{number}", f"NM {number}"), by=None) for number in range(20)]
    assert refusals(in_threads(*works)) == []
    assert Case.objects.count() == 20
    assert list(JournalEntry.objects.order_by("pk").values_list("pk", flat=True)) == list(range(1, 22))
    assert command("verify_history").status == 0


def with_staff(document_id: str, *codes: str) -> dict[str, Any]:
    staff = [{"person": code, "role": "first_operator"} for code in codes]
    return changed(a_patient(document_id, None), "procedure.staff", staff)


def test_two_who_bring_the_same_new_staff_codes_in_different_orders_do_not_wait_for_each_other(
    north: Site,
) -> None:
    codes = [f"p-{number:03}" for number in range(30)]
    works = [
        partial(submit_case, with_staff(f"N-{number}", *(codes if number % 2 else reversed(codes))), by=None)
        for number in range(6)
    ]
    assert refusals(in_threads(*works)) == []
    assert Staff.objects.count() == 30
    assert command("verify_history").status == 0


def test_looks_of_others_are_sealed_once_each_while_people_save(north: Site) -> None:
    submit_case(a_patient("N-0", "NM 0"), by=None)
    case = the_case("N-0")

    def looking() -> None:
        for _ in range(10):
            look(case)

    works = [partial(submit_case, a_patient(f"N-{number}", None), by=None) for number in range(1, 9)]
    assert refusals(in_threads(*works, looking, looking)) == []
    moved("N-0", CaseState.LOCKED)
    assert Look.objects.count() == 20
    assert Head.objects.get().seal == Look.objects.latest("pk").pk
    assert command("verify_history").status == 0


class Deadlock(Exception):
    """As the driver of PostgreSQL reports one."""

    sqlstate = "40P01"


def deadlocking(times: int) -> tuple[Callable[[Change], int], list[int]]:
    """Work that enters an event and then fails so many times; and what was entered before each call of it."""
    calls: list[int] = []

    def work(change: Change) -> int:
        calls.append(len(change.events))
        change.enter(Event("site_added", particulars={"site": "south"}))
        Site.objects.create(code="south", name="South")
        if len(calls) <= times:
            raise OperationalError("deadlock detected: a row is locked") from Deadlock()
        return len(calls)

    return work, calls


def test_a_deadlock_is_tried_again_from_the_start(north: Site) -> None:
    work, calls = deadlocking(2)
    assert recorded(work, who=COMMAND_LINE) == 3
    assert calls == [0, 0, 0]
    assert JournalEntry.objects.count() == 2


def test_three_deadlocks_are_a_sentence_and_nothing_is_changed(north: Site) -> None:
    work, calls = deadlocking(3)
    with pytest.raises(NotSaved, match="busy"):
        recorded(work, who=COMMAND_LINE)
    assert len(calls) == 3
    assert not Site.objects.filter(code="south").exists()


def test_another_failure_of_the_database_is_not_tried_again(north: Site) -> None:
    calls = []

    def work(change: Change) -> None:
        calls.append(change)
        raise OperationalError("disk I/O error")

    with pytest.raises(OperationalError):
        recorded(work, who=COMMAND_LINE)
    assert len(calls) == 1


@pytest.mark.parametrize("error", [IntegrityError, DataError])
def test_the_databases_own_words_which_hold_values_go_no_further(north: Site, error: type[Exception]) -> None:
    def work(change: Change) -> None:
        raise error("Key (lookup)=(NM 1) already exists")

    with pytest.raises(NotSaved) as caught:
        recorded(work, who=COMMAND_LINE)
    assert "NM 1" not in str(caught.value)
    assert caught.value.__cause__ is None
    assert caught.value.__suppress_context__


def test_who_must_wait_too_long_is_told_that_the_registry_is_busy(north: Site) -> None:
    """SQLite waits for the one who writes as long as it is told to; PostgreSQL as long as `lock_timeout` says."""

    def impatient() -> None:
        with connection.cursor() as cursor:
            if connection.vendor == "sqlite":
                cursor.execute("PRAGMA busy_timeout = 50")
            else:
                cursor.execute("SET lock_timeout = '50ms'")
        submit_case(a_patient("N-1", None), by=None)

    def work(change: Change) -> None:
        Head.objects.select_for_update().get()
        with pytest.raises(NotSaved, match="busy with another change"):
            in_a_thread(impatient)

    recorded(work, who=COMMAND_LINE)
    assert not Case.objects.exists()
