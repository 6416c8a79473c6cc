"""Runs the benchmark on both engines: a table on stdout, and `var/bench/latest.json`.

A ratio is a failure beyond one and a half times its target, for noise; a target of 0 is for things that are counted.
Times of different runs are never compared. `SIZES` are the numbers of cases ("10000 100000"); each registry is loaded
before anything of its size is measured.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from itertools import chain
from typing import Any

from tests.bench.engine import HELD_IN_MEMORY
from tests.bench.growing import growth
from tests.bench.intervals import alike, intervals, sums
from tests.run import TESTS, postgresql

SIZES = sorted(map(int, os.environ.get("SIZES", "10000 100000").split()))
NOISE = 1.5
OUT = TESTS.parent / "var" / "bench"


def of_size(size: int) -> Iterator[dict[str, Any]]:
    """What is measured of a registry of so many cases, SQLite first."""
    with ExitStack() as stack:
        urls = ["", stack.enter_context(postgresql())]
        folders = [stack.enter_context(tempfile.TemporaryDirectory()) for _ in urls]
        settings = [
            {**os.environ, "VAR_DIR": folder, "DATABASE_URL": url}
            for folder, url in zip(folders, urls, strict=True)
        ]
        large = size > HELD_IN_MEMORY  # then loading takes long, and nothing of it is measured
        if large:
            _done([_started("loading", str(size), environment=one) for one in settings])
        for environment in settings:
            words = ["engine", "--size", str(size), *(["--as-it-is"] if large else [])]
            engine = _started(*words, environment=environment, stdout=subprocess.PIPE)
            assert engine.stdout is not None
            for line in engine.stdout:
                yield json.loads(line)
            _done([engine])


def _started(*words: str, environment: dict[str, str], **options: Any) -> subprocess.Popen[str]:
    module, *rest = words
    command = [sys.executable, "-m", f"tests.bench.{module}", *rest]
    return subprocess.Popen(command, cwd=TESTS.parent, env=environment, text=True, **options)


def _done(processes: list[subprocess.Popen[str]]) -> None:
    ended = [one.wait() for one in processes]
    if any(ended):
        raise SystemExit("the benchmark stopped: see above")


def shown(row: dict[str, Any]) -> dict[str, Any]:
    """The row, printed as soon as it is measured."""
    target = "" if row["target"] is None else f"{row['target']:.2f}"
    line = f"{row['id']:28}{row['engine']:12}{row['size']:>9}{row['ratio']:>9.2f}{target:>8}  {row['detail']}"
    print(line, flush=True)
    return row


def main() -> int:
    """Both engines; 0 where no ratio is far beyond its target."""
    print(f"{'id':28}{'engine':12}{'size':>9}{'ratio':>9}{'target':>8}  detail")
    without = (one.as_row() for one in chain(intervals(), sums(), alike()))
    rows = [shown(row) for row in chain(without, chain.from_iterable(map(of_size, SIZES)))]
    rows += map(shown, growth(rows))
    OUT.mkdir(parents=True, exist_ok=True)
    (OUT / "latest.json").write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")
    beyond = [
        f"{row['id']} ({row['engine']}, {row['size']:,})"
        for row in rows
        if row["target"] is not None and row["ratio"] > NOISE * row["target"]
    ]
    if beyond:
        print(f"far beyond their targets: {', '.join(beyond)}")
    return 1 if beyond else 0


if __name__ == "__main__":
    sys.exit(main())
