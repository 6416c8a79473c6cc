"""The same counts by people with a dump in hand: pandas on a CSV file, DuckDB on a Parquet file."""

from __future__ import annotations

import csv
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.db import connection

from analytics.cohorts import Filters, techniques
from registry.access import scope_of_command_line
from tests.bench.counting import KEYS, RESULTS, STATEMENT, by_hand
from tests.bench.measuring import Measured, side_by_side

COLUMNS = (
    *KEYS,
    *("attempt_result", "with_injury", "with_new_complication", "complication_id", "case_id"),
    *("ends_attempt", "acts_counted"),
)


def beside_files(size: int) -> Iterator[Measured]:
    """The product's live answer over theirs: below 1 it is faster. What making the files took does not count."""
    import duckdb

    whole = scope_of_command_line()
    with tempfile.TemporaryDirectory() as folder, duckdb.connect() as duck:
        dump, packed = Path(folder) / "actions.csv", Path(folder) / "actions.parquet"
        _dumped(dump)
        duck.execute(f"COPY (SELECT * FROM read_csv('{dump}')) TO '{packed}' (FORMAT parquet)")
        statement = STATEMENT.replace("{where}", "").replace("registry_action", f"'{packed}'")
        expected = _in_order(by_hand("", []))
        assert _in_order(duck.execute(statement).fetchall()) == expected, "DuckDB counts otherwise"
        assert _attempts(_by_pandas(dump)) == sum(row[len(KEYS) + len(RESULTS)] for row in expected), (
            "pandas counts otherwise"
        )
        for name, floor in (
            ("pandas", lambda: _by_pandas(dump)),
            ("duckdb", lambda: duck.execute(statement).fetchall()),
        ):
            ratio, detail = side_by_side(
                lambda: techniques(whole, Filters(), by_attempt=True), floor, rounds=7
            )
            yield Measured(f"P4 beside {name}", connection.vendor, size, ratio, None, detail)


def _dumped(path: Path) -> None:
    with connection.cursor() as cursor, path.open("w", encoding="utf-8", newline="") as file:
        cursor.execute(f"SELECT {', '.join(COLUMNS)} FROM registry_action")
        writer = csv.writer(file)
        writer.writerow(COLUMNS)
        truth = [COLUMNS.index(name) for name in ("with_injury", "with_new_complication", *COLUMNS[-2:])]
        while rows := cursor.fetchmany(10_000):
            for row in map(list, rows):
                for place in truth:
                    row[place] = str(bool(row[place])).lower()
                writer.writerow(row)


def _by_pandas(path: Path) -> Any:
    import pandas

    frame = pandas.read_csv(path, keep_default_na=True)
    frame = frame[frame["ends_attempt"] & frame["acts_counted"]]
    keys = [*KEYS, "attempt_result"]
    results = frame.groupby(keys, dropna=False).size().unstack(fill_value=0)
    resolved = frame["attempt_result"] == "resolved"
    harmed = frame[resolved].groupby(list(KEYS), dropna=False)[["with_injury", "with_new_complication"]].sum()
    known = frame[frame["attempt_result"] != "unknown"].groupby(list(KEYS), dropna=False)
    won = frame[resolved].groupby(list(KEYS), dropna=False)["complication_id"].nunique()
    return (
        results.join(harmed).join(known[["complication_id", "case_id"]].nunique()).join(won, rsuffix="_won")
    )


def _attempts(frame: Any) -> int:
    results = [name for name in frame.columns if name in RESULTS and name != "unknown"]
    return int(frame[results].to_numpy().sum())


def _in_order(rows: list[Any]) -> list[tuple[Any, ...]]:
    return sorted((tuple(row) for row in rows), key=lambda row: [str(cell) for cell in row])
