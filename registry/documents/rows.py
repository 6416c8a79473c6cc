"""Clear documents to rows and rows to clear documents; what is sealed passes through neither."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from registry import models
from registry.canonical import Json, shortest
from registry.case_fields import SCHEMA_VERSION
from registry.documents.tables import CASE_PART, MODELS, SINGLE_TABLES, Form, Part, Table
from registry.models.columns import Row
from registry.partial_dates import Span, span
from registry.vocabulary import UNKNOWN

Document = dict[str, Json]


@dataclass(slots=True)
class Names:
    """The keys of the staff codes of one site and of the device models, by which rows refer to them."""

    staff: Mapping[str, int]
    models: Mapping[str, int]


@dataclass(slots=True)
class NewRow:
    """A row to be written, with the rows that hang on it by the name of their foreign key."""

    row: Any
    hanging: list[tuple[str, NewRow]] = field(default_factory=list)


def rows_of(clear: Mapping[str, Json], names: Names) -> tuple[dict[str, Any], list[NewRow]]:
    """The columns of the case's own row, and the rows that hang on it, in the order of their lists."""
    columns, hanging = _laid_out(clear, CASE_PART, names)
    new = [row for _, row in hanging]
    for name, table in SINGLE_TABLES.items():
        if name in clear:
            values, below = _laid_out(clear[name], table.part, names)
            new.append(NewRow(table.model(**values)))
            new.extend(row for _, row in below)
    return columns, new


def _laid_out(
    thing: Mapping[str, Json], part: Part, names: Names
) -> tuple[dict[str, Any], list[tuple[str, NewRow]]]:
    values: dict[str, Any] = {"unknown": [], "empty": []}
    hanging: list[tuple[str, NewRow]] = []
    _fill(thing, part, names, values, hanging)
    return values, hanging


def _fill(
    thing: Mapping[str, Json],
    part: Part,
    names: Names,
    values: dict[str, Any],
    hanging: list[tuple[str, NewRow]],
) -> None:
    if part.empty_as and not thing:
        values["empty"].append(part.empty_as)
    for column in part.columns:
        found = thing.get(column.field)
        if found is None:
            continue
        if found == UNKNOWN and column.form in (Form.NUMBER, Form.STAFF, Form.MODEL):
            values["unknown"].append(column.column)
        else:
            _PUT[column.form](values, column.column, found, names)
    for name, inner in part.inside:
        if name in thing:
            _fill(thing[name], inner, names, values, hanging)
    for name, column_name, table in part.lists:
        found = thing.get(name)
        if found is None:
            continue
        if not found:
            values["empty"].append(column_name)
        for index, item in enumerate(found):
            columns, below = _laid_out(item, table.part, names)
            hanging.append((table.parent, NewRow(table.model(**columns, **{"index": index}), below)))


def _put(values: dict[str, Any], column: str, found: Json, names: Names) -> None:
    values[column] = found


def _put_date(values: dict[str, Any], column: str, found: str, names: Names) -> None:
    values[f"{column}_earliest"], values[f"{column}_latest"] = span(found)


def _put_staff(values: dict[str, Any], column: str, found: str, names: Names) -> None:
    values[f"{column}_id"] = names.staff[found]


def _put_model(values: dict[str, Any], column: str, found: str, names: Names) -> None:
    values[f"{column}_id"] = names.models[found]


_PUT: dict[Form, Callable[[dict[str, Any], str, Any, Names], None]] = {
    Form.PLAIN: _put,
    Form.NUMBER: _put,
    Form.LIST: _put,
    Form.DATE: _put_date,
    Form.STAFF: _put_staff,
    Form.MODEL: _put_model,
}


def clear_documents(cases: list[models.Case]) -> Iterator[tuple[models.Case, Document]]:
    """The clear document of each case, read from its rows; a query for each table, however many cases.

    The cases need their `site`. The two version fields are those filled at import.
    """
    held: dict[type[Row], dict[int, list[Any]]] = {}
    for model in MODELS:
        rows: dict[int, list[Any]] = defaultdict(list)
        order = ("case_id",) if model in (models.Outcome, models.Plan) else ("case_id", "index")
        found: Any = model._default_manager.filter(**{"case__in": [case.pk for case in cases]}).order_by(
            *order
        )
        for row in found:
            rows[row.case_id].append(row)
        held[model] = rows
    read = _Reader(held, _codes_of_models(held))
    for case in cases:
        yield case, read.document(case)


def _codes_of_models(
    held: Mapping[type[Row], Mapping[int, list[Any]]],
) -> tuple[dict[int, str], dict[int, str]]:
    staff_ids: set[int] = set()
    model_ids: set[int] = set()
    for model, rows in held.items():
        named = [
            (field.attname, staff_ids if field.related_model is models.Staff else model_ids)
            for field in model._meta.concrete_fields
            if field.related_model in (models.Staff, models.DeviceModel)
        ]
        for row in (row for listed in rows.values() for row in listed) if named else ():
            for attname, found in named:
                if (value := getattr(row, attname)) is not None:
                    found.add(value)
    return (
        dict(models.Staff.objects.filter(pk__in=staff_ids).values_list("pk", "code")),
        dict(models.DeviceModel.objects.filter(pk__in=model_ids).values_list("pk", "code")),
    )


class _Reader:
    """Puts documents together from rows that are held in memory."""

    def __init__(
        self, held: Mapping[type[Row], Mapping[int, list[Any]]], codes: tuple[dict[int, str], dict[int, str]]
    ) -> None:
        self._held = held
        self._staff, self._models = codes

    def document(self, case: models.Case) -> Document:
        """The clear document of one case."""
        document: Document = {
            "schema_version": SCHEMA_VERSION,
            "id": case.document_id,
            "site": case.site.code,
        }
        document.update(self._thing(case, CASE_PART, case.pk, case))
        for name, table in SINGLE_TABLES.items():
            for row in self._held[table.model].get(case.pk, ()):
                document[name] = self._thing(row, table.part, case.pk, case)
        return document

    def _thing(self, row: Any, part: Part, case: int, holder: Any) -> Document:
        thing: Document = {}
        for column in part.columns:
            found = self._value(row, column.column, column.form)
            if found is not None:
                thing[column.field] = found
        for name, inner in part.inside:
            kept = self._thing(row, inner, case, holder)
            if kept or (inner.empty_as and inner.empty_as in row.empty):
                thing[name] = kept
        for name, column_name, table in part.lists:
            items = list(self._items(table, case, holder))
            if items or column_name in row.empty:
                thing[name] = items
        return thing

    def _items(self, table: Table, case: int, holder: Any) -> Iterator[Document]:
        for row in self._held[table.model].get(case, ()):
            if _hangs_on(row, table, holder):
                yield self._thing(row, table.part, case, row)

    def _value(self, row: Any, column: str, form: Form) -> Json:
        if column in row.unknown:
            return UNKNOWN
        match form:
            case Form.DATE:
                earliest = getattr(row, f"{column}_earliest")
                return None if earliest is None else str(Span(earliest, getattr(row, f"{column}_latest")))
            case Form.STAFF:
                return self._staff.get(getattr(row, f"{column}_id"))
            case Form.MODEL:
                return self._models.get(getattr(row, f"{column}_id"))
            case Form.NUMBER:
                found = getattr(row, column)
                return shortest(found) if isinstance(found, Decimal) else found
        return getattr(row, column)


def _hangs_on(row: Any, table: Table, holder: Any) -> bool:
    if table.parent == "case":
        return True
    if table.model is models.InvolvedDevice and table.parent == "complication" and row.action_id is not None:
        return False
    return bool(getattr(row, f"{table.parent}_id") == holder.pk)
