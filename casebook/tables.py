"""De-identified cases as flat tables, one for each list of the case document; which columns there are, and the rows.

Columns follow from the table of fields and the policy, so a field that the policy lets go has its column, and no other.
An object's fields stand in the row of what holds it; each list of objects is a table, tied to its holder by `case` and
the holder's ref or number. Beside each list stands how many rows it has: 0 is recorded as none, empty not recorded.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from registry import case_fields as fields
from registry.canonical import KEPT_WHEN_EMPTY
from registry.case_ladders import CountedComplication, counted_complications
from registry.deidentify.case_view import QUASI_IDENTIFIERS, DeidentifiedCase, released_name
from registry.deidentify.field_policy import DOCUMENT
from registry.deidentify.rules import Rule, Treatment

Cells = dict[str, Any]

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
    """How one object becomes a row: where in it each cell is found, and its lists, which are tables of their own."""

    table: str
    kind: fields.Thing
    cells: tuple[tuple[tuple[str, ...], Column], ...]
    lists: tuple[tuple[tuple[str, ...], Column, _Layout], ...]


def _layout(kind: fields.Thing, path: str) -> _Layout:
    cells: list[tuple[tuple[str, ...], Column]] = []
    lists: list[tuple[tuple[str, ...], Column, _Layout]] = []
    _collect(kind, path, (), cells, lists)
    return _Layout(NAMES[path.removesuffix("[]")], kind, tuple(cells), tuple(lists))


def _collect(kind: fields.Thing, path: str, way: tuple[str, ...], cells: list[Any], lists: list[Any]) -> None:
    for name, inner in kind.fields.items():
        here = f"{path}.{name}" if path else name
        rule = DOCUMENT[here]
        if rule.treatment is Treatment.DROP or here in _IN_QUASI_IDENTIFIERS:
            continue
        steps = (*way, released_name(name, rule))
        column = "_".join(steps)
        if isinstance(inner, fields.Thing):
            if name in KEPT_WHEN_EMPTY:
                cells.append((steps, Column(f"{column}_recorded", here, inner, rule)))
            _collect(inner, here, steps, cells, lists)
        elif isinstance(inner, fields.List) and isinstance(inner.item, fields.Thing):
            below = _layout(inner.item, f"{here}[]")
            lists.append((steps, Column(f"{column}_count", here, inner, rule), below))
        else:
            cells.append((steps, Column(column, here, inner, rule)))


_CASE = _layout(fields.CASE, "")


def _tables(layout: _Layout, keys: tuple[str, ...]) -> Iterator[tuple[str, tuple[Column, ...]]]:
    own = QUASI_IDENTIFIERS if layout is _CASE else ("number",) if layout.kind.name == "follow_up" else ()
    yield (
        layout.table,
        (
            *(Column(name) for name in (*keys, *own)),
            *(column for _, column in layout.cells),
            *(column for _, column, _ in layout.lists),
            *(Column(name) for name in DERIVED.get(layout.table, ())),
        ),
    )
    for _, _, below in layout.lists:
        holder = _HOLDERS.get(layout.kind.name)
        yield from _tables(below, (*keys, holder[1]) if holder else keys)


TABLES: Mapping[str, tuple[Column, ...]] = dict(_tables(_CASE, ("case",)))
"""Every table of a release with its columns in order."""


def rows_of(case: DeidentifiedCase) -> Iterator[tuple[str, Cells]]:
    """The rows of a case with the table of each; a cell that is not there is empty."""
    derived = _derived(counted_complications(case.content))
    yield from _rows(_CASE, case.content, {"case": case.pseudonym}, (), derived, _quasi(case))


def _quasi(case: DeidentifiedCase) -> Cells:
    return dict(zip(QUASI_IDENTIFIERS, case.quasi_identifiers, strict=True))


def _rows(
    layout: _Layout,
    thing: Mapping[str, Any],
    keys: Cells,
    place: tuple[int, ...],
    derived: Mapping[tuple[Any, ...], Cells],
    own: Cells,
) -> Iterator[tuple[str, Cells]]:
    """The row of an object at its place in the lists that hold it, then those of its lists."""
    row = {**keys, **own, **derived.get((layout.table, *place), {})}
    for steps, column in layout.cells:
        found = _found(thing, steps)
        row[column.name] = "yes" if isinstance(found, Mapping) else found
    listed = [(column, below, _found(thing, steps)) for steps, column, below in layout.lists]
    for column, _, items in listed:
        row[column.name] = None if items is None else len(items)
    yield layout.table, row
    if holder := _HOLDERS.get(layout.kind.name):
        keys = {**keys, holder[1]: row[holder[0]]}
    for _, below, items in listed:
        for number, item in enumerate(items or (), start=1):
            numbered = {"number": number} if below.kind.name == "follow_up" else {}
            yield from _rows(below, item, keys, (*place, number), derived, numbered)


def _found(thing: Mapping[str, Any], steps: tuple[str, ...]) -> Any:
    found: Any = thing
    for step in steps:
        if found is None:
            return None
        found = found.get(step)
    return found


def _derived(counted: tuple[CountedComplication, ...]) -> dict[tuple[Any, ...], Cells]:
    """What the counting rules say of each complication, action and declined option, by table and place."""
    cells: dict[tuple[Any, ...], Cells] = {}
    for number, one in enumerate(counted, start=1):
        cells["complications", number] = {
            "cause": one.ladder.cause,
            "acts_counted": one.acts_known,
            "in_curve": one.in_curve,
            "in_device_rate": one.began_here,
        }
        for rung in one.ladder.rungs:
            cells["actions", number, rung.position] = {
                "situation_faced": rung.faced,
                "attempt_in_situation": rung.attempt_in_situation,
                "attempt_in_complication": rung.attempt_in_complication,
            }
        for place, option in enumerate(one.ladder.declined, start=1):
            cells["declined", number, place] = {
                "situation_faced": option.faced,
                "later_tried": option.later_tried,
            }
    return cells


def text_of(cell: Any) -> str:
    """A cell as it stands in a file: no exponents, semicolons in lists, `[]` for a list recorded as empty."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, tuple):
        return ";".join(text_of(item) for item in cell) if cell else "[]"
    return format(cell, "f") if isinstance(cell, Decimal) else str(cell)
