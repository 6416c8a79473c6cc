"""Case documents from a flat table, one row an action: a lossy way in for records that were kept in a spreadsheet.

The columns are listed, with what each holds, in `registry/schema/flat_columns.csv`. Rows of one `site` and `id` are one
case; rows of one `complication` within it are one complication. A row without a `position` has no action: its
complication's actions are not recorded, or none were tried where `actions_known` says `all`.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path

from registry.canonical import Json, NotReadable, read
from registry.vocabulary import UNKNOWN

COLUMN_FILE = Path(__file__).parent.parent / "schema" / "flat_columns.csv"


class Contradictory(ValueError):
    """Two rows of one case, or of one complication, say different things in the same column."""


@dataclass(frozen=True, slots=True)
class FlatColumn:
    """A column: where its value goes (`level` and dotted `path`), how it is read (`kind`), whether it is needed."""

    name: str
    level: str
    path: str
    kind: str
    needed: bool
    meaning: str


@cache
def columns() -> tuple[FlatColumn, ...]:
    """The columns in the order of the published list."""
    with COLUMN_FILE.open(encoding="utf-8", newline="") as file:
        return tuple(
            FlatColumn(r["column"], r["level"], r["path"], r["kind"], r["needed"] == "yes", r["meaning"])
            for r in csv.DictReader(file)
        )


def needed_columns() -> list[str]:
    """The columns that a file must have."""
    return [column.name for column in columns() if column.needed]


def optional_columns() -> list[str]:
    """The columns that a file may have."""
    return [column.name for column in columns() if not column.needed]


Rows = Sequence[tuple[int, Mapping[str, str]]]


def documents_of_rows(rows: Rows) -> Iterator[tuple[str, Json, str]]:
    """For each case where it stands (its first line), its document, and what is wrong where it cannot be made."""
    cases: dict[tuple[str, str], list[tuple[int, Mapping[str, str]]]] = {}
    for line, row in rows:
        cases.setdefault((row["site"], row["id"]), []).append((line, row))
    for listed in cases.values():
        try:
            yield f"line {listed[0][0]}", _document(listed), ""
        except (Contradictory, NotReadable) as error:
            yield f"line {listed[0][0]}", None, str(error)


def _document(rows: Rows) -> dict[str, Json]:
    document: dict[str, Json] = {"procedure": {}, "complications": []}
    complications: dict[str, tuple[dict[str, Json], list[Mapping[str, Json]]]] = {}
    for line, row in rows:
        _put_level(document, row, "case", line)
        complication, actions = complications.setdefault(row.get("complication", ""), ({"device": {}}, []))
        _put_level(complication, row, "complication", line)
        action: dict[str, Json] = {}
        _put_level(action, row, "action", line)
        if action.get("position") is not None:
            actions.append(action)
        elif action:
            raise Contradictory(f"line {line}: an action needs its position; allowed: a whole number from 1")
    for complication, actions in complications.values():
        if actions or complication.get("actions_known") == "all":
            complication["actions"] = actions
        document["complications"].append(complication)
    return document


def _put_level(holder: dict[str, Json], row: Mapping[str, str], level: str, line: int) -> None:
    for column in columns():
        if column.level == level and (text := row.get(column.name, "")):
            _put(holder, column, _value(text, column.kind), line)


def _put(holder: dict[str, Json], column: FlatColumn, value: Json, line: int) -> None:
    *way, name = column.path.split(".")
    for step in way:
        holder = holder.setdefault(step, {})
    if name in holder and holder[name] != value:
        raise Contradictory(
            f"line {line}: field {column.name}, value {value!r}: another row of the same {column.level} says "
            f"{holder[name]!r}; allowed: the same in all its rows"
        )
    holder[name] = value


def _value(text: str, kind: str) -> Json:
    if kind == "list":
        return [part.strip() for part in text.split(";") if part.strip()]
    if kind == "number" and text != UNKNOWN:
        try:
            return read(text)
        except NotReadable:
            return text
    return text
