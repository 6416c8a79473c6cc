"""P1 to P3 and P14: the whole registry's techniques from a snapshot, and snapshots made while others save."""

from __future__ import annotations

import json
import multiprocessing
import time
from collections.abc import Iterator
from dataclasses import fields
from operator import attrgetter
from unittest import mock

from django.db import connection

from analytics import snapshots, summaries
from analytics.answers import DeviceRate, TechniqueRecord
from analytics.cohorts import Filters, kept
from analytics.signals import kept_charts
from analytics.statistics.proportions import wilson
from registry.access import Scope, scope_of_command_line
from registry.models import Site
from registry.recording.cases import amend_case, set_state, submit_case
from registry.recording.imports import Manner, Source, import_documents
from registry.recording.undoing import undo_import
from registry.terms import CaseState
from tests.bench.counting import by_hand
from tests.bench.growing import READ
from tests.bench.measuring import Measured, milliseconds, side_by_side
from tests.bench.saving import a_document

NAME = f"techniques by_attempt/{kept.WHOLE}"
SECONDS = 8.0
MILLION = 1_000_000
"""Cases from which on the targets of P1 and P3 hold: they are about growth."""
ROUNDS = 15
_cells = attrgetter(*(field.name for field in fields(TechniqueRecord)))
_device_cells = attrgetter(*(field.name for field in fields(DeviceRate)))


def from_snapshots(size: int) -> Iterator[Measured]:
    """The time to make one, and to answer from it, beside reading its text and beside the live statement."""
    with mock.patch.object(snapshots, "LARGE", 1):
        start = time.perf_counter()
        snapshots.rebuild()
        made = time.perf_counter() - start
        yield from _answering(size, f"made in {made:.1f} s")
    snapshots.rebuild()  # as the product has it at this size


def _answering(size: int, made: str) -> Iterator[Measured]:
    whole = scope_of_command_line()
    live = summaries.techniques(whole, Filters(), by_attempt=True)
    with snapshots.answering(Filters()) as as_of:
        assert as_of and summaries.techniques(whole, Filters(), by_attempt=True) == live
    ratio, detail = side_by_side(_techniques, _read_by_hand, rounds=ROUNDS)
    detail = f"{len(live.rows)} rows, to JSON; {made}; {detail}"
    yield Measured("P1", connection.vendor, size, ratio, 1.5 if size >= MILLION else None, detail)
    ratio, detail = side_by_side(_techniques, lambda: by_hand("", []), rounds=ROUNDS)
    target = 1 / 25 if size >= MILLION else None
    yield Measured("P3", connection.vendor, size, ratio, target, f"against the live statement; {detail}")
    for name, work in (("techniques", _techniques), ("devices", _devices)):
        took = milliseconds(work, ROUNDS)
        detail = "whole registry, from the snapshot to JSON; for P2"
        yield Measured(f"{READ}{name}", connection.vendor, size, took, None, detail)


def _techniques() -> str:
    with snapshots.answering(Filters()):
        answer = summaries.techniques(scope_of_command_line(), Filters(), by_attempt=True)
        return json.dumps([_cells(row) for row in answer.rows])


def _devices() -> str:
    with snapshots.answering(Filters()):
        return json.dumps(
            [_device_cells(row) for row in summaries.devices(scope_of_command_line(), Filters()).rows]
        )


def _read_by_hand() -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT content FROM analytics_snapshot WHERE name = %s", [NAME])
        held = json.loads(cursor.fetchone()[0])[""]
    resolved, attempts = (held["columns"].index(name) for name in ("resolved", "attempts"))
    rows = held["rows"]
    lower, upper = wilson([row[resolved] for row in rows], [row[attempts] for row in rows])
    return json.dumps(
        [[*row, *limits] for row, *limits in zip(rows, lower.tolist(), upper.tolist(), strict=True)]
    )


def while_saving(size: int, site: str) -> Iterator[Measured]:
    """Snapshots made while two processes save, amend, withdraw, import and take back; what then differs."""
    with mock.patch.object(snapshots, "LARGE", 1):
        yield _compared(size, site)


def _compared(size: int, site: str) -> Measured:
    connection.close()
    context = multiprocessing.get_context("fork")
    ends = time.monotonic() + SECONDS
    works = [context.Process(target=one, args=(site, ends)) for one in (_by_hand, _by_file)]
    for work in works:
        work.start()
    made = set()
    while any(work.is_alive() for work in works):
        made.add(snapshots.rebuild())
    for work in works:
        work.join()
    assert [work.exitcode for work in works] == [0, 0], "a writer failed"
    start = time.perf_counter()
    made.add(snapshots.rebuild())
    seconds = time.perf_counter() - start
    scopes = [
        scope_of_command_line(),
        *(Scope(frozenset([key])) for key in Site.objects.values_list("pk", flat=True)),
    ]
    compared = [
        question.together(kept.kept_of(name, scope)) == question.ask(scope)
        for name, question in kept.QUESTIONS.items()
        for scope in scopes
    ]
    with kept.reading():
        charts = kept_charts.watched(scopes[0], Filters())
    compared.append(charts == kept_charts.counted(scopes[0], Filters()))
    detail = (
        f"{compared.count(False)} of {len(compared)} answers differ from a recount; {len(made)} snapshots of different "
        f"entries made within {SECONDS:.0f} s of saving, the last in {seconds:.1f} s"
    )
    return Measured("P14", connection.vendor, size, compared.count(False), 0.0, detail)


def _by_hand(site: str, ends: float) -> None:
    connection.close()
    number = 0
    while time.monotonic() < ends:
        number += 1
        document = a_document(f"p14-{number}", site)
        case = submit_case(document, by=None)
        changed = {**document, "narrative": "Seen again."}
        case = amend_case(case, changed, version=case.version, reason="seen again", by=None)
        if number % 2:
            set_state(
                case, CaseState.WITHDRAWN, version=case.version, reason="twice", by=None, source="command"
            )


def _by_file(site: str, ends: float) -> None:
    connection.close()
    number = 0
    while time.monotonic() < ends:
        number += 1
        documents = [a_document(f"p14-file-{number}-{one}", site) for one in range(20)]
        sources = (Source(str(place), document) for place, document in enumerate(documents))
        batch = import_documents(sources, manner=Manner(), by=None, warn=lambda line: None).batch
        if number % 2:
            assert batch is not None
            undo_import(batch, reason="the wrong file", by=None)
