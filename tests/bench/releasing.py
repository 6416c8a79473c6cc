"""P12: a data release beside writing the same tables' released columns out by the database; one process for each way.

Run as a module with a way and a folder, it does that once and prints seconds and the peak of its memory.
"""

from __future__ import annotations

import csv
import datetime
import json
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from unittest import mock

from tests.bench.measuring import Measured

ADDRESS = "bench-release@north.example"
SINCE, UNTIL = "2000-01", "2026-10"
MEGABYTES = 150
WAYS = ("release", "copy")


def release(size: int) -> Iterator[Measured]:
    """The ratio of the times, and the peak of the memory."""
    from django.db import connection

    from registry.models import Site
    from registry.recording.sites import give_role
    from registry.terms import Role

    for site in Site.objects.all():
        give_role(ADDRESS, site, Role.QUALITY_OFFICER, by=None)
    connection.close()
    rounds = 3 if size <= 10_000 else 1
    told: dict[str, list[dict[str, float]]] = {way: [] for way in WAYS}
    for _ in range(rounds):
        for way in WAYS:
            with tempfile.TemporaryDirectory() as folder:
                words = [sys.executable, "-m", "tests.bench.releasing", way, folder]
                done = subprocess.run(words, stdout=subprocess.PIPE, text=True, check=True)
            told[way].append(json.loads(done.stdout.splitlines()[-1]))
    ratio = statistics.median(
        one["seconds"] / other["seconds"] for one, other in zip(told["release"], told["copy"], strict=True)
    )
    peak = max(one["megabytes"] for one in told["release"])
    detail = (
        f"release {told['release'][-1]['seconds']:.1f} s, {told['release'][-1]['rows']:.0f} cases, "
        f"copy {told['copy'][-1]['seconds']:.2f} s, {rounds} rounds; peak {peak:.0f} MB, "
        f"copy {max(one['megabytes'] for one in told['copy']):.0f} MB"
    )
    yield Measured("P12", connection.vendor, size, ratio, 5.0, detail)
    yield Measured("P12 memory", connection.vendor, size, peak / MEGABYTES, 1.0, f"peak {peak:.0f} MB")


def _release(folder: Path) -> int:
    from casebook import disclosure
    from casebook.disclosure import period_of
    from casebook.recording import make_release
    from registry.models import Person, Site

    period = period_of(SINCE, UNTIL, datetime.date(2026, 12, 1))
    by = Person.objects.get(email=ADDRESS)
    with mock.patch.object(disclosure, "ONE_IN", 1):  # however many are suppressed: all work is done
        receipt = make_release(
            folder / "release", sites=list(Site.objects.all()), period=period, purpose="bench", by=by
        )
    return receipt.released


def _released_columns() -> Iterator[tuple[str, list[str]]]:
    """Each table of the record with the columns that a release lets out."""
    from django.db.models import Model

    from registry.deidentify.column_policy import COLUMNS
    from registry.deidentify.rules import Treatment
    from registry.documents.tables import MODELS
    from registry.models import Case

    models: tuple[type[Model], ...] = (Case, *MODELS)
    for model in models:
        fields = [
            f'"{field.column}"'
            for field in model._meta.concrete_fields
            if COLUMNS[f"{model._meta.label}.{field.name}"].treatment is not Treatment.DROP
        ]
        if fields:
            yield model._meta.db_table, fields


def _copied(folder: Path) -> int:
    """Writes the tables out; returns their number."""
    from django.db import connection

    tables = 0
    for table, columns in _released_columns():
        tables += 1
        statement = f"SELECT {', '.join(columns)} FROM {table}"
        path = folder / f"{table}.csv"
        with connection.cursor() as cursor:
            if connection.vendor == "postgresql":
                inner: Any = cursor.cursor
                copied = inner.copy(f"COPY ({statement}) TO STDOUT (FORMAT csv, HEADER)")
                with path.open("wb") as file, copied as copy:
                    for part in copy:
                        file.write(part)
                continue
            cursor.execute(statement)
            with path.open("w", encoding="utf-8", newline="") as text:
                writer = csv.writer(text)
                writer.writerow(columns)
                while part := cursor.fetchmany(2_000):
                    writer.writerows(part)
    return tables


def main() -> None:
    """One way, once."""
    import os

    import django

    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "deploy.settings")
    django.setup()
    way, folder = sys.argv[1], Path(sys.argv[2])
    start = time.perf_counter()
    rows = {"release": _release, "copy": _copied}[way](folder)
    seconds = time.perf_counter() - start
    print(json.dumps({"seconds": seconds, "megabytes": _peak(), "rows": rows}))


def _peak() -> float:
    """Megabytes at the most; `getrusage` would count those of the process that started this one as well."""
    lines = Path("/proc/self/status").read_text(encoding="ascii").splitlines()
    (kilobytes,) = (line.split()[1] for line in lines if line.startswith("VmHWM:"))
    return int(kilobytes) / 1024


if __name__ == "__main__":
    main()
