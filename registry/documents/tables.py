"""Which table holds which part of a case document, and which column which field.

A column is named by the path of its field within its table, joined by underscores (`recognised_minute`); a date has
two, `…_earliest` and `…_latest`; staff and models are foreign keys. A list of objects is a table of its own, a list of
words a column. Free text is in no table but sealed in `patients`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from enum import Enum, auto

from registry import case_fields as fields
from registry import models
from registry.canonical import KEPT_WHEN_EMPTY
from registry.models.columns import Row


class Form(Enum):
    """How a field is kept in a row."""

    PLAIN = auto()
    NUMBER = auto()
    LIST = auto()
    DATE = auto()
    STAFF = auto()
    MODEL = auto()


@dataclass(frozen=True, slots=True)
class Column:
    """One field of an object and its column."""

    field: str
    column: str
    form: Form


@dataclass(frozen=True, slots=True)
class Part:
    """How one object is laid out: its columns, the objects inside it that share its row, and its lists of objects."""

    columns: tuple[Column, ...]
    inside: tuple[tuple[str, Part], ...]
    lists: tuple[tuple[str, str, Table], ...]
    """Field, the name under which it is recorded as empty, and the table."""
    empty_as: str = ""
    """The name under which an object that is there but says nothing in the clear is recorded."""


@dataclass(frozen=True, slots=True)
class Table:
    """A table, the name of its foreign key to the row it hangs on, and the layout of its rows."""

    model: type[Row]
    parent: str
    part: Part = field(repr=False)


_LISTS: dict[str, tuple[type[Row], str]] = {
    "staff": (models.StaffRole, "case"),
    "access": (models.AccessRoute, "case"),
    "guide": (models.GuideCatheter, "case"),
    "lesion": (models.Lesion, "case"),
    "content": (models.LesionContent, "lesion"),
    "complication": (models.Complication, "case"),
    "action": (models.Action, "complication"),
    "declined": (models.DeclinedOption, "complication"),
    "fragment": (models.Fragment, "complication"),
    "injury": (models.Injury, "case"),
    "flow": (models.FlowReading, "case"),
    "in_hospital_event": (models.InHospitalEvent, "case"),
    "drug": (models.PlanDrug, "case"),
    "duty": (models.Duty, "case"),
    "follow_up": (models.FollowUp, "case"),
    "follow_up_event": (models.FollowUpEvent, "follow_up"),
}
_ROOT_PREFIX = {"device": "device"}
NOT_IN_PARTS = {"outcome": "outcome", "antiplatelet_plan": "plan"}
"""Objects of the case with a table of their own, at most one row a case."""
_NOT_IN_COLUMNS = {"schema_version", "id", "site"}
_FORMS: dict[type[fields.Field], Form] = {
    fields.Number: Form.NUMBER,
    fields.Position: Form.NUMBER,
    fields.List: Form.LIST,
    fields.Date: Form.DATE,
    fields.Person: Form.STAFF,
    fields.Model: Form.MODEL,
}


def _table(kind: fields.Thing, holder: fields.Thing) -> Table:
    if kind is fields.DEVICE:
        model: type[Row] = models.InvolvedDevice
        parent = "action" if holder is fields.ACTION else "complication"
    else:
        model, parent = _LISTS[kind.name]
    return Table(model, parent, _part(kind, _ROOT_PREFIX.get(kind.name, "")))


def _part(kind: fields.Thing, prefix: str, empty_as: str = "") -> Part:
    columns, inside, lists = [], [], []
    for name, inner in kind.fields.items():
        column = f"{prefix}_{name}" if prefix else name
        if fields.sealed(inner) or (kind is fields.CASE and name in {*NOT_IN_PARTS, *_NOT_IN_COLUMNS}):
            continue
        if isinstance(inner, fields.Thing):
            kept = column if name in KEPT_WHEN_EMPTY else ""
            inside.append((name, _part(inner, column, kept)))
        elif isinstance(inner, fields.List) and isinstance(inner.item, fields.Thing):
            lists.append((name, column, _table(inner.item, kind)))
        else:
            columns.append(Column(name, column, _FORMS.get(type(inner), Form.PLAIN)))
    if "udi" in kind.fields:
        columns.append(Column("gtin", f"{prefix}_gtin", Form.PLAIN))
    return Part(tuple(columns), tuple(inside), tuple(lists), empty_as)


CASE_PART = _part(fields.CASE, "")
SINGLE_TABLES = {
    "outcome": Table(models.Outcome, "case", _part(fields.OUTCOME, "")),
    "antiplatelet_plan": Table(models.Plan, "case", _part(fields.PLAN, "")),
}


def tables(part: Part = CASE_PART) -> Iterator[Table]:
    """Every table below a part, holders before what hangs on them; a table with two holders comes twice."""
    for _, inner in part.inside:
        yield from tables(inner)
    for _, _, table in part.lists:
        yield table
        yield from tables(table.part)
    if part is CASE_PART:
        for table in SINGLE_TABLES.values():
            yield table
            yield from tables(table.part)


MODELS: tuple[type[Row], ...] = tuple(dict.fromkeys(table.model for table in tables()))
"""The models of all tables that hang on a case, holders first: the order in which rows are written."""
