"""A registry of so many invented cases, in the database that the environment names; as a module it only loads one."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator, Mapping

import django
from django.db.models import Model

IMPORTED = 100_000
"""Cases up to which each is imported by itself; a larger registry is that many cases and copies of their rows."""


def prepare(size: int) -> None:
    """An empty registry with the places, catalogue, uses and returns that go with so many cases."""
    from deploy.demo import load_places
    from deploy.local_settings import ensure_keys, migrate
    from fixtures.scenario import scenario

    migrate()
    ensure_keys()
    load_places(scenario(), min(size, IMPORTED), 1)


def load(size: int) -> None:
    """Prepare a registry and fill it. ValueError where a large size is no multiple of what is imported."""
    if size > IMPORTED and size % IMPORTED:
        raise ValueError(f"{size:,} cases are no multiple of {IMPORTED:,}")
    from deploy.demo import load_cases
    from fixtures.generate import generate_cases

    prepare(size)
    load_cases(generate_cases(min(size, IMPORTED), 1))
    if size > IMPORTED:
        _copy(size // IMPORTED - 1)
    _let_it_look()


def _copy(times: int) -> None:
    """Further cases with the rows of those that are there: all that is counted or released, no history, no patient."""
    from django.core.management.color import no_style
    from django.db import connection, transaction
    from django.db.models import Max

    from registry.documents.tables import MODELS
    from registry.models import Case

    models: tuple[type[Model], ...] = (Case, *MODELS)
    strides = {model: model._default_manager.aggregate(last=Max("pk"))["last"] or 0 for model in models}
    for copy in range(1, times + 1):
        with transaction.atomic(), connection.cursor() as cursor:
            for model in models:
                columns = [f'"{field.column}"' for field in model._meta.concrete_fields]
                values = list(_values(model, strides, copy))
                table = model._meta.db_table
                cursor.execute(
                    f"INSERT INTO {table} ({', '.join(columns)}) SELECT {', '.join(values)} FROM {table} "
                    f"WHERE id <= {strides[model]}"
                )
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), models):
            cursor.execute(statement)


def _values(model: type[Model], strides: Mapping[type[Model], int], copy: int) -> Iterator[str]:
    """For each column of a table what a copy of its row holds there: keys moved on, names told apart."""
    for field in model._meta.concrete_fields:
        keyed = model if field.primary_key else field.related_model
        if keyed is not None and keyed in strides:
            yield f'"{field.column}" + {copy * strides[keyed]}'
        elif field.unique:  # the public code of a case
            yield f"CAST({100_000_000 + copy * strides[model]} + id AS TEXT)"
        elif field.name == "document_id":
            yield f"\"{field.column}\" || '-{copy}'"
        else:
            yield f'"{field.column}"'


def _let_it_look() -> None:
    """What PostgreSQL does of itself within a minute; SQLite is left as it is with everybody."""
    from django.db import connection

    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("ANALYZE")


if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    load(int(sys.argv[1]))
