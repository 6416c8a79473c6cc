"""The files of a release, made of nothing but de-identified cases; neither record nor right is asked here."""

from __future__ import annotations

import csv
import datetime
from collections.abc import Callable, Hashable, Iterable, Iterator, Mapping
from contextlib import ExitStack
from pathlib import Path

from casebook import codebook
from casebook.disclosure import Disclosure, Period, ReleaseRefused, judged, report
from casebook.package import write_csv, write_json, write_manifest
from casebook.tables import TABLES, rows_of, text_of
from registry.cautions import caution
from registry.deidentify.case_view import DeidentifiedCase
from registry.deidentify.field_policy import policy_version
from registry.vocabulary import VERSION

SCHEMA = 1
CAUTIONS = ("observational", "release_rule", "trained_teams")
FORMATS = ("csv",)

Read = Callable[[], Iterable[DeidentifiedCase]]
"""Reads the cases of the release, each time in another order."""


def formats_of(text: str) -> None:
    """ReleaseRefused unless every format asked for is one that releases are written in."""
    asked = [name.strip() for name in text.split(",") if name.strip()]
    strange = [name for name in asked if name not in FORMATS]
    if strange or not asked:
        raise ReleaseRefused(
            f"this registry writes releases as {', '.join(FORMATS)}, not as {', '.join(strange) or 'nothing'}"
        )


def write_release(
    folder: Path,
    read: Read,
    *,
    code: str,
    smallest_class: int,
    period: Period,
    left_out: int,
    today: datetime.date,
) -> tuple[Disclosure, str]:
    """Judges the cases and writes those that may leave; returns what was found and the manifest's SHA-256.

    The cases are read twice, so that a release of any size needs little memory; ReleaseRefused where one that may leave
    was changed in between.
    """
    disclosure = judged(read(), smallest_class)
    counts = _write_tables(folder, _kept(read(), disclosure.kept))
    if counts["cases"] != len(disclosure.kept):
        raise _changed()
    write_csv(folder / "codebook.csv", codebook.HEADING, codebook.entries())
    write_json(folder / "disclosure.json", report(disclosure, left_out))
    described = {
        "schema": SCHEMA,
        "release": code,
        "made": f"{today:%Y-%m}",
        "years": period.years,
        "rows": {f"{table}.csv": count for table, count in counts.items()},
        "policy": policy_version(),
        "vocabulary": VERSION,
        "k": disclosure.smallest_class,
        "cautions": [caution(name) for name in CAUTIONS],
    }
    return disclosure, write_manifest(folder, described)


def _kept(cases: Iterable[DeidentifiedCase], kept: Mapping[str, Hashable]) -> Iterator[DeidentifiedCase]:
    for case in cases:
        if case.pseudonym in kept:
            if kept[case.pseudonym] != case.quasi_identifiers:
                raise _changed()
            yield case


def _changed() -> ReleaseRefused:
    return ReleaseRefused("cases were changed while the release was made; nothing is released: make it again")


def _write_tables(folder: Path, cases: Iterable[DeidentifiedCase]) -> dict[str, int]:
    """A file for each table; returns the number of its rows."""
    counts = dict.fromkeys(TABLES, 0)
    with ExitStack() as open_files:
        writers = {}
        for table, columns in TABLES.items():
            file = open_files.enter_context((folder / f"{table}.csv").open("w", encoding="utf-8", newline=""))
            writers[table] = csv.writer(file, lineterminator="\n")
            writers[table].writerow(column.name for column in columns)
        for case in cases:
            for table, row in rows_of(case):
                writers[table].writerow(text_of(row.get(column.name)) for column in TABLES[table])
                counts[table] += 1
    return counts
