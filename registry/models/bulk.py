"""Reading very many rows: without what Django does for each key, each value and each of the same statements."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import Any

from django.db import connection
from django.db.models import BooleanField, Expression, ExpressionWrapper, F, Field, QuerySet

_LATER: Sequence[int] = (0,)
"""Stands for keys that are not known yet; told apart by being itself."""


class Among(Expression):
    """Whether a column holds one of these keys, whole numbers; they are one parameter, so statements are alike.

    For hundreds of keys: Django's `in` looks at each of them several times, which takes longer than to read the rows.
    """

    conditional = True

    def __init__(self, column: str, keys: Sequence[int]) -> None:
        super().__init__(output_field=BooleanField())
        self._column: Any = F(column)
        self._keys = keys

    def get_source_expressions(self) -> list[Any]:
        """The column alone."""
        return [self._column]

    def set_source_expressions(self, exprs: Sequence[Any]) -> None:
        """The column as it was resolved."""
        (self._column,) = exprs

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        """As an array on PostgreSQL, elsewhere as JSON."""
        column, parameters = compiler.compile(self._column)
        one_of = "= ANY(%s)" if connection.vendor == "postgresql" else "IN (SELECT value FROM json_each(%s))"
        keys = self._keys if self._keys is _LATER else _as_parameter(self._keys)
        return f"{column} {one_of}", (*parameters, keys)


def _as_parameter(keys: Sequence[int]) -> Any:
    listed = list(keys)
    return listed if connection.vendor == "postgresql" else json.dumps(listed)


class ByKeys:
    """Rows of values found by their keys, asked for again and again: the statement is put into words once.

    Values come as the engine hands them out, so a column that Django would convert must be `Stored`.
    """

    def __init__(self, rows: QuerySet[Any, tuple[Any, ...]], column: str) -> None:
        self._sql, self._parameters = rows.filter(Among(column, _LATER)).query.sql_with_params()

    def of(self, keys: Sequence[int]) -> list[tuple[Any, ...]]:
        """The rows with these keys."""
        given = _as_parameter(keys)
        with connection.cursor() as cursor:
            cursor.execute(self._sql, [given if one is _LATER else one for one in self._parameters])
            return cursor.fetchall()


class Stored(ExpressionWrapper):
    """A column's values as the engine hands them out: on SQLite decimals are floats and dates are texts."""

    def __init__(self, column: str) -> None:
        super().__init__(F(column), output_field=Field())
