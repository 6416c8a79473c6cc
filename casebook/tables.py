"""De-identified cases as flat tables, one for each list of the case document; which columns there are, and the rows.

Columns follow from the table of fields and the policy, so a field that the policy lets go has its column, and no other.
An object's fields stand in the row of what holds it; each list of objects is a table, tied to its holder by `case` and
the holder's ref or number. Beside each list stands how many rows it has: 0 is recorded as none, empty not recorded.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from typing import Any

from registry import case_fields as fields
from registry.canonical import KEPT_WHEN_EMPTY
from registry.case_ladders import CountedComplication, counted_complications
from registry.deidentify.case_view import QUASI_IDENTIFIERS, DeidentifiedCase, released_name
from registry.deidentify.coarsening import BANDED
from registry.deidentify.field_policy import DOCUMENT
from registry.deidentify.rules import Rule, Treatment

Cells = tuple[Any, ...]
Row = list[Any]
"""The cells of a row in the order of its table's columns."""

NAMES: Mapping[str, str] = {
    "": "cases",
    "procedure.access": "access",
    "procedure.guides": "guides",
    "procedure.staff": "staff_roles",
    "lesions": "lesions",
    "lesions[].contents": "lesion_contents",
    "complications": "complications",
    "complications[].other_devices": "other_devices",
    "complications[].actions": "actions",
    "complications[].actions[].devices": "action_devices",
    "complications[].declined": "declined",
    "complications[].fragments": "fragments",
    "injuries": "injuries",
    "outcome.flow": "flow",
    "outcome.in_hospital": "in_hospital_events",
    "antiplatelet_plan.drugs": "plan_drugs",
    "duties": "duties",
    "follow_up": "follow_up",
    "follow_up[].events": "follow_up_events",
}
"""The table of each list of objects, by its path; the case itself is one."""

_HOLDERS: Mapping[str, tuple[str, str]] = {
    "lesion": ("ref", "lesion"),
    "complication": ("ref", "complication"),
    "action": ("position", "position"),
    "follow_up": ("number", "follow_up"),
}
"""Objects that hold lists: the column that tells them apart, and how it is called in the tables of those lists."""

_NUMBERED = ("follow_up",)
"""Objects without a field of their own that tells them apart: their number in the list stands in a column."""

_IN_QUASI_IDENTIFIERS = ("site", "procedure.date", "patient.age", "patient.sex")

DERIVED: Mapping[str, Mapping[str, str]] = {
    "complications": {
        "cause": "how it left the curve by attempt, from its ending; empty where the ending is unknown or other",
        "acts_counted": "whether all its acts are known, so that it enters figures of techniques",
        "in_curve": "whether it has a place in the curve by attempt",
        "in_device_rate": "whether it began in this procedure, so that it enters device rates",
    },
    "actions": {
        "situation_faced": "the situation faced: the last one named before it",
        "attempt_in_situation": "number of the attempt among those facing the same situation; empty where not counted",
        "attempt_in_complication": "number of the attempt among all of the complication; empty where not counted",
    },
    "declined": {
        "situation_faced": "the situation faced after its position; unknown where the position is not recorded",
        "later_tried": "whether the technique was tried later; empty where the position is not recorded",
    },
}
"""Columns worked out by the counting rules, by table, with what each says."""


@dataclass(frozen=True, slots=True)
class Column:
    """A column: what it holds of the document (`path`, `kind`, `rule`); none of these in a key or derived column."""

    name: str
    path: str = ""
    kind: fields.Field | None = None
    rule: Rule | None = None


@dataclass(frozen=True, slots=True)
class _Layout:
    """How one object becomes a row: where its cells are found, and its lists, which are tables of their own.

    The object itself is number 0; then those inside it, each by the number of what holds it and its name there. Cells
    and lists are found by the number of their object and their name in it.
    """

    table: str
    holder: tuple[str, str] | None
    numbered: bool
    inside: list[tuple[int, str]] = field(default_factory=list)
    cells: list[tuple[int, list[str]]] = field(default_factory=list)
    """The object and the names in it of cells that stand beside one another."""
    columns: list[Column] = field(default_factory=list)
    """Those of the cells."""
    recorded: list[int] = field(default_factory=list)
    """Which cells say no more than that an object is there."""
    lists: list[tuple[int, str, Column, _Layout]] = field(default_factory=list)


def _layout(kind: fields.Thing, path: str) -> _Layout:
    layout = _Layout(NAMES[path.removesuffix("[]")], _HOLDERS.get(kind.name), kind.name in _NUMBERED)
    _collect(kind, path, 0, "", layout)
    return layout


def _collect(kind: fields.Thing, path: str, number: int, prefix: str, layout: _Layout) -> None:
    """Lay out the fields of an object, `number` in its row."""
    for name, inner in kind.fields.items():
        here = f"{path}.{name}" if path else name
        rule = DOCUMENT[here]
        if rule.treatment is Treatment.DROP or here in _IN_QUASI_IDENTIFIERS:
            continue
        released = released_name(name, rule)
        column = f"{prefix}{released}"
        if isinstance(inner, fields.List) and isinstance(inner.item, fields.Thing):
            below = _layout(inner.item, f"{here}[]")
            layout.lists.append((number, released, Column(f"{column}_count", here, inner, rule), below))
            continue
        of_object = isinstance(inner, fields.Thing)
        if not of_object or name in KEPT_WHEN_EMPTY:
            if of_object:
                layout.recorded.append(len(layout.columns))
            if not layout.cells or layout.cells[-1][0] != number:
                layout.cells.append((number, []))
            layout.cells[-1][1].append(released)
            layout.columns.append(Column(f"{column}_recorded" if of_object else column, here, inner, rule))
        if isinstance(inner, fields.Thing):
            layout.inside.append((number, released))
            _collect(inner, here, len(layout.inside), f"{column}_", layout)


_CASE = _layout(fields.CASE, "")


def _tables(layout: _Layout, keys: tuple[str, ...]) -> Iterator[tuple[str, tuple[Column, ...]]]:
    own = QUASI_IDENTIFIERS if layout is _CASE else ("number",) if layout.numbered else ()
    yield (
        layout.table,
        (
            *(Column(name) for name in (*keys, *own)),
            *layout.columns,
            *(column for _, _, column, _ in layout.lists),
            *(Column(name) for name in DERIVED.get(layout.table, ())),
        ),
    )
    for _, _, _, below in layout.lists:
        yield from _tables(below, (*keys, layout.holder[1]) if layout.holder else keys)


TABLES: Mapping[str, tuple[Column, ...]] = dict(_tables(_CASE, ("case",)))
"""Every table of a release with its columns in order."""


def rows_of(case: DeidentifiedCase) -> list[tuple[str, Row]]:
    """The rows of a case with the table of each; a cell that is not there is None."""
    rows: list[tuple[str, Row]] = []
    derived = _derived(counted_complications(case.content))
    _put_rows(_CASE, case.content, (case.pseudonym,), case.quasi_identifiers, (), derived, rows)
    return rows


_NOTHING: Mapping[str, Any] = {}
_NOT_DERIVED: Mapping[str, Cells] = {table: (None,) * len(columns) for table, columns in DERIVED.items()}


def _put_rows(
    layout: _Layout,
    thing: Mapping[str, Any],
    keys: Cells,
    own: Cells,
    place: tuple[int, ...],
    derived: Mapping[tuple[Any, ...], Cells],
    rows: list[tuple[str, Row]],
) -> None:
    """The row of an object at its place in the lists that hold it, then those of its lists."""
    things = [thing]
    for number, name in layout.inside:
        things.append(things[number].get(name, _NOTHING))
    cells: Row = []
    for number, names in layout.cells:
        cells += map(things[number].get, names)
    for at in layout.recorded:
        if cells[at] is not None:
            cells[at] = "yes"
    row = [*keys, *own, *cells]
    rows.append((layout.table, row))
    if layout.holder:
        keys = (*keys, *own) if layout.numbered else (*keys, thing.get(layout.holder[0]))
    for number, name, _, below in layout.lists:
        items = things[number].get(name)
        row.append(None if items is None else len(items))
        for index, item in enumerate(items or (), start=1):
            _put_rows(below, item, keys, (index,) if below.numbered else (), (*place, index), derived, rows)
    if nothing := _NOT_DERIVED.get(layout.table):
        row += derived.get((layout.table, *place), nothing)


def _derived(counted: tuple[CountedComplication, ...]) -> dict[tuple[Any, ...], Cells]:
    """What the counting rules say of each complication, action and declined option, by table and place."""
    cells: dict[tuple[Any, ...], Cells] = {}
    for number, one in enumerate(counted, start=1):
        ladder = one.ladder
        cells["complications", number] = (ladder.cause, one.acts_known, one.in_curve, one.began_here)
        for rung in ladder.rungs:
            cells["actions", number, rung.position] = (
                rung.faced,
                rung.attempt_in_situation,
                rung.attempt_in_complication,
            )
        for place, option in enumerate(ladder.declined, start=1):
            cells["declined", number, place] = (option.faced, option.later_tried)
    return cells


def texts_of(table: str, row: Row) -> Row:
    """The row as it goes to a writer of CSV files, which writes texts, whole numbers and None as `text_of` does."""
    for at in _TO_TEXT[table]:
        if row[at] is not None:
            row[at] = text_of(row[at])
    return row


def _written_alike(column: Column) -> bool:
    """Whether a column holds nothing but texts and whole numbers."""
    kind = column.kind
    if column.rule is None:
        return column.name in _KEYS
    if isinstance(kind, fields.List):
        return isinstance(kind.item, fields.Thing)
    if isinstance(kind, fields.Number):
        return kind.whole or column.rule.form in BANDED
    return True


_KEYS = frozenset({"case", *QUASI_IDENTIFIERS, *(name for _, name in _HOLDERS.values()), "number"})
_TO_TEXT: Mapping[str, tuple[int, ...]] = {
    table: tuple(at for at, column in enumerate(columns) if not _written_alike(column))
    for table, columns in TABLES.items()
}
"""The places in a row, by table, of cells that may be decimals, lists or truths."""


def text_of(cell: Any) -> str:
    """A cell as it stands in a file: no exponents, semicolons in lists, `[]` for a list recorded as empty."""
    return _TEXTS.get(type(cell), str)(cell)


_TEXTS: Mapping[type, Callable[[Any], str]] = {
    type(None): lambda cell: "",
    bool: lambda cell: "yes" if cell else "no",
    tuple: lambda cell: ";".join([text_of(item) for item in cell]) if cell else "[]",
    Decimal: lambda cell: format(cell, "f"),
}
