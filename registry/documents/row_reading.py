"""Rows to clear documents, many cases at once: a statement for each table, of no column but those that are wanted.

How a document lies in its rows is laid out once, from `tables`; after that each row is a tuple that is gone through
by position. What is sealed is not asked for.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import lru_cache
from typing import Any, NamedTuple

from django.db.models import DateField, DecimalField, QuerySet

from registry import models
from registry.canonical import Json, read, shortest
from registry.case_fields import SCHEMA_VERSION
from registry.documents.tables import CASE_PART, SINGLE_TABLES, Column, Form, Part, Table
from registry.models.bulk import ByKeys, Stored
from registry.models.columns import ListField, Row
from registry.partial_dates import Span
from registry.vocabulary import UNKNOWN

Document = dict[str, Json]
Values = tuple[Any, ...]
"""A row by the columns of its layout: its key, that of the row it hangs on, `unknown`, `empty`, and the wanted ones."""
Held = Sequence[Mapping[int, Sequence[Values]]]
"""The rows of each table, in the order of a plan's tables, by the key of the row they hang on."""

NONE = "[]"
"""A list of none as it is stored."""
_KEY, _PARENT, _UNKNOWN, _EMPTY = range(4)
_VERSION, _ID, _SITE = range(4, 7)
_OF_A_CASE = ("pk", "code", "unknown", "empty", "version", "document_id", "site__code")


class ClearCase(NamedTuple):
    """A case as its rows have it: its public code and clear document."""

    code: str
    document: Document


@dataclass(frozen=True, slots=True)
class _Object:
    """Where the fields of an object stand in a row, the objects inside it, and its lists of objects."""

    names: tuple[str, ...]
    """Its fields but dates; they stand side by side, and the dates after them, each as two columns."""
    start: int
    dates_start: int
    end: int
    made: tuple[tuple[str, Callable[[Any], Json]], ...]
    """What is made of the values of some."""
    columns: Mapping[str, str]
    """The fields by the columns under which they are recorded as unknown."""
    dates: tuple[tuple[str, int], ...]
    inside: tuple[tuple[str, _Object, str], ...]
    lists: tuple[tuple[str, str, ReadTable], ...]


@dataclass(frozen=True, slots=True, repr=False)
class ReadTable:
    """A table as it is read: its columns, its place among the tables of the plan, and the object in each row."""

    table: Table
    number: int
    of_case: bool
    columns: tuple[str, ...]
    thing: _Object
    rows: ByKeys
    """By the keys of cases."""


class Plan:
    """How the clear documents of cases are read; `wanted` are the paths of the fields, as `walk` names them, or all."""

    def __init__(self, wanted: frozenset[str] | None) -> None:
        self._wanted = wanted
        self.tables: list[ReadTable] = []
        """Every table to be read, with its place in what `document` is given."""
        columns = list(_OF_A_CASE)
        self._case = self._object(CASE_PART, models.Case, "", columns)
        self._single = [
            (name, self._read(table, f"{name}."))
            for name, table in SINGLE_TABLES.items()
            if self._asks_for(name)
        ]
        self._versioned, self._named, self._sited = (
            self._asks_for(name) for name in ("schema_version", "id", "site")
        )
        self.columns = tuple(columns)
        """Those of the case's own row."""
        self.cases = ByKeys(_stored(models.Case._default_manager.order_by(), columns), "pk")

    def _asks_for(self, path: str) -> bool:
        """Whether a field is wanted, or one below it."""
        if self._wanted is None or path in self._wanted:
            return True
        below = (f"{path}.", f"{path}[].")
        return any(name.startswith(below) for name in self._wanted)

    def _read(self, table: Table, path: str) -> ReadTable:
        columns = ["pk", f"{table.parent}_id", "unknown", "empty"]
        thing = self._object(table.part, table.model, path, columns)
        read = ReadTable(
            table=table,
            number=len(self.tables),
            of_case=table.parent == "case",
            columns=tuple(columns),
            thing=thing,
            rows=ByKeys(_rows_of(table, columns), "case_id"),
        )
        self.tables.append(read)
        return read

    def _object(self, part: Part, model: type[Row], path: str, columns: list[str]) -> _Object:
        wanted = [column for column in part.columns if self._asks_for(f"{path}{column.field}")]
        cells = [column for column in wanted if column.form is not Form.DATE]
        start = len(columns)
        columns += map(_asked, cells)
        dates_start = len(columns)
        dates = []
        for column in wanted:
            if column.form is Form.DATE:
                dates.append((column.field, len(columns)))
                columns += (f"{column.column}_earliest", f"{column.column}_latest")
        end = len(columns)
        inside = tuple(
            (name, self._object(inner, model, f"{path}{name}.", columns), inner.empty_as)
            for name, inner in part.inside
            if self._asks_for(f"{path}{name}")
        )
        lists = tuple(
            (name, column_name, self._read(table, f"{path}{name}[]."))
            for name, column_name, table in part.lists
            if self._asks_for(f"{path}{name}")
        )
        made = ((column.field, _made_of(column, model)) for column in cells)
        return _Object(
            names=tuple(column.field for column in cells),
            start=start,
            dates_start=dates_start,
            end=end,
            made=tuple((name, made_of) for name, made_of in made if made_of is not None),
            columns={column.column: column.field for column in cells},
            dates=tuple(dates),
            inside=inside,
            lists=lists,
        )

    def document(self, case: Values, held: Held) -> Document:
        """The clear document of one case from its own row and those of all tables."""
        document: Document = {}
        if self._versioned:
            document["schema_version"] = SCHEMA_VERSION
        if self._named:
            document["id"] = case[_ID]
        if self._sited:
            document["site"] = case[_SITE]
        key = case[_KEY]
        document.update(_put_together(self._case, case, key, held))
        for name, table in self._single:
            for row in held[table.number].get(key, ()):
                document[name] = _put_together(table.thing, row, key, held)
        return document


def _rows_of(table: Table, columns: Sequence[str]) -> QuerySet[Any, Values]:
    """The rows of a table, those of one case together and in the order of their lists."""
    rows: Any = table.model._default_manager.all()
    if table.model is models.InvolvedDevice:  # one of an action hangs on its complication too
        rows = rows.filter(action__isnull=table.parent != "action")
    in_lists = () if table.model in _SINGLE else ("index",)
    return _stored(rows.order_by("case_id", *in_lists), columns)


def _stored(rows: QuerySet[Any], columns: Sequence[str]) -> QuerySet[Any, Values]:
    """Values of these columns; what Django would convert one by one comes as it is stored, to be made once."""
    own = {field.name for field in rows.model._meta.concrete_fields if isinstance(field, _CONVERTED)}
    return rows.values_list(*(Stored(name) if name in own else name for name in columns))


_CONVERTED = (DecimalField, DateField, ListField)
_SINGLE = frozenset(table.model for table in SINGLE_TABLES.values())


def _asked(column: Column) -> str:
    return f"{column.column}__code" if column.form in (Form.STAFF, Form.MODEL) else column.column


def _made_of(column: Column, model: type[Row]) -> Callable[[Any], Json] | None:
    """What is made of a stored value where a document has another form for it."""
    if column.form is Form.LIST:
        return lambda stored: list(_listed(stored))
    if column.form is Form.NUMBER and isinstance(model._meta.get_field(column.column), DecimalField):
        return _number
    return None


@lru_cache(maxsize=1 << 14)
def _number(stored: float | Decimal) -> int | Decimal:
    """A number in its shortest form; a float's own has all the digits that a document can hold."""
    return shortest(Decimal(repr(stored)) if isinstance(stored, float) else Decimal(stored))


@lru_cache(maxsize=1 << 14)
def _listed(stored: str) -> tuple[Json, ...]:
    return tuple(read(stored))


@lru_cache(maxsize=1 << 14)
def _date(earliest: str | datetime.date, latest: str | datetime.date) -> str:
    return str(Span(_day(earliest), _day(latest)))


def _day(stored: str | datetime.date) -> datetime.date:
    return datetime.date.fromisoformat(stored) if isinstance(stored, str) else stored


def _put_together(thing: _Object, row: Values, case: int, held: Held) -> Document:
    found: Document = {}
    for name, value in zip(thing.names, row[thing.start : thing.dates_start], strict=True):
        if value is not None:
            found[name] = value
    for name, made_of in thing.made:
        if name in found:
            found[name] = made_of(found[name])
    for name, place in thing.dates:
        if row[place] is not None:
            found[name] = _date(row[place], row[place + 1])
    if row[_UNKNOWN] != NONE:
        for column in _listed(row[_UNKNOWN]):
            if column in thing.columns:
                found[thing.columns[column]] = UNKNOWN
    for name, inner, empty_as in thing.inside:
        kept = _put_together(inner, row, case, held)
        if kept or (empty_as and empty_as in _listed(row[_EMPTY])):
            found[name] = kept
    if thing.lists:
        found.update(_lists(thing, row, case, held))
    return found


def _lists(thing: _Object, row: Values, case: int, held: Held) -> Iterator[tuple[str, Json]]:
    """The lists of objects that hang on a row."""
    for name, column, below in thing.lists:
        rows = held[below.number].get(case if below.of_case else row[_KEY])
        if rows:
            item = below.thing
            yield name, [_put_together(item, one, case, held) for one in rows]
        elif column in _listed(row[_EMPTY]):
            yield name, []


class CaseRows:
    """The rows of the cases with these keys, read in one statement for each table, of the wanted fields or all.

    A case that is not there is left out.
    """

    def __init__(self, keys: Sequence[int], wanted: frozenset[str] | None = None) -> None:
        self._plan = _plan(wanted)
        self._cases = {row[_KEY]: row for row in self._plan.cases.of(keys)}
        self._held = [_rows(read, keys) for read in self._plan.tables]

    def versions(self) -> dict[int, int]:
        """The version of each case, as its own row had it, by key."""
        return {key: row[_VERSION] for key, row in self._cases.items()}

    def case(self, key: int) -> ClearCase:
        """A case put together; the two version fields of its document are those filled at import."""
        row = self._cases[key]
        return ClearCase(row[_PARENT], self._plan.document(row, self._held))


_plan = lru_cache(maxsize=4)(Plan)


def clear_documents(keys: Sequence[int]) -> Iterator[Document]:
    """The clear documents of the cases with these keys, in their order, whole; a case that is not there is left out."""
    rows = CaseRows(keys)
    there = rows.versions()
    return (rows.case(key).document for key in keys if key in there)


def _rows(read: ReadTable, keys: Sequence[int]) -> Mapping[int, list[Values]]:
    """The rows of a table by the key of the row they hang on, each list in its order."""
    found: dict[int, list[Values]] = defaultdict(list)
    for row in read.rows.of(keys):
        found[row[_PARENT]].append(row)
    return found
