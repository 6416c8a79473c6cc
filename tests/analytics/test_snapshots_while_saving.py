"""Snapshots made while two people save at once: each equals a recount of the documents as of its own entry."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from threading import Thread
from typing import Any

import pytest
from django.db import connection

from analytics import snapshots, summaries
from analytics.cohorts import Filters, kept
from registry.canonical import read
from registry.models import Case, Head, JournalEntry, Version
from registry.recording.cases import amend_case, set_state, submit_case
from registry.recording.undoing import undo_import
from registry.terms import CaseState
from registry.versions import version_text
from tests.analytics import recount
from tests.analytics.builders import EVERYTHING, add_sites, catalogue, take, uses
from tests.analytics.invented import CLASSES, SITES, invented_cases, invented_uses

pytestmark = [pytest.mark.data, pytest.mark.django_db(transaction=True)]

Json = dict[str, Any]
TURNS = 12


@pytest.fixture
def registry(transactional_db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(snapshots, "LARGE", 1)
    add_sites(*SITES)
    catalogue(*(f"Maker,{model},A name,{device_class}" for model, device_class in CLASSES.items()))
    uses(*(f"{site},{model},{month},{n}" for (site, model, month), n in invented_uses(1).items()))
    take(*invented_cases(60, seed=1))


def submits_amends_and_withdraws() -> None:
    """Each turn adds a case, and changes, withdraws or brings back others."""
    mine = [{**one, "id": f"by-hand-{one['id']}"} for one in invented_cases(TURNS, seed=21)]
    others = [{**one, "id": f"by-hand-{one['id']}"} for one in invented_cases(TURNS, seed=22)]
    for turn, (document, other) in enumerate(zip(mine, others, strict=True)):
        case = submit_case(document, by=None)
        other = {**other, "id": document["id"], "site": document["site"]}
        case = amend_case(case, other, version=case.version, reason="another look", by=None)
        if turn % 2:
            case = _state(case, CaseState.WITHDRAWN)
        if turn % 4 == 1:
            _state(case, CaseState.SUBMITTED)


def _state(case: Case, state: CaseState) -> Case:
    return set_state(case, state, version=case.version, reason="a reason", by=None, source="command")


def imports_and_takes_back() -> None:
    """Each turn imports new cases and amended ones in one go; every other import is undone."""
    for turn in range(TURNS):
        new = [{**one, "id": f"file-{turn}-{one['id']}"} for one in invented_cases(6, seed=40 + turn)]
        first = {(one["site"], one["id"]) for one in invented_cases(60, seed=1)}
        again = [one for one in invented_cases(60, seed=60 + turn) if (one["site"], one["id"]) in first][:10]
        batch = take(*new, *again, amend="a second file").batch
        if turn % 2:
            assert batch is not None
            undo_import(batch, reason="the wrong file", by=None)


def documents_at(number: int) -> list[Json]:
    """The documents that counted as of an entry of the journal."""
    last: dict[int, Json] = {}
    for case, text in JournalEntry.objects.filter(
        pk__lte=number, case__isnull=False
    ).order_by("pk").values_list("case_id", "text"):  # fmt: skip
        last[case] = read(text)
    counted = {
        case: entry["version"]
        for case, entry in last.items()
        if entry["state"] in (CaseState.SUBMITTED, CaseState.LOCKED)
    }
    versions = Version.objects.filter(case_id__in=counted)
    return [
        dict(version_text(version.text).clear)
        for version in versions
        if counted[version.case_id] == version.number
    ]


def figures() -> Json:
    """What a reader of the snapshot sees, written as the recount writes it."""
    with kept.reading():
        tables = {
            by_attempt: summaries.techniques(EVERYTHING, Filters(), by_attempt=by_attempt)
            for by_attempt in (False, True)
        }
        devices = summaries.devices(EVERYTHING, Filters())
    keys = ("technique", "situation_faced", "aim")
    numbers = (
        *("attempts", *recount.RESULTS, "resolved_with_injury", "resolved_with_new_complication"),
        *("complications", "complications_resolved", "cases"),
    )
    of_devices = ("device_model", "device_class", "events", "secondary_events", "uses", "events_left_out")
    return {
        "together": _cells(tables[False].rows, (*keys, *numbers)),
        "by attempt": _cells(tables[True].rows, (*keys, "attempt_in_situation", *numbers)),
        "left out": Counter(
            {str(one.reason): one.count for one in tables[False].left_out if one.of == "complications"}
        ),
        "devices": _cells(devices.rows, of_devices),
    }


def _cells(rows: Any, columns: tuple[str, ...]) -> list[list[str]]:
    values = [[getattr(row, column) for column in columns] for row in rows]
    return [["" if value is None else str(value) for value in row] for row in values]


def recounted(cases: list[Json]) -> Json:
    return {
        "together": recount.techniques(cases),
        "by attempt": recount.techniques(cases, by_attempt=True),
        "left out": recount.left_out(cases, recount.why_not),
        "devices": recount.devices(cases, invented_uses(1), CLASSES),
    }


def at_once(*works: Callable[[], None]) -> tuple[list[Thread], list[BaseException]]:
    """Start each in a thread with a connection of its own."""
    failed: list[BaseException] = []

    def run(work: Callable[[], None]) -> None:
        try:
            work()
        except BaseException as error:
            failed.append(error)
        finally:
            connection.close()

    threads = [Thread(target=run, args=(work,)) for work in works]
    for thread in threads:
        thread.start()
    return threads, failed


def test_snapshots_made_while_two_save_at_once_equal_a_recount_at_their_own_entry(registry: None) -> None:
    begun = Head.objects.get().number
    threads, failed = at_once(submits_amends_and_withdraws, imports_and_takes_back)
    made: dict[int, Json] = {}
    while any(thread.is_alive() for thread in threads):
        number = snapshots.rebuild()
        made[number] = figures()
    for thread in threads:
        thread.join()
    assert not failed
    ended = snapshots.rebuild()
    made[ended] = figures()
    assert ended == Head.objects.get().number
    assert sum(begun < number < ended for number in made) >= 3
    for number, found in made.items():
        assert found == recounted(documents_at(number)), f"the snapshot as of entry {number}"
