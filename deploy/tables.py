"""Whether the database's tables are those that this version of the program works with."""

from __future__ import annotations

from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from deploy.commands import Refusal


def has_tables() -> bool:
    """Whether anything was ever migrated here."""
    return "django_migrations" in connection.introspection.table_names()


def require_tables() -> None:
    """Refusal unless every migration has been applied."""
    if not has_tables():
        raise Refusal("The registry has no tables yet. Run `manage.py set_up` or `manage.py demo` first.")
    executor = MigrationExecutor(connection)
    waiting = executor.migration_plan(executor.loader.graph.leaf_nodes())
    if waiting:
        migration = waiting[0][0]
        raise Refusal(
            f"The tables are not up to date: the migration {migration} has not been applied. Run `manage.py migrate`."
        )
