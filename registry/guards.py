"""Guards in the database against change of what is append-only: versions, journal, looks and the head.

They stand after every migrate and are compared by their full definition. Only a test's `flush` and a restore take
them down, and put them back.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connection

from registry.models import Head, JournalEntry, Look, Version

_APPEND_ONLY = {
    Version._meta.db_table: (("id",), ("case_id", "number")),
    JournalEntry._meta.db_table: (("id",),),
    Look._meta.db_table: (("id",),),
}
_HEAD = Head._meta.db_table
_MESSAGE = "this table is append-only"


def _sqlite() -> dict[str, str]:
    triggers = {}
    for table, unique in _APPEND_ONLY.items():
        for what in ("update", "delete"):
            triggers[f"{table}_no_{what}"] = (
                f"CREATE TRIGGER {table}_no_{what} BEFORE {what.upper()} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{_MESSAGE}'); END"
            )
        # INSERT OR REPLACE would go round the two above: it removes the row that is there without a delete.
        same = " OR ".join(
            "(" + " AND ".join(f"{column} = NEW.{column}" for column in columns) + ")" for columns in unique
        )
        triggers[f"{table}_no_replace"] = (
            f"CREATE TRIGGER {table}_no_replace BEFORE INSERT ON {table} "
            f"WHEN EXISTS (SELECT 1 FROM {table} WHERE {same}) "
            f"BEGIN SELECT RAISE(ABORT, '{_MESSAGE}'); END"
        )
    triggers[f"{_HEAD}_no_delete"] = (
        f"CREATE TRIGGER {_HEAD}_no_delete BEFORE DELETE ON {_HEAD} "
        f"BEGIN SELECT RAISE(ABORT, 'the head is never removed'); END"
    )
    triggers[f"{_HEAD}_no_replace"] = (
        f"CREATE TRIGGER {_HEAD}_no_replace BEFORE INSERT ON {_HEAD} WHEN EXISTS (SELECT 1 FROM {_HEAD}) "
        f"BEGIN SELECT RAISE(ABORT, 'there is one head'); END"
    )
    triggers[f"{_HEAD}_only_forward"] = (
        f"CREATE TRIGGER {_HEAD}_only_forward BEFORE UPDATE ON {_HEAD} "
        f"WHEN NEW.number <= OLD.number OR NEW.seal < OLD.seal OR NEW.registry <> OLD.registry "
        f"BEGIN SELECT RAISE(ABORT, 'the head moves only forward'); END"
    )
    return triggers


_REFUSE = "registry_refuse_change"
_FORWARD = "registry_head_only_forward"
_FUNCTIONS = {
    _REFUSE: f"BEGIN RAISE EXCEPTION '{_MESSAGE}'; END;",
    _FORWARD: (
        "BEGIN IF NEW.number <= OLD.number OR NEW.seal < OLD.seal OR NEW.registry <> OLD.registry THEN "
        "RAISE EXCEPTION 'the head moves only forward'; END IF; RETURN NEW; END;"
    ),
}


def _postgresql() -> dict[str, str]:
    triggers = {}
    for table in (*_APPEND_ONLY, _HEAD):
        rows = "DELETE" if table == _HEAD else "UPDATE OR DELETE"
        triggers[f"{table}_no_change"] = (
            f"CREATE TRIGGER {table}_no_change BEFORE {rows} ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {_REFUSE}()"
        )
        triggers[f"{table}_no_truncate"] = (
            f"CREATE TRIGGER {table}_no_truncate BEFORE TRUNCATE ON {table} "
            f"FOR EACH STATEMENT EXECUTE FUNCTION {_REFUSE}()"
        )
    triggers[f"{_HEAD}_only_forward"] = (
        f"CREATE TRIGGER {_HEAD}_only_forward BEFORE UPDATE ON {_HEAD} "
        f"FOR EACH ROW EXECUTE FUNCTION {_FORWARD}()"
    )
    return triggers


def _wanted() -> dict[str, str]:
    return _sqlite() if connection.vendor == "sqlite" else _postgresql()


def _table_of(trigger: str) -> str:
    return next(table for table in (*_APPEND_ONLY, _HEAD) if trigger.startswith(f"{table}_"))


def install() -> None:
    """Puts every guard in place anew."""
    remove()
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            for function, body in _FUNCTIONS.items():
                cursor.execute(
                    f"CREATE OR REPLACE FUNCTION {function}() RETURNS trigger LANGUAGE plpgsql AS $$ {body} $$"
                )
        for name, statement in _wanted().items():
            cursor.execute(statement)
            if connection.vendor == "postgresql":
                cursor.execute(f"ALTER TABLE {_table_of(name)} ENABLE ALWAYS TRIGGER {name}")


def remove() -> None:
    """Takes every guard down: for a restore, and for tests that flush."""
    with connection.cursor() as cursor:
        for name in _wanted():
            on = f" ON {_table_of(name)}" if connection.vendor == "postgresql" else ""
            cursor.execute(f"DROP TRIGGER IF EXISTS {name}{on}")


@contextmanager
def lifted() -> Iterator[None]:
    """The guards are down inside and back afterwards, whatever happens; in a transaction that fails, by its end."""
    remove()
    try:
        yield
    except BaseException:
        if not connection.in_atomic_block:
            install()
        raise
    install()


def names() -> list[str]:
    """The names of all guards of this engine."""
    return sorted(_wanted())


def missing() -> list[str]:
    """The names of guards that are not there, not as they should be, or switched off; none where all is well."""
    present = _present_sqlite() if connection.vendor == "sqlite" else _present_postgresql()
    return sorted(name for name, wanted in _wanted().items() if present.get(name) != _plain(wanted))


def _plain(statement: str) -> str:
    return " ".join(statement.replace('"', "").split()).lower()


def _present_sqlite() -> dict[str, str]:
    with connection.cursor() as cursor:
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        return {name: _plain(sql) for name, sql in cursor.fetchall()}


def _present_postgresql() -> dict[str, str]:
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT t.tgname, pg_get_triggerdef(t.oid), t.tgenabled, p.proname, p.prosrc "
            "FROM pg_trigger t JOIN pg_proc p ON p.oid = t.tgfoid "
            "WHERE NOT t.tgisinternal AND t.tgrelid::regclass::text = ANY(%s)",
            [[*_APPEND_ONLY, _HEAD]],
        )
        found = cursor.fetchall()
    wanted = _wanted()
    present = {}
    for name, definition, enabled, function, source in found:
        whole = enabled == "A" and _plain(source) == _plain(_FUNCTIONS.get(function, ""))
        if whole and name in wanted and _same(definition, wanted[name]):
            present[name] = _plain(wanted[name])
    return present


def _same(definition: str, wanted: str) -> bool:
    """PostgreSQL prints a trigger with its schema and with the events in an order of its own."""

    def words(statement: str) -> list[str]:
        return sorted(_plain(statement).replace("public.", "").split())

    return words(definition) == words(wanted)


def after_migrate(**_: Any) -> None:
    """Guards after every migrate, and a head where there is neither head nor entry."""
    tables = connection.introspection.table_names()
    if not {*_APPEND_ONLY, _HEAD} <= set(tables):
        return
    if not Head.objects.exists() and not JournalEntry.objects.exists():
        Head.objects.create()
    install()
