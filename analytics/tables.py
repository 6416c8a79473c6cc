"""The rows of an answer as CSV, and the sentences beside it: one place for commands and pages. No Django, no query."""

from __future__ import annotations

import csv
import dataclasses
from collections.abc import Iterable, Iterator, Sequence
from typing import Any, Protocol

from analytics.answers import Answer
from registry.cautions import caution

Value = str | int | float | None
_BEGIN_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")


class Writable(Protocol):
    """What text can be written to."""

    def write(self, text: str, /) -> object:
        """Takes some text."""


def columns_of(record: type, *, by_attempt: bool = False) -> list[str]:
    """The headings of an answer's rows; the number of the attempt is among them only where it is asked for."""
    return [
        field.name
        for field in dataclasses.fields(record)
        if by_attempt or field.name != "attempt_in_situation"
    ]


def write_csv(answer: Answer[Any], columns: list[str], to: Writable) -> None:
    """A heading and the rows of an answer, lines ending in a line feed."""
    write_rows(columns, cells_of(answer.rows, columns), to)


def cells_of(records: Iterable[Any], columns: Sequence[str]) -> Iterator[list[Any]]:
    """What each record says under the columns."""
    return ([getattr(record, column) for column in columns] for record in records)


def write_rows(columns: Sequence[str], rows: Iterable[Sequence[Value]], to: Writable) -> None:
    """A heading and rows, lines ending in a line feed."""
    table = csv.writer(to, lineterminator="\n")
    table.writerow(columns)
    table.writerows([_cell(cell) for cell in row] for row in rows)


def for_spreadsheets(rows: Iterable[Sequence[Value]]) -> Iterator[list[Value]]:
    """Rows in which no text that somebody typed, such as a lot, is taken for a formula by whoever opens the file.

    Such a text has an apostrophe before it. Programs read the rows as they are, by the command `answers`.
    """
    return ([_not_a_formula(cell) for cell in row] for row in rows)


def _not_a_formula(value: Value) -> Value:
    begins = isinstance(value, str) and len(value) > 1 and value[0] in _BEGIN_A_FORMULA
    return f"'{value}" if begins else value


def beside(answer: Answer[Any]) -> Iterator[str]:
    """What was left out and why, what is to be mended, how limits were made, and how the rows may be read."""
    yield from map(str, (*answer.left_out, *answer.to_mend))
    if answer.method:
        yield f"limits: {answer.method}"
    yield from map(caution, answer.cautions)


def _cell(value: Value) -> str | int:
    """Rates and limits with six decimals; what is empty stays empty."""
    if value is None:
        return ""
    return f"{value:.6f}" if isinstance(value, float) else value
