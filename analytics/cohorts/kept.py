"""Answers kept ready, each site's by itself, and added up for the sites of a scope; counts nothing itself.

A case is of one site, so numbers of cases and complications add over sites. Which answers are kept stands with the
functions that give them (`keepable`); when they are made and shown is for `analytics.snapshots`.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import wraps
from typing import Any, TypeVar

from analytics.cohorts.counting import Row, Table, in_order
from analytics.filters import Filters
from analytics.models import Snapshot
from registry.access import Scope

Tables = Mapping[str, Table]
"""An answer as tables by name; one that is a single table has it under an empty name."""

WHOLE = "whole"
_reading: ContextVar[bool] = ContextVar("reading", default=False)
Answer = TypeVar("Answer")


@dataclass(frozen=True, slots=True)
class Question:
    """One answer that is kept: how it is asked live, taken apart, and put together from those of several sites."""

    ask: Callable[[Scope], Any]
    apart: Callable[[Any], Tables]
    together: Callable[[Sequence[Tables]], Any]


QUESTIONS: dict[str, Question] = {}
"""Every answer that is kept, by name."""


@contextmanager
def reading() -> Iterator[None]:
    """Inside, unfiltered questions are answered from what is kept; there must be a complete snapshot."""
    began = _reading.set(True)
    try:
        yield
    finally:
        _reading.reset(began)


def is_read(filters: Filters) -> bool:
    """Whether a question with these filters is to be answered from what is kept."""
    return _reading.get() and filters == Filters()


def keepable(
    apart: Callable[[Any], Tables],
    together: Callable[[Sequence[Tables]], Any],
    ways: Sequence[Mapping[str, bool]] = ({},),
) -> Callable[[Callable[..., Answer]], Callable[..., Answer]]:
    """The answers of this function are kept, asked in each of these ways."""

    def decorate(ask: Callable[..., Answer]) -> Callable[..., Answer]:
        for way in ways:
            QUESTIONS[_name(ask, way)] = Question(_without_filters(ask, way), apart, together)

        @wraps(ask)
        def answered(scope: Scope, filters: Filters, **way: bool) -> Answer:
            name = _name(ask, way)
            if not is_read(filters) or name not in QUESTIONS:
                return ask(scope, filters, **way)
            answer: Answer = together(kept_of(name, scope))
            return answer

        return answered

    return decorate


def _name(ask: Callable[..., Any], way: Mapping[str, bool]) -> str:
    return " ".join([ask.__name__, *(key for key, value in way.items() if value)])


def _without_filters(ask: Callable[..., Any], way: Mapping[str, bool]) -> Callable[[Scope], Any]:
    return lambda scope: ask(scope, Filters(), **way)


def parts(sites: Iterable[int]) -> Iterator[tuple[str, str]]:
    """Each answer of each site and of all together, counted now, as the name and the text under which it is kept."""
    listed = list(sites)
    for name, question in QUESTIONS.items():
        found = [question.apart(question.ask(Scope(frozenset([site])))) for site in listed]
        for site, tables in zip(listed, found, strict=True):
            if any(tables.values()):
                yield f"{name}/{site}", _written(tables)
        yield f"{name}/{WHOLE}", _written(question.apart(question.together(found)))


def kept_of(name: str, scope: Scope) -> list[Tables]:
    """What is kept of a scope's sites; a site without a row had nothing to count."""
    wanted = [WHOLE] if scope.sites is None else scope.sites
    rows = Snapshot.objects.filter(name__in=[f"{name}/{one}" for one in wanted])
    return [_read(text) for text in rows.values_list("content", flat=True)]


def text_of(name: str) -> str | None:
    """What is kept under a name of its own: an answer of the whole registry that does not add over sites."""
    return Snapshot.objects.filter(name=name).values_list("content", flat=True).first()


def _written(tables: Tables) -> str:
    """As arrays under their columns, which are read several times faster than objects."""
    held = {
        name: {
            "columns": list(table[0]),
            "days": [
                column for column in table[0] if any(isinstance(row[column], datetime.date) for row in table)
            ],
            "rows": [list(row.values()) for row in table],
        }
        for name, table in tables.items()
        if table
    }
    return json.dumps(held, default=datetime.date.isoformat, separators=(",", ":"))


def _read(text: str) -> Tables:
    return {name: _rows(**held) for name, held in json.loads(text).items()}


def _rows(columns: list[str], days: list[str], rows: list[list[Any]]) -> Table:
    for place in map(columns.index, days):
        for row in rows:
            row[place] = row[place] and datetime.date.fromisoformat(row[place])
    return [dict(zip(columns, row, strict=True)) for row in rows]


def one_table(table: Table) -> Tables:
    """An answer that is a table."""
    return {"": table}


def one_row(row: Row) -> Tables:
    """An answer that is one row."""
    return {"": [row]}


def one_number(number: int) -> Tables:
    """An answer that is a number."""
    return {"": [{"number": number}]}


def numbers_together(found: Sequence[Tables]) -> int:
    """The sum of the numbers of several sites."""
    return sum(row["number"] for tables in found for row in tables.get("", []))


def added(found: Sequence[Tables], keys: Sequence[str], name: str = "") -> Table:
    """The rows of one of the tables, those with the same keys as one, their numbers added; keys may be lacking."""
    tables = [tables.get(name, []) for tables in found]
    if len(tables) == 1:
        return tables[0]
    rows = [row for table in tables for row in table]
    here = [key for key in keys if rows and key in rows[0]]
    numbers = [column for column in rows[0] if column not in here] if rows else []
    sums: dict[tuple[Any, ...], Row] = {}
    for row in rows:
        key = tuple(row[one] for one in here)
        if key not in sums:
            sums[key] = {**row}
            continue
        there = sums[key]
        for column in numbers:
            there[column] += row[column]
    return in_order(sums.values(), here)


def by(*keys: str) -> Callable[[Sequence[Tables]], Table]:
    """Puts a table with these keys together."""
    return lambda found: added(found, keys)


def extent_together(found: Sequence[Tables]) -> Row:
    """The extent of several sites: the numbers added, from the first day to the last."""
    rows = [row for tables in found for row in tables.get("", [])]
    numbers = {
        column: sum(row[column] for row in rows)
        for column in ("complications", "cases", "sites", "operators")
    }
    first = min((row["first"] for row in rows if row["first"]), default=None)
    last = max((row["last"] for row in rows if row["last"]), default=None)
    return {**numbers, "first": first, "last": last}
