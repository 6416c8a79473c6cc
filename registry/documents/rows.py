"""Clear documents to rows; what is sealed is not among them. The way back is `row_reading`."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from registry.canonical import Json
from registry.documents.tables import CASE_PART, SINGLE_TABLES, Form, Part
from registry.partial_dates import span
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
