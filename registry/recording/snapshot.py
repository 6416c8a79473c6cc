"""One unmoving view of the whole database, for reading much of it while others go on saving."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection

_BEGIN = {"sqlite": "BEGIN DEFERRED", "postgresql": "BEGIN ISOLATION LEVEL REPEATABLE READ READ ONLY"}


@contextmanager
def snapshot() -> Iterator[None]:
    """Everything read inside is as it was at the first read. No `atomic` inside or around it.

    `atomic` would take SQLite's write lock and keep everybody from saving. Raises RuntimeError inside a transaction.
    """
    connection.ensure_connection()
    if connection.in_atomic_block:
        raise RuntimeError("a snapshot cannot be opened inside a transaction")
    with connection.cursor() as cursor:
        cursor.execute(_BEGIN[connection.vendor])
    try:
        yield
    finally:
        if connection.connection is not None:
            with connection.cursor() as cursor:
                cursor.execute("ROLLBACK")
