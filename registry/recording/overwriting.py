"""Taking deleted data keys off the disk: a database keeps the bytes of deleted rows in its files for a while."""

from __future__ import annotations

import time

from django.db import OperationalError, connection

from registry.models import DataKey

TRIES = 60
PAUSE = 0.5

_HOLDING = """
    SELECT count(*) FROM (
        SELECT pg_snapshot_xmin(pg_current_snapshot())::xid AS oldest
        UNION ALL SELECT backend_xmin FROM pg_stat_activity
            WHERE (datname = current_database() OR datname IS NULL) AND pid <> pg_backend_pid()
        UNION ALL SELECT xmin FROM pg_replication_slots
        UNION ALL SELECT transaction FROM pg_prepared_xacts WHERE database = current_database()
    ) AS others WHERE oldest IS NOT NULL AND age(oldest) >= age(%s::xid)
"""
"""What makes VACUUM keep rows that were deleted before a transaction: any older transaction on the server, whatever its
database, since VACUUM's own view begins there; and older views of this database."""


def overwritten() -> str:
    """Have the database overwrite its deleted keys; empty where that was done, else why it was not, as a sentence.

    Outside any transaction. Waits a while for others who hold it up.
    """
    if connection.in_atomic_block:
        raise RuntimeError("deleted keys cannot be overwritten inside a transaction")
    return _sqlite() if connection.vendor == "sqlite" else _postgresql()


def _sqlite() -> str:
    """VACUUM writes the file anew; the checkpoint brings it into place and cuts the write-ahead log."""
    with connection.cursor() as cursor:
        (patience,) = cursor.execute("PRAGMA busy_timeout").fetchone()
        cursor.execute(f"PRAGMA busy_timeout = {int(PAUSE * 1000)}")
        cursor.execute("PRAGMA secure_delete = ON")
        vacuumed = False
        try:
            for _ in range(TRIES):
                try:
                    if not vacuumed:
                        cursor.execute("VACUUM")
                        vacuumed = True
                    (busy, *_) = cursor.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
                except OperationalError:
                    busy = 1
                if not busy:
                    return ""
                time.sleep(PAUSE)
        finally:
            cursor.execute(f"PRAGMA busy_timeout = {int(patience)}")
    return "another connection went on reading or writing, so the database file and its log could not be overwritten"


def _postgresql() -> str:
    """VACUUM FULL writes the table into a new file, without the rows that nobody can see any more."""
    with connection.cursor() as cursor:
        cursor.execute("SELECT pg_current_xact_id()::xid::text")
        (now,) = cursor.fetchone()
        cursor.execute("SET lock_timeout = %s", [f"{int(PAUSE * 1000)}ms"])
        try:
            for _ in range(TRIES):
                cursor.execute(_HOLDING, [now])
                if not cursor.fetchone()[0]:
                    try:
                        cursor.execute(f"VACUUM FULL {DataKey._meta.db_table}")
                        return ""
                    except OperationalError as error:
                        if getattr(error.__cause__, "sqlstate", None) != "55P03":
                            raise
                time.sleep(PAUSE)
        finally:
            cursor.execute("RESET lock_timeout")
    return "another session of the server has had a transaction open since before, so deleted keys had to be kept"
