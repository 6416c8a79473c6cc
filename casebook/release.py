"""The files of a release, made of nothing but de-identified cases; neither record nor right is asked here."""

from __future__ import annotations

import csv
import datetime
from collections.abc import Iterable, Iterator, Sequence
from contextlib import ExitStack
from itertools import zip_longest
from pathlib import Path
from typing import Protocol

from casebook import codebook
from casebook.disclosure import JUDGED_BY, Disclosure, Period, ReleaseRefused, judged, report
from casebook.package import write_csv, write_json, write_manifest
from casebook.tables import TABLES, rows_of, texts_of
from registry.cautions import caution
from registry.deidentify.case_view import DeidentifiedCase
from registry.deidentify.field_policy import policy_version
from registry.vocabulary import VERSION

SCHEMA = 1
CAUTIONS = ("observational", "release_rule", "trained_teams")
FORMATS = ("csv",)


class Cases(Protocol):
    """The cases of a release, in one order for both ways of reading them."""

    def parts(self, wanted: frozenset[str]) -> Iterator[DeidentifiedCase]:
        """Every case, with no more than the wanted fields of the document."""

    def whole(self, kept: Sequence[bool]) -> Iterator[DeidentifiedCase]:
        """Those of the cases of `parts` for which `kept` is true."""


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
    cases: Cases,
    *,
    code: str,
    smallest_class: int,
    period: Period,
    left_out: int,
    today: datetime.date,
) -> tuple[Disclosure, str]:
    """Judges the cases and writes those that may leave; returns what was found and the manifest's SHA-256.

    The cases are read twice, so that a release of any size needs little memory: first what the rule looks at, then
    those that may leave. ReleaseRefused where one of these was changed in between.
    """
    disclosure = judged(cases.parts(JUDGED_BY), smallest_class)
    counts = _write_tables(folder, _kept(cases, disclosure))
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


def _kept(cases: Cases, disclosure: Disclosure) -> Iterator[DeidentifiedCase]:
    """The cases that may leave, read again; ReleaseRefused unless they are all there, each in the class it was in."""
    for case, known in zip_longest(cases.whole(disclosure.kept), disclosure.classes):
        if case is None or case.quasi_identifiers != known:
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
                writers[table].writerow(texts_of(table, row))
                counts[table] += 1
    return counts
