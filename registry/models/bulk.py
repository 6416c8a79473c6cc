"""Reading very many rows: without what Django does for each key and each value."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

from django.db.models import BooleanField, Expression, ExpressionWrapper, F, Field


class Among(Expression):
    """Whether a column holds one of these keys, whole numbers, which stand in the statement as figures.

    For hundreds of keys: Django's `in` looks at each of them several times, which takes longer than to read the rows.
    """

    conditional = True

    def __init__(self, column: str, keys: Iterable[int]) -> None:
        super().__init__(output_field=BooleanField())
        self._column: Any = F(column)
        self._figures = ", ".join(str(int(key)) for key in keys)

    def get_source_expressions(self) -> list[Any]:
        """The column alone."""
        return [self._column]

    def set_source_expressions(self, exprs: Sequence[Any]) -> None:
        """The column as it was resolved."""
        (self._column,) = exprs

    def as_sql(self, compiler: Any, connection: Any) -> tuple[str, tuple[Any, ...]]:
        """`column IN (1, 2, 3)`; nothing is in no keys."""
        column, parameters = compiler.compile(self._column)
        return f"{column} IN ({self._figures or 'NULL'})", tuple(parameters)


class Stored(ExpressionWrapper):
    """A column's values as the engine hands them out: on SQLite decimals are floats and dates are texts."""

    def __init__(self, column: str) -> None:
        super().__init__(F(column), output_field=Field())
