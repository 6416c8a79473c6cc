"""Importing a file of cases, beside writing the rows that it leaves once more by hand."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from django.db import connection, transaction
from django.db.models import Model

from registry.documents.tables import MODELS
from registry.models import Case, DataKey, JournalEntry, Patient, Version
from registry.recording.imports import Manner, Source, import_documents
from tests.bench.measuring import Measured

TABLES: tuple[type[Model], ...] = (Case, *MODELS, DataKey, Patient, Version, JournalEntry)
TARGETS = {"sqlite": 20.0, "postgresql": 6.0}
"""Writing alone costs SQLite next to nothing, so that the checks, the sealing and the ORM weigh more there."""


def imported(documents: Sequence[Mapping[str, Any]]) -> Iterator[Measured]:
    """The ratio, with checking and sealing told apart from writing."""
    started = time.perf_counter()
    applying: list[float] = []
    sources = (Source(str(number), document) for number, document in enumerate(documents))
    import_documents(
        sources,
        manner=Manner(),
        by=None,
        warn=lambda line: None,
        before_applying=lambda ready: applying.append(time.perf_counter()),
    )
    ended = time.perf_counter()
    floor = _rows_by_hand()
    per_case = 1000 / len(documents)
    yield Measured(
        "import",
        connection.vendor,
        len(documents),
        (ended - started) / floor,
        TARGETS[connection.vendor],
        f"reading, checks and sealing {(applying[0] - started) * per_case:.2f} ms a case, writing "
        f"{(ended - applying[0]) * per_case:.2f}, the same rows by hand {floor * per_case:.2f}",
    )


def _rows_by_hand() -> float:
    """Seconds to write all rows of the registry's tables into empty copies with the same checks and indexes."""
    with connection.cursor() as cursor:
        held = []
        for model in TABLES:
            table = model._meta.db_table
            cursor.execute(f"SELECT * FROM {table}")
            held.append((f"bench_{table}", cursor.fetchall()))
            _copy(cursor, table)
        start = time.perf_counter()
        with transaction.atomic():
            for copy, rows in held:
                if rows:
                    marks = ", ".join(["%s"] * len(rows[0]))
                    cursor.executemany(f"INSERT INTO {copy} VALUES ({marks})", rows)
        seconds = time.perf_counter() - start
        for copy, _ in reversed(held):
            cursor.execute(f"DROP TABLE {copy}")
    return seconds


def _copy(cursor: Any, table: str) -> None:
    """An empty table like another, its name with `bench_` before it."""
    if connection.vendor == "postgresql":
        cursor.execute(f"CREATE TABLE bench_{table} (LIKE {table} INCLUDING ALL)")
        return
    cursor.execute(
        "SELECT type, name, sql FROM sqlite_master WHERE tbl_name = %s AND type IN ('table', 'index') "
        "AND sql IS NOT NULL ORDER BY type DESC",
        [table],
    )
    for _, name, statement in cursor.fetchall():
        renamed = statement.replace(f'"{name}"', f'"bench_{name}"', 1).replace(
            f' ON "{table}"', f' ON "bench_{table}"'
        )
        cursor.execute(renamed)
