"""The tables of a release written by the database alone: what a person with SQL would write by hand.

Each table is one statement that gives the very columns of the release: pseudonyms drawn by chance, refs numbered anew,
bands, days from the procedure, figures cut down to two digits, `unknown` where the record says so, numbers of rows, in
an order drawn by chance. No classes are judged, nothing is checked, and what the counting rules say is read from the
columns in which the record keeps it.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from django.db import connection
from django.db.models import DecimalField

from casebook.tables import NAMES, TABLES, Column
from registry.case_fields import SCHEMA_VERSION, Reference
from registry.deidentify.case_view import LETTERS
from registry.deidentify.coarsening import BANDED, bands
from registry.deidentify.rules import Form, Treatment
from registry.documents.tables import CASE_PART, SINGLE_TABLES, Part, Table
from registry.documents.tables import Form as Kept
from registry.models import Case
from registry.models.columns import Row

NOT_COMPARED: Mapping[str, frozenset[str]] = {
    **dict.fromkeys(TABLES, frozenset({"case"})),
    "cases": frozenset({"case", "site"}),
    "actions": frozenset({"case", "attempt_in_situation", "attempt_in_complication"}),
    "declined": frozenset({"case", "situation_faced"}),
}
"""Columns that are drawn by chance, and those that the record keeps in another form than a release tells them."""
_OBJECTS = {
    "lesions": "lesion",
    "complications": "complication",
    "injuries": "injury",
    "complications[].fragments": "fragment",
}
_LISTS = {kind: path for path, kind in _OBJECTS.items()}


class _Cell(NamedTuple):
    """Where a field of the document stands: the alias of its row, its column, and how it is kept there."""

    alias: str
    column: str
    kept: Kept
    decimal: bool

    @property
    def value(self) -> str:
        """The stored value."""
        return f'{self.alias}."{self.column}"'


class Statement(NamedTuple):
    """What writes one table."""

    table: str
    columns: tuple[str, ...]
    sql: str


def leaving(since: str, until: str) -> str:
    """The cases that leave, with pseudonyms and places in the order drawn by chance."""
    drawn = "md5(random()::text)" if _postgresql() else "lower(hex(randomblob(8)))"
    return (
        f"CREATE TEMPORARY TABLE leaving AS SELECT c.id AS case_id, 'P' || substr({drawn}, 1, 12) AS pseudonym, "
        "s.pseudonym AS site, random() AS place, c.procedure_date_earliest AS earliest, "
        "c.procedure_date_latest AS latest "
        f"FROM registry_case c JOIN (SELECT id, 'S' || substr({drawn}, 1, 12) AS pseudonym FROM registry_site) s "
        "ON s.id = c.site_id WHERE c.state IN ('submitted', 'locked') "
        f"AND c.procedure_date_earliest >= '{since}' AND c.procedure_date_latest <= '{until}'"
    )


INDEXED = "CREATE UNIQUE INDEX leaving_case ON leaving (case_id)"


def _postgresql() -> bool:
    return connection.vendor == "postgresql"


def statements() -> Iterator[Statement]:
    """One for each table of a release."""
    layout = _Layout()
    for path, name in NAMES.items():
        columns = TABLES[name]
        cells = [f'{layout.expression(path, column)} AS "{column.name}"' for column in columns]
        yield Statement(
            name,
            tuple(column.name for column in columns),
            f"SELECT {', '.join(cells)} FROM {layout.source(path)}",
        )


class _Layout:
    """Every field and list of the document, by path, with where it is kept."""

    def __init__(self) -> None:
        self.cells: dict[str, _Cell] = {}
        self.objects: dict[str, list[str]] = {}
        self.lists: dict[str, tuple[str, str]] = {}
        self.tables: dict[str, Table] = {}
        self._part(CASE_PART, Case, "", "t")
        for name, table in SINGLE_TABLES.items():
            self._part(table.part, table.model, name, name)

    def _part(self, part: Part, model: type[Row], path: str, alias: str) -> list[str]:
        """Lays out an object; returns the conditions under which it is there."""
        before = f"{path}." if path and not path.endswith(".") else path
        there = [f"{alias}.empty LIKE '%\"{part.empty_as}\"%'"] if part.empty_as else []
        for column in part.columns:
            decimal = column.form is Kept.NUMBER and isinstance(
                model._meta.get_field(column.column), DecimalField
            )
            self.cells[f"{before}{column.field}"] = _Cell(alias, column.column, column.form, decimal)
            stored = f"{column.column}_earliest" if column.form is Kept.DATE else column.column
            if column.form in (Kept.STAFF, Kept.MODEL):
                stored += "_id"
            there += [f"{alias}.{stored} IS NOT NULL", f"{alias}.unknown LIKE '%\"{column.column}\"%'"]
        for name, inner in part.inside:
            there += self._part(inner, model, f"{before}{name}", alias)
        for name, column_name, table in part.lists:
            self.lists[f"{before}{name}"] = (alias, column_name)
            self.tables[f"{before}{name}"] = table
            self._part(table.part, table.model, f"{before}{name}[].", "t")
        self.objects[path.rstrip(".")] = there
        return there

    def source(self, path: str) -> str:
        """The rows of a table with those that they hang on, in the order drawn by chance."""
        if not path:
            singles = " ".join(
                f"LEFT JOIN {table.model._meta.db_table} {name} ON {name}.case_id = t.id"
                for name, table in SINGLE_TABLES.items()
            )
            return f"leaving l JOIN registry_case t ON t.id = l.case_id {singles} ORDER BY l.place"
        joins, order, table, alias = [], ['t."index"'], self.tables[path], "t"
        for holder in _holders(path):
            above = self.tables[holder]
            joins.append(
                f"JOIN {above.model._meta.db_table} {_alias(holder)} ON {_alias(holder)}.id = {alias}.{table.parent}_id"
            )
            order.insert(0, f'{_alias(holder)}."index"')
            table, alias = above, _alias(holder)
        only = " WHERE t.action_id IS NULL" if path.endswith("other_devices") else ""
        return (
            f"{self.tables[path].model._meta.db_table} t JOIN leaving l ON l.case_id = t.case_id "
            f"{' '.join(joins)}{only} ORDER BY l.place, {', '.join(order)}"
        )

    def expression(self, path: str, column: Column) -> str:
        """What a column of a release holds."""
        if column.rule is None:
            return self._without_rule(path, column.name)
        if column.name.endswith("_count") and column.path in self.lists:
            return self._count(column.path)
        if column.name.endswith("_recorded"):
            return f"CASE WHEN {' OR '.join(self.objects[column.path])} THEN 'yes' END"
        if column.path == "schema_version":
            return f"'{SCHEMA_VERSION}'"
        cell = self.cells[column.path]
        if column.rule.form is Form.NUMBERED:
            return self._numbered(path, column, cell.value)
        if column.rule.treatment is Treatment.SHIFT:
            return _each(cell.value, _day_of) if cell.kept is Kept.LIST else _days(cell.value[:-1])
        made = _made(cell, column.rule.form)
        if cell.kept is not Kept.NUMBER:
            return made
        unknown = f"{cell.alias}.unknown <> '[]' AND {cell.alias}.unknown LIKE '%\"{cell.column}\"%'"
        return f"CASE WHEN {cell.value} IS NOT NULL THEN {made} WHEN {unknown} THEN 'unknown' END"

    def _count(self, path: str) -> str:
        alias, empty = self.lists[path]
        table = self.tables[path]
        holder = "l.case_id" if table.parent == "case" else "t.id"
        only = " AND n.action_id IS NULL" if path.endswith("other_devices") else ""
        number = f"(SELECT count(*) FROM {table.model._meta.db_table} n WHERE n.{table.parent}_id = {holder}{only})"
        return f"CASE WHEN {alias}.empty LIKE '%\"{empty}\"%' THEN 0 ELSE NULLIF({number}, 0) END"

    def _numbered(self, path: str, column: Column, value: str) -> str:
        if column.path.endswith("[].ref"):
            return f"""'{LETTERS[_OBJECTS[path]]}' || (t."index" + 1)"""
        assert isinstance(column.kind, Reference)
        to = column.kind.to
        table = self.tables[_LISTS[to]]
        return (
            f"""(SELECT '{LETTERS[to]}' || (r."index" + 1) FROM {table.model._meta.db_table} r """
            f"WHERE r.case_id = t.case_id AND r.ref = {value})"
        )

    def _without_rule(self, path: str, name: str) -> str:
        if not path and name not in ("case", "site"):
            return _QUASI_IDENTIFIERS[name]()
        if name in ("case", "site"):
            return {"case": "l.pseudonym", "site": "l.site"}[name]
        if name == "number":
            return 't."index" + 1'
        if name == "follow_up":
            return f'{_alias("follow_up")}."index" + 1'
        if name in LETTERS:
            return f"""'{LETTERS[name]}' || ({_alias(_LISTS[name])}."index" + 1)"""
        if name == "position":
            return f"{_alias('complications[].actions')}.position"
        if name in ("acts_counted", "in_curve", "in_device_rate", "later_tried"):
            return f"CASE WHEN t.{name} THEN 'yes' WHEN NOT t.{name} THEN 'no' END"
        return f"t.{'considered_for' if path.endswith('declined') else name}"


def _made(cell: _Cell, form: Form | None) -> str:
    """What is made of a stored value that is there."""
    if form in BANDED:
        return _band(form, cell.value)
    if form is Form.TWO_DIGITS:
        return _each(cell.value, _digits_of) if cell.kept is Kept.LIST else _two_digits(cell.value)
    if cell.kept is Kept.LIST:
        return _list(cell.value)
    if cell.decimal:
        return _shortest(cell.value)
    return f"CAST({cell.value} AS TEXT)" if cell.kept is Kept.NUMBER else cell.value


def _alias(path: str) -> str:
    return re.sub(r"\W+", "_", path).strip("_") + "_h"


def _holders(path: str) -> list[str]:
    """The lists that hold a list, the nearest first."""
    found = []
    while "[]." in path:
        path = path.rpartition("[].")[0]
        found.append(path)
    return found


def _shortest(value: str) -> str:
    if _postgresql():
        return f"trim_scale({value})::text"
    whole = f"CAST({value} AS INTEGER)"
    return f"CAST(CASE WHEN {value} = {whole} THEN {whole} ELSE {value} END AS TEXT)"


def _two_digits(value: str) -> str:
    """SQLite has no decimals, so its figures are rounded to the six places that they may have."""
    if _postgresql():
        cut = f"trim_scale(trunc({value}, 1 - floor(log({value}::float8))::int))::text"
    else:
        power = f"pow(10, 1 - floor(log10({value})))"
        cut = _shortest(f"(round(floor(round({value} * {power}, 6)) / {power}, 6))")
    return f"CASE WHEN {value} = 0 THEN '0' ELSE {cut} END"


def _band(form: Form, value: str) -> str:
    labels = bands(form)
    starts = [(int(re.findall(r"\d+", label)[0]), label) for label in labels if re.match(r"\d", label)]
    below = labels[0] if not re.match(r"\d", labels[0]) else None
    whens = [f"WHEN {value} >= {start} THEN '{label}'" for start, label in reversed(starts)]
    return f"CASE {' '.join(whens)} {f'''ELSE '{below}' ''' if below else ''}END"


def _year(value: str) -> str:
    return f"extract(year FROM {value})::int" if _postgresql() else f"CAST(substr({value}, 1, 4) AS INTEGER)"


def _apart(later: str, earlier: str) -> str:
    if _postgresql():
        return f"({later} - {earlier})::text"
    return f"CAST(CAST(julianday({later}) - julianday({earlier}) AS INTEGER) AS TEXT)"


def _days(stem: str) -> str:
    first, last = f'{stem}_earliest"', f'{stem}_latest"'
    return (
        f"CASE WHEN {first} = {last} AND l.earliest = l.latest THEN {_apart(first, 'l.earliest')} "
        f"WHEN {first} IS NOT NULL THEN 'unknown' END"
    )


def _day_of(text: str) -> str:
    """Days to one date of a list, which is known to the day where it has ten letters."""
    days = _apart(f"{text}::date" if _postgresql() else text, "l.earliest")
    return f"CASE WHEN length({text}) = 10 AND l.earliest = l.latest THEN {days} ELSE 'unknown' END"


def _digits_of(text: str) -> str:
    number = f"{text}::numeric" if _postgresql() else f"CAST({text} AS REAL)"
    return f"CASE WHEN {text} = 'unknown' THEN 'unknown' ELSE {_two_digits(number)} END"


def _each(value: str, made: Callable[[str], str]) -> str:
    """A list with something made of each of its items."""
    if _postgresql():
        listed, joined = f"json_array_elements_text({value}::json) AS d(value)", "string_agg"
    else:
        listed, joined = f"json_each({value}) AS d", "group_concat"
    return (
        f"CASE WHEN {value} = '[]' THEN '[]' ELSE (SELECT {joined}({made('d.value')}, ';') FROM {listed}) END"
    )


def _list(value: str) -> str:
    return f"""CASE WHEN {value} = '[]' THEN '[]' ELSE replace(replace(trim({value}, '[]'), '"', ''), ',', ';') END"""


_QUASI_IDENTIFIERS: Mapping[str, Callable[[], str]] = {
    "year": lambda: _year("l.earliest"),
    "age_band": lambda: (
        f"CASE WHEN t.patient_age IS NULL THEN 'unknown' ELSE {_band(Form.AGE_BAND, 't.patient_age')} END"
    ),
    "sex": lambda: "COALESCE(t.patient_sex, 'unknown')",
    "device_class": lambda: (
        "COALESCE((SELECT f.device_class FROM registry_complication f "
        "WHERE f.case_id = t.id AND f.\"index\" = 0), 'unknown')"
    ),
}


def compared(copy: Path, release: Path) -> None:
    """AssertionError unless both wrote the same rows, but for what is drawn by chance."""
    for table in TABLES:
        ours, theirs = (_rows(folder, table) for folder in (release, copy))
        strange = [dict(zip(ours[0], row, strict=True)) for row in (ours[1] - theirs[1]).elements()]
        lacking = [dict(zip(ours[0], row, strict=True)) for row in (theirs[1] - ours[1]).elements()]
        assert not (strange or lacking), (table, strange, lacking)


def _rows(folder: Path, table: str) -> tuple[list[str], Counter[tuple[str, ...]]]:
    """The columns to be compared, and how often each row stands there."""
    with (folder / f"{table}.csv").open(encoding="utf-8", newline="") as file:
        heading, *rows = csv.reader(file)
    wanted = [at for at, name in enumerate(heading) if name not in NOT_COMPARED[table]]
    return [heading[at] for at in wanted], Counter(tuple(row[at] for at in wanted) for row in rows)


def copied(folder: Path, since: str, until: str) -> int:
    """Writes the tables, once in a connection; returns the number of cases. `until` is a day."""
    with connection.cursor() as cursor:
        cursor.execute(leaving(since, until))
        cursor.execute(INDEXED)
        if _postgresql():
            cursor.execute("ANALYZE leaving")
        for one in statements():
            path = folder / f"{one.table}.csv"
            if _postgresql():
                inner: Any = cursor.cursor
                with (
                    path.open("wb") as file,
                    inner.copy(f"COPY ({one.sql}) TO STDOUT (FORMAT csv, HEADER)") as copy,
                ):
                    for part in copy:
                        file.write(part)
                continue
            cursor.execute(one.sql)
            with path.open("w", encoding="utf-8", newline="") as text:
                writer = csv.writer(text, lineterminator="\n")
                writer.writerow(one.columns)
                while rows := cursor.fetchmany(2_000):
                    writer.writerows(rows)
        cursor.execute("SELECT count(*) FROM leaving")
        (number,) = cursor.fetchone()
    return int(number)
